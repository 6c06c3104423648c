#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace tidemark {

/// A plain image, row by row. Pixel (x, y) stands at values[y * width + x].
template <class T>
struct RasterOf {
  int width = 0;
  int height = 0;
  std::vector<T> values;

  RasterOf() = default;
  RasterOf(int w, int h, T fill = T{})
      : width(w),
        height(h),
        values(static_cast<std::size_t>(w) * static_cast<std::size_t>(h), fill) {}

  [[nodiscard]] bool empty() const { return values.empty(); }
  [[nodiscard]] bool contains(int x, int y) const {
    return x >= 0 && y >= 0 && x < width && y < height;
  }
  [[nodiscard]] T& at(int x, int y) {
    return values[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                  static_cast<std::size_t>(x)];
  }
  [[nodiscard]] const T& at(int x, int y) const {
    return values[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                  static_cast<std::size_t>(x)];
  }
};

using Raster = RasterOf<float>;
/// 0 = outside, anything else = inside.
using Mask = RasterOf<std::uint8_t>;

}  // namespace tidemark
