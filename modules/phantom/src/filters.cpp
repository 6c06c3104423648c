#include "filters.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "parallel.h"

namespace tidemark::phantom {
namespace {

/// One line of an image and a copy of it with repeated ends.
using Line = std::vector<float>;

void convolve(Line& line, const std::vector<float>& kernel, Line& room) {
  const int reach = static_cast<int>(kernel.size()) - 1;  // kernel holds one half
  const int n = static_cast<int>(line.size());
  room.resize(line.size() + 2 * (kernel.size() - 1));
  for (int i = 0; i < n + 2 * reach; ++i) {
    room[static_cast<std::size_t>(i)] =
        line[static_cast<std::size_t>(std::clamp(i - reach, 0, n - 1))];
  }
  for (int i = 0; i < n; ++i) {
    const float* at = room.data() + i + reach;
    float sum = kernel[0] * at[0];
    for (int k = 1; k <= reach; ++k) sum += kernel[static_cast<std::size_t>(k)] * (at[k] + at[-k]);
    line[static_cast<std::size_t>(i)] = sum;
  }
}

void running_mean(Line& line, int reach, Line& room) {
  const int n = static_cast<int>(line.size());
  room = line;
  const auto value = [&](int i) {
    return double{room[static_cast<std::size_t>(std::clamp(i, 0, n - 1))]};
  };
  double sum = 0.0;
  for (int i = -reach; i <= reach; ++i) sum += value(i);
  for (int i = 0; i < n; ++i) {
    line[static_cast<std::size_t>(i)] = static_cast<float>(sum / (2 * reach + 1));
    sum += value(i + reach + 1) - value(i - reach);
  }
}

/// Smooths a line in place. Four means of lengths w have the variance 4 (w^2 - 1) / 12.
class LineFilter {
 public:
  explicit LineFilter(double sigma) {
    if (sigma >= 3.0) {
      const double ideal = std::sqrt(3.0 * sigma * sigma + 1.0);
      const int shorter = (static_cast<int>(std::floor(ideal)) - 1) / 2;
      const double w = 2.0 * shorter + 1.0;
      // As many passes with the longer mean as bring the variance closest to sigma squared.
      const double lack = 12.0 * sigma * sigma - 4.0 * (w * w - 1.0);
      const int longer = std::clamp(static_cast<int>(std::lround(lack / (4.0 * w + 4.0))), 0, 4);
      for (int i = 0; i < 4; ++i) reaches_.push_back(shorter + (i < longer ? 1 : 0));
      return;
    }
    const int reach = std::max(1, static_cast<int>(std::ceil(4.0 * sigma)));
    double sum = 0.0;
    for (int k = 0; k <= reach; ++k) {
      kernel_.push_back(static_cast<float>(std::exp(-0.5 * k * k / (sigma * sigma))));
      sum += (k > 0 ? 2.0 : 1.0) * kernel_.back();
    }
    for (float& k : kernel_) k = static_cast<float>(k / sum);
  }
  void apply(Line& line, Line& room) const {
    if (!kernel_.empty()) return convolve(line, kernel_, room);
    for (const int reach : reaches_) running_mean(line, reach, room);
  }

 private:
  std::vector<float> kernel_;
  std::vector<int> reaches_;
};

}  // namespace

Raster smoothed(const Raster& image, double sigma_px, unsigned threads) {
  if (sigma_px < 0.05) return image;
  const LineFilter filter(sigma_px);
  Raster out = image;
  for_each_index(out.height, threads, [&](int y) {
    Line room;
    const auto begin = out.values.begin() + static_cast<std::ptrdiff_t>(y) * out.width;
    Line line(begin, begin + out.width);
    filter.apply(line, room);
    std::copy(line.begin(), line.end(), begin);
  });
  constexpr int kStrip = 16;  // columns handled together, for the cache
  for_each_index((out.width + kStrip - 1) / kStrip, threads, [&](int strip) {
    Line room;
    const int x0 = strip * kStrip;
    const int x1 = std::min(out.width, x0 + kStrip);
    std::vector<Line> lines(static_cast<std::size_t>(x1 - x0),
                            Line(static_cast<std::size_t>(out.height)));
    for (int y = 0; y < out.height; ++y) {
      for (int x = x0; x < x1; ++x) {
        lines[static_cast<std::size_t>(x - x0)][static_cast<std::size_t>(y)] = out.at(x, y);
      }
    }
    for (Line& line : lines) filter.apply(line, room);
    for (int y = 0; y < out.height; ++y) {
      for (int x = x0; x < x1; ++x) {
        out.at(x, y) = lines[static_cast<std::size_t>(x - x0)][static_cast<std::size_t>(y)];
      }
    }
  });
  return out;
}

Raster reduced(const Raster& image, int block) {
  Raster out((image.width + block - 1) / block, (image.height + block - 1) / block);
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      const int x1 = std::min(image.width, (x + 1) * block);
      const int y1 = std::min(image.height, (y + 1) * block);
      double sum = 0.0;
      for (int v = y * block; v < y1; ++v) {
        for (int u = x * block; u < x1; ++u) sum += image.at(u, v);
      }
      out.at(x, y) = static_cast<float>(sum / ((x1 - x * block) * (y1 - y * block)));
    }
  }
  return out;
}

Raster enlarged(const Raster& coarse, int block, int width, int height, unsigned threads) {
  Raster out(width, height);
  const auto place = [block](int i, int count) {
    const float at = (static_cast<float>(i) + 0.5F) / static_cast<float>(block) - 0.5F;
    return std::clamp(at, 0.0F, static_cast<float>(count - 1));
  };
  for_each_index(height, threads, [&](int y) {
    const float v = place(y, coarse.height);
    const int j = std::min(static_cast<int>(v), std::max(0, coarse.height - 2));
    const float tv = v - static_cast<float>(j);
    const int j1 = std::min(j + 1, coarse.height - 1);
    for (int x = 0; x < width; ++x) {
      const float u = place(x, coarse.width);
      const int i = std::min(static_cast<int>(u), std::max(0, coarse.width - 2));
      const float tu = u - static_cast<float>(i);
      const int i1 = std::min(i + 1, coarse.width - 1);
      out.at(x, y) = (1 - tv) * ((1 - tu) * coarse.at(i, j) + tu * coarse.at(i1, j)) +
                     tv * ((1 - tu) * coarse.at(i, j1) + tu * coarse.at(i1, j1));
    }
  });
  return out;
}

}  // namespace tidemark::phantom
