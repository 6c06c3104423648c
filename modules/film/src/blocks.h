#pragma once

#include <vector>

#include "tidemark/core/raster.h"

namespace tidemark::film {

// What makes a field, whether its borders are seen or stated. House choices.
inline constexpr double kInwards = 1.5;      ///< blocks between a border and what is used
inline constexpr double kLeastField = 0.25;  ///< of the film's area
inline constexpr double kFlat = 0.5;         ///< most spread outside of a border, of the film's
inline constexpr double kStep = 0.05;        ///< least step at one place, of the film's spread

/// Side of the blocks that borders are looked for in: a 320th of the film's longer side, px.
[[nodiscard]] int block_size_of(const Raster& pixels);

/// Means of blocks of `size` x `size` pixels; what is left over at the far sides is dropped.
[[nodiscard]] Raster blocks_of(const Raster& pixels, int size);

/// The value below which a share `q` of the values lies; 0 where there are none.
[[nodiscard]] double quantile(std::vector<float> values, double q);

/// From the 5 % to the 95 % quantile.
[[nodiscard]] double spread(const std::vector<float>& values);

}  // namespace tidemark::film
