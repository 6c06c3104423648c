#pragma once

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>

#include <cstdint>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/raster.h"

namespace tidemark::film {

/// What the samples of a pixel are (PS3.3 C.7.6.3.1.2).
enum class ColourModel {
  kGrey,
  kPalette,          ///< one sample, an index
  kRgb,              ///< three samples; also what RCT and ICT of JPEG 2000 are decoded to
  kYbr,              ///< three samples: brightness, then two of chroma
  kYbrSharedChroma,  ///< the same, two pixels sharing their chroma where it is not compressed
};

/// What must be known, and is checked, before a pixel is touched.
struct PixelLayout {
  ColourModel colour = ColourModel::kGrey;
  bool by_plane = false;  ///< one channel after the other
  int columns = 0;
  int rows = 0;
  int bits_allocated = 0;  ///< 8 or 16
  int bits_stored = 0;
  int high_bit = 0;
  std::int64_t frames = 1;

  [[nodiscard]] int samples() const {
    return colour == ColourModel::kGrey || colour == ColourModel::kPalette ? 1 : 3;
  }
};

/// The layout of the pixel data, checked: grey or a known kind of colour, 8 or 16 bits, plausible
/// bits and size.
[[nodiscard]] Expected<PixelLayout> layout_of(DcmItem& dataset, const std::string& name);

/// The stored bit patterns of the first frame, decompressed, not yet masked or sign-extended; of a
/// grey film stored in three channels their brightness, masked, in its lowest bits.
/// @return kBadInput also for a picture in colours.
/// @param file_bytes  length of the file, for the sentence when it is cut off.
[[nodiscard]] Expected<RasterOf<std::uint16_t>> first_frame(DcmDataset& dataset,
                                                            const PixelLayout& layout,
                                                            std::size_t file_bytes,
                                                            const std::string& name,
                                                            std::vector<std::string>& notes);

}  // namespace tidemark::film
