#pragma once

#include <itkImage.h>
#include <itkPoint.h>
#include <itkVector.h>

#include <cstddef>
#include <vector>

#include "tidemark/alignment/align.h"

namespace tidemark::alignment {

using FloatImage = itk::Image<float, 2>;

/// One resolution of a film. Physical points are the film's mm frame.
struct Level {
  double sigma_mm = 0.0;
  int bin = 1;                 ///< film pixels along the side of one level pixel
  FloatImage::Pointer image;   ///< smoothed; behind excluded pixels a smooth filling
  FloatImage::Pointer usable;  ///< 0 (may not vote) to 1, same grid
};

struct PreparedFilm::Levels {
  double mm_per_px = 0.0;
  int width = 0;
  int height = 0;
  std::vector<Level> levels;  ///< coarse first, as in AlignOptions::level_mm
  std::size_t contents = 0;   ///< hash of all that the film was prepared from
};

[[nodiscard]] inline itk::Vector<double, 2> itk_vector(const Vec2& v) {
  itk::Vector<double, 2> out;
  out[0] = v.x();
  out[1] = v.y();
  return out;
}

[[nodiscard]] inline itk::Point<double, 2> itk_point(const Vec2& v) {
  itk::Point<double, 2> out;
  out[0] = v.x();
  out[1] = v.y();
  return out;
}

/// Mean of blocks of bin x bin pixels; what is left over at the right and lower border is dropped.
/// Physical points of the result are the film's mm frame.
[[nodiscard]] FloatImage::Pointer bin_mean(const Raster& pixels, int bin, double mm_per_px);

}  // namespace tidemark::alignment
