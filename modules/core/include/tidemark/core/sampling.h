#pragma once

#include <algorithm>
#include <optional>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark {

/// Grey value between pixels and its slope, per pixel along x and y.
struct Sample {
  double value = 0.0;
  Vec2 gradient = Vec2::Zero();
};

namespace detail {

/// The pixel up and left of a point, and the point's place in that cell, 0 to 1.
struct Cell {
  int x, y;
  double tx, ty;
};

inline std::optional<Cell> cell_of(const Raster& image, const Vec2& p_px) {
  // Written so that NaN fails as well.
  const bool inside = p_px.x() >= 0.0 && p_px.y() >= 0.0 && p_px.x() <= image.width - 1 &&
                      p_px.y() <= image.height - 1;
  if (!inside) return std::nullopt;
  const int x = std::min(static_cast<int>(p_px.x()), std::max(0, image.width - 2));
  const int y = std::min(static_cast<int>(p_px.y()), std::max(0, image.height - 2));
  return Cell{x, y, p_px.x() - x, p_px.y() - y};
}

}  // namespace detail

/// Grey value at p_px by bilinear interpolation; the centre of the first pixel is (0, 0).
/// @return absent outside the pixel centres, [0, width - 1] x [0, height - 1], or when a coordinate
///         is not a number. Exact on images that are linear in x and in y.
/// Inline: a picture asks some four million times.
[[nodiscard]] inline std::optional<double> sample_linear(const Raster& image, const Vec2& p_px) {
  const auto cell = detail::cell_of(image, p_px);
  if (!cell) return std::nullopt;
  const float* upper = &image.at(cell->x, cell->y);
  const float* lower = cell->y + 1 < image.height ? upper + image.width : upper;
  const int right = cell->x + 1 < image.width ? 1 : 0;
  const auto between = [&](const float* row) {
    const double left = row[0];
    return left + cell->tx * (static_cast<double>(row[right]) - left);
  };
  const double top = between(upper);
  return top + cell->ty * (between(lower) - top);
}

/// Grey value at p_px by cubic convolution over 4 x 4 pixels with a = -1/2, exact on images that
/// are quadratic in x and in y away from the border. Pixels beyond the border count as the nearest
/// one.
/// @return absent where sample_linear is.
/// Source: Keys, IEEE Trans Acoust Speech Signal Process 29 (1981) 1153-1160,
/// doi:10.1109/TASSP.1981.1163711 (from memory).
[[nodiscard]] std::optional<double> sample_cubic(const Raster& image, const Vec2& p_px);

/// sample_cubic and the analytic gradient of the same surface (continuous across pixels).
[[nodiscard]] std::optional<Sample> sample_cubic_with_gradient(const Raster& image,
                                                               const Vec2& p_px);

}  // namespace tidemark
