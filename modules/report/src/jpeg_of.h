#pragma once

#include <cstdint>
#include <vector>

#include "tidemark/core/raster.h"

namespace tidemark::report {

/// A grey picture as a baseline JPEG file; empty when the library refuses (no memory).
[[nodiscard]] std::vector<unsigned char> jpeg_of(const RasterOf<std::uint8_t>& grey);

}  // namespace tidemark::report
