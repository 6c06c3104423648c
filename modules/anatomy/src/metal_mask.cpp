#include "metal_mask.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {

cv::Mat1b foreign_metal(const cv::Mat1f& image, double mm, double contrast) {
  // A white top-hat keeps what is narrower than 9 mm; cortices are narrower too, but their step is
  // a fraction of metal's (literature: a 5 mm cortex against a 10 mm titanium stem,
  // docs/anatomy.md).
  const int r = std::max(1, static_cast<int>(std::lround(4.5 / mm)));
  const cv::Mat kernel = cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * r + 1, 2 * r + 1});
  cv::Mat1f opened;
  cv::morphologyEx(image, opened, cv::MORPH_OPEN, kernel);
  const auto core = value_of<cv::Mat1b>((image - opened) > 0.75 * contrast);
  const auto skirt = value_of<cv::Mat1b>((image - opened) > 0.35 * contrast);
  // Hysteresis: a core counts with everything of the skirt that it touches.
  cv::Mat1i labels;
  const int n = cv::connectedComponents(skirt, labels, 8);
  std::vector<bool> keep(static_cast<std::size_t>(n), false);
  for (int y = 0; y < core.rows; ++y) {
    for (int x = 0; x < core.cols; ++x) {
      if (core(y, x) != 0) keep[static_cast<std::size_t>(labels(y, x))] = true;
    }
  }
  keep[0] = false;
  cv::Mat1b out = blank<cv::Mat1b>(image.size());
  for (int y = 0; y < out.rows; ++y) {
    for (int x = 0; x < out.cols; ++x) {
      if (keep[static_cast<std::size_t>(labels(y, x))]) out(y, x) = 255;
    }
  }
  return out;
}

}  // namespace tidemark::anatomy
