#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/raster.h"

namespace tidemark::film {

/// A table of an item of Modality LUT Sequence or VOI LUT Sequence (DICOM PS3.3 C.11.1, C.11.2).
struct LookUpTable {
  std::int32_t first = 0;  ///< input that gets the first entry; lower ones get it too
  std::vector<std::uint16_t> entries;

  [[nodiscard]] double at(double input) const;
  /// Whether it only rises or only falls over all its entries.
  [[nodiscard]] bool is_monotone() const;
};

/// Pixel Intensity Relationship (0028,1040).
enum class Relationship { kAbsent, kLinear, kLogarithmic, kDisplay };

/// Everything a DICOM header says about the meaning of a stored bit pattern.
struct GreyRule {
  int bits_stored = 16;
  int high_bit = 15;
  bool is_signed = false;
  std::optional<std::int32_t> padding_low;   ///< stored values in [low, high] are no exposure
  std::optional<std::int32_t> padding_high;  ///< (0028,0120), (0028,0121)
  std::optional<LookUpTable> modality_table;
  double slope = 1.0;
  double intercept = 0.0;
  std::optional<LookUpTable> voi_table;
  bool has_window = false;
  bool shown_inverted = false;  ///< low values are shown bright
  Relationship relationship = Relationship::kAbsent;
  std::optional<int> relationship_sign;  ///< (0028,1041): -1 = higher values mean less exposure
  bool is_fluoroscopic = false;          ///< XA or RF: linear values grow with exposure
};

/// Stored value of each of the 65,536 bit patterns: bits above the high bit cleared, sign extended.
[[nodiscard]] std::vector<std::int32_t> value_table(const GreyRule& rule);

/// Grey of each bit pattern: bright = more absorbing, close to linear in log exposure.
///
/// Modality LUT or rescale; for linear detectors minus the logarithm of the exposure; the VOI
/// *table* when the film has no window and no stated relationship to exposure (then the table is
/// the only statement about its greys), unless it both rises and falls: then one grey would stand
/// for two exposures. A linear window only cuts off and is not applied. Padding is left to
/// settle_padding(). What was done and is unusual goes to `notes`.
[[nodiscard]] std::vector<float> grey_table(const GreyRule& rule, std::vector<std::string>& notes);

/// Gives the padding of a frame a grey that the frame has: that of the nearest value in it that is
/// none; where that is far off, a dark one, as of air. Padding may have any value, and a grey of
/// its own would be brighter than metal or stretch the range by which a film's greys are judged.
void settle_padding(const GreyRule& rule, const RasterOf<std::uint16_t>& codes,
                    const std::vector<std::int32_t>& value_of_code,
                    std::vector<float>& grey_of_code);

}  // namespace tidemark::film
