#pragma once

#include <array>

namespace tidemark {

/// Weights of the pixels at -1, 0, 1, 2 for a point at t, 0 to 1: cubic convolution with a = -1/2
/// (Keys, IEEE Trans Acoust Speech Signal Process 29 (1981) 1153-1160, from memory).
[[nodiscard]] constexpr std::array<double, 4> cubic_weights(double t) {
  const double t2 = t * t;
  const double t3 = t2 * t;
  return {0.5 * (-t3 + 2.0 * t2 - t), 0.5 * (3.0 * t3 - 5.0 * t2 + 2.0),
          0.5 * (-3.0 * t3 + 4.0 * t2 + t), 0.5 * (t3 - t2)};
}

}  // namespace tidemark
