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
  /// Whether it gives all inputs one value.
  [[nodiscard]] bool is_flat() const;
  /// Whether higher inputs get lower entries on the whole (slope of the line through them).
  [[nodiscard]] bool falls() const;
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
  /// After VOI table or window low values are shown bright.
  bool shown_inverted = false;
  bool is_for_processing = false;  ///< Presentation Intent Type: it is not meant to be shown
  Relationship relationship = Relationship::kAbsent;
  std::optional<int> relationship_sign;  ///< (0028,1041): -1 = higher values mean less exposure
  bool is_fluoroscopic = false;          ///< XA or RF: linear values grow with exposure

  /// Whether a higher value after the modality step is a higher stored value.
  [[nodiscard]] bool keeps_order() const;
  /// Whether the film is shown by the VOI table and that turns it over. Window and table are two
  /// ways to show one film (PS3.3 C.11.2): beside a window the table counts only where the sign of
  /// the relationship sides with it.
  [[nodiscard]] bool is_turned_by_voi_table() const;
  /// Whether a higher value after the modality step means more exposure, by the sign of the
  /// relationship; absent where that is not stated.
  [[nodiscard]] std::optional<bool> grows_by_sign() const;
};

/// Stored value of each of the 65,536 bit patterns: bits above the high bit cleared, sign extended.
[[nodiscard]] std::vector<std::int32_t> value_table(const GreyRule& rule);

/// Lowest and highest stored value of a frame.
struct ValueRange {
  std::int32_t lowest = 0;
  std::int32_t highest = 0;
};

/// The range of whole bits, from 0 or about it, that a frame's values lie in, padding aside: 0 to
/// 4095 for values of 12 bits whatever the file could store. Where there is nothing but padding,
/// all that it could.
[[nodiscard]] ValueRange range_in_use(const GreyRule& rule, const RasterOf<std::uint16_t>& codes);

/// What is done with a film's VOI table.
enum class VoiTable { kLeft, kApplied };

/// Grey of each bit pattern: bright = more absorbing, close to linear in log exposure.
///
/// Modality LUT or rescale; for linear detectors minus the logarithm of the exposure, which is
/// counted from an end of the range that the frame's values lie in (range_in_use()); the VOI
/// *table* when `use` says so. A table that is left still tells which end of the values is shown
/// bright. A linear window only cuts off and is never applied. Padding is left to settle_padding().
/// What was done and is unusual goes to `notes`.
[[nodiscard]] std::vector<float> grey_table(const GreyRule& rule, ValueRange range, VoiTable use,
                                            std::vector<std::string>& notes);

/// Whether a stored value is no exposure (Pixel Padding Value, Pixel Padding Range Limit).
[[nodiscard]] bool is_padding(const GreyRule& rule, std::int32_t value);

/// Whether a film's VOI table may be the better statement about its greys: the film has no window
/// and no stated relationship to exposure, and the table only rises or only falls (else one grey
/// would stand for two exposures). Why not goes to `notes`.
[[nodiscard]] bool may_use_voi_table(const GreyRule& rule, std::vector<std::string>& notes);

/// Gives the padding of a frame a grey that the frame has: that of the nearest value in it that is
/// none; where that is far off, a dark one, as of air. Padding may have any value, and a grey of
/// its own would be brighter than metal or stretch the range by which a film's greys are judged.
void settle_padding(const GreyRule& rule, const RasterOf<std::uint16_t>& codes,
                    const std::vector<std::int32_t>& value_of_code,
                    std::vector<float>& grey_of_code);

}  // namespace tidemark::film
