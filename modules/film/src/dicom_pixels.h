#pragma once

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>

#include <cstdint>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/raster.h"

namespace tidemark::film {

/// What must be known, and is checked, before a pixel is touched.
struct PixelLayout {
  int columns = 0;
  int rows = 0;
  int bits_allocated = 0;  ///< 8 or 16
  int bits_stored = 0;
  int high_bit = 0;
  std::int64_t frames = 1;
};

/// The layout of the pixel data, checked: one sample, 8 or 16 bits, plausible bits and size.
[[nodiscard]] Expected<PixelLayout> layout_of(DcmItem& dataset, const std::string& name);

/// The stored bit patterns of the first frame, decompressed, not yet masked or sign-extended.
/// @param file_bytes  length of the file, for the sentence when it is cut off.
[[nodiscard]] Expected<RasterOf<std::uint16_t>> first_frame(DcmDataset& dataset,
                                                            const PixelLayout& layout,
                                                            std::size_t file_bytes,
                                                            const std::string& name,
                                                            std::vector<std::string>& notes);

}  // namespace tidemark::film
