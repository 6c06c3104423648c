#pragma once

#include <optional>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark {

/// Grey value between pixels and its slope, per pixel along x and y.
struct Sample {
  double value = 0.0;
  Vec2 gradient = Vec2::Zero();
};

/// Grey value at p_px by bilinear interpolation; the centre of the first pixel is (0, 0).
/// @return absent outside the pixel centres, [0, width - 1] x [0, height - 1], or when a coordinate
///         is not a number. Exact on images that are linear in x and in y.
[[nodiscard]] std::optional<double> sample_linear(const Raster& image, const Vec2& p_px);

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
