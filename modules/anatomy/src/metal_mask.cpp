#include "metal_mask.h"

#include <opencv2/imgproc.hpp>
#include <vector>

#include "tidemark/core/robust.h"

namespace tidemark::anatomy {
namespace {

/// Median grey of the stem and of the 3 to 8 mm beside it.
struct Levels {
  double body = 0.0;
  double beside = 0.0;
};

double median_over(const cv::Mat1f& image, const cv::Mat1b& mask) {
  std::vector<double> values;
  for (int y = 0; y < mask.rows; ++y) {
    for (int x = 0; x < mask.cols; ++x) {
      if (mask(y, x) != 0) values.push_back(image(y, x));
    }
  }
  return median(values).value_or(0.0);
}

Levels levels_of(const cv::Mat1f& image, const cv::Mat1b& stem, double mm) {
  const auto ring = value_of<cv::Mat1b>(grown(stem, 8.0 / mm) - grown(stem, 3.0 / mm));
  return {median_over(image, stem), median_over(image, ring)};
}

/// Which components are metal. Strong edge enhancement makes the rims of a thin cortex (the greater
/// trochanter's) and grain beside them bright in places: much skirt with little core. Of wires,
/// staples and letters a fifth and more is core, but for small ones, whose blur is as large as they
/// are (simulated *hard* films, seeds 117 and 331, looked at: 0.2 to 0.9, bones 0 to 0.17).
std::vector<bool> metal_among(const cv::Mat1i& labels, int n, const cv::Mat1b& core, double mm) {
  constexpr double kCoreShare = 0.2;
  constexpr double kSmallMm2 = 40.0;
  std::vector<int> area(static_cast<std::size_t>(n), 0);
  std::vector<int> bright(static_cast<std::size_t>(n), 0);
  for (int y = 0; y < core.rows; ++y) {
    for (int x = 0; x < core.cols; ++x) {
      const auto label = static_cast<std::size_t>(labels(y, x));
      ++area[label];
      bright[label] += core(y, x) != 0 ? 1 : 0;
    }
  }
  std::vector<bool> out(static_cast<std::size_t>(n), false);
  for (std::size_t i = 1; i < out.size(); ++i) {  // 0 is what is no skirt
    const bool small = area[i] * mm * mm < kSmallMm2;
    out[i] = bright[i] > 0 && (small || bright[i] >= kCoreShare * area[i]);
  }
  return out;
}

}  // namespace

cv::Mat1b foreign_metal(const cv::Mat1f& image, const cv::Mat1b& stem, double mm,
                        double edge_contrast) {
  const Levels level = levels_of(image, stem, mm);
  const double step = level.body - level.beside;
  // A white top-hat keeps what is narrower than 5 mm: wires, staples, strokes of letters, threads
  // of screws. Cortices are wider, and what edge enhancement makes of their rims stays below
  // metal's own step on the same film.
  cv::Mat1f opened;
  cv::morphologyEx(image, opened, cv::MORPH_OPEN, disc_kernel(2.5 / mm));
  const auto narrow = value_of<cv::Mat1f>(image - opened);
  const auto core =
      value_of<cv::Mat1b>((narrow > 0.6 * step) & (image > level.beside + 0.8 * step));
  const auto skirt = value_of<cv::Mat1b>(narrow > 0.3 * edge_contrast);
  // Hysteresis: a core counts with everything of the skirt that it touches.
  cv::Mat1i labels;
  const int n = cv::connectedComponents(skirt, labels, 8);
  const std::vector<bool> keep = metal_among(labels, n, core, mm);
  cv::Mat1b out = blank<cv::Mat1b>(image.size());
  for (int y = 0; y < out.rows; ++y) {
    for (int x = 0; x < out.cols; ++x) {
      if (keep[static_cast<std::size_t>(labels(y, x))]) out(y, x) = 255;
    }
  }
  return out;
}

}  // namespace tidemark::anatomy
