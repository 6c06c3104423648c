#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "tidemark/core/raster.h"

namespace tidemark::followup {

/// The picture as PNG, 8 bits a colour; `rgb` has one 0xRRGGBB per pixel. Absent when the library
/// refuses (no memory). Packed for speed: the file is a sixth larger than the tightest one and made
/// five times as fast.
[[nodiscard]] std::optional<std::vector<unsigned char>> png_of(const RasterOf<std::uint32_t>& rgb);

}  // namespace tidemark::followup
