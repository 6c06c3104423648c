#pragma once

#include <vector>

#include "matcher.h"

namespace tidemark::alignment {

/// Half widths of an exhaustive search around Matcher::Frame::base, in the axes of the fixed film.
struct SearchRange {
  double across_mm = 0.0;
  double along_mm = 0.0;
  double angle_rad = 0.0;
};

/// Tries every motion of a grid (one pixel of the moving level, about one pixel at the region's
/// radius) and returns the local maxima of agreement times the square root of the overlap, best
/// first, at most `most`. The square root is the number of independent votes to the half: it keeps
/// a small lucky overlap from winning.
[[nodiscard]] std::vector<Motion> search(const Level& fixed, const LevelRegion& region,
                                         const Level& moving, const Matcher::Frame& frame,
                                         const std::array<double, 2>& noise_floors,
                                         const SearchRange& range, const AlignOptions& options,
                                         std::size_t most);

}  // namespace tidemark::alignment
