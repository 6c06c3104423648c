#include "tidemark/core/sampling.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "tidemark/core/cubic.h"

namespace tidemark {
namespace {

using detail::Cell;
using detail::cell_of;
using Weights = std::array<double, 4>;

/// d cubic_weights / dt.
Weights cubic_slope(double t) {
  const double t2 = t * t;
  return {0.5 * (-3.0 * t2 + 4.0 * t - 1.0), 0.5 * (9.0 * t2 - 10.0 * t),
          0.5 * (-9.0 * t2 + 8.0 * t + 1.0), 0.5 * (3.0 * t2 - 2.0 * t)};
}

/// The 4 x 4 pixels around a cell; beyond the border the nearest pixel stands in.
std::array<Weights, 4> neighbourhood(const Raster& image, const Cell& cell) {
  std::array<Weights, 4> rows{};
  for (int j = 0; j < 4; ++j) {
    const int y = std::clamp(cell.y + j - 1, 0, image.height - 1);
    for (int i = 0; i < 4; ++i) {
      const int x = std::clamp(cell.x + i - 1, 0, image.width - 1);
      rows[static_cast<std::size_t>(j)][static_cast<std::size_t>(i)] =
          static_cast<double>(image.at(x, y));
    }
  }
  return rows;
}

double dot(const Weights& a, const Weights& b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3];
}

double weigh(const std::array<Weights, 4>& rows, const Weights& wx, const Weights& wy) {
  return dot({dot(rows[0], wx), dot(rows[1], wx), dot(rows[2], wx), dot(rows[3], wx)}, wy);
}

}  // namespace

std::optional<double> sample_cubic(const Raster& image, const Vec2& p_px) {
  const auto cell = cell_of(image, p_px);
  if (!cell) return std::nullopt;
  return weigh(neighbourhood(image, *cell), cubic_weights(cell->tx), cubic_weights(cell->ty));
}

std::optional<Sample> sample_cubic_with_gradient(const Raster& image, const Vec2& p_px) {
  const auto cell = cell_of(image, p_px);
  if (!cell) return std::nullopt;
  const auto rows = neighbourhood(image, *cell);
  const Weights wx = cubic_weights(cell->tx);
  const Weights wy = cubic_weights(cell->ty);
  return Sample{weigh(rows, wx, wy), Vec2(weigh(rows, cubic_slope(cell->tx), wy),
                                          weigh(rows, wx, cubic_slope(cell->ty)))};
}

}  // namespace tidemark
