#include "blocks.h"

#include <algorithm>
#include <cstddef>

namespace tidemark::film {

int block_size_of(const Raster& pixels) {
  constexpr int kBlocks = 320;  // along the longer side
  return std::max(1, std::max(pixels.width, pixels.height) / kBlocks);
}

Raster blocks_of(const Raster& pixels, int size) {
  Raster out(pixels.width / size, pixels.height / size);
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      double sum = 0.0;
      for (int j = 0; j < size; ++j) {
        for (int i = 0; i < size; ++i) sum += pixels.at(x * size + i, y * size + j);
      }
      out.at(x, y) = static_cast<float>(sum / (size * size));
    }
  }
  return out;
}

double quantile(std::vector<float> values, double q) {
  if (values.empty()) return 0.0;
  const auto at = static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

double spread(const std::vector<float>& values) {
  return quantile(values, 0.95) - quantile(values, 0.05);
}

}  // namespace tidemark::film
