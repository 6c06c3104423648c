#include "edge_field.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {
namespace {

constexpr double kSmoothingMm = 1.2;   ///< of the film: below the width of every edge of bone
constexpr double kNoiseFloor = 1.5;    ///< times the median gradient of the film
constexpr double kMetalRoomMm = 5.0;   ///< blur and halo beside metal
constexpr double kMetalShare = 0.75;   ///< of the way from the film's median to the stem's grey
constexpr double kLeastCommon = 0.40;  ///< of a patch

/// Grey above which a pixel counts as metal: the other hip's is in no mask.
float metal_level(const cv::Mat1f& image, const Implant& implant, const Scaled& place) {
  const float middle = quantile(image, 0.5);
  std::vector<float> stem;
  const Line2& axis = implant.axis.line_px;
  const double from = along(axis, implant.shoulder.px);
  const double to = along(axis, implant.tip.px);
  for (int i = 2; i < 19; ++i) {
    stem.push_back(sample(
        image, place.from_film(axis.point + (from + 0.05 * i * (to - from)) * axis.direction)));
  }
  std::nth_element(stem.begin(), stem.begin() + static_cast<std::ptrdiff_t>(stem.size() / 2),
                   stem.end());
  return middle + static_cast<float>(kMetalShare) * (stem[stem.size() / 2] - middle);
}

cv::Mat1b metal_of(const cv::Mat1f& image, const Implant& implant, const Scaled& place) {
  cv::Mat1b metal = value_of<cv::Mat1b>(image > metal_level(image, implant, place));
  for (int y = 0; y < metal.rows; ++y) {
    for (int x = 0; x < metal.cols; ++x) {
      const Vec2 p = place.to_film(Vec2(x, y));
      const auto px = static_cast<int>(std::lround(p.x()));
      const auto py = static_cast<int>(std::lround(p.y()));
      if (implant.metal.contains(px, py) && implant.metal.at(px, py) != 0) metal(y, x) = 255;
    }
  }
  return grown(metal, kMetalRoomMm);
}

}  // namespace

EdgeField edge_field(const Raster& film, const Implant& implant, MillimetresPerPixel scale) {
  EdgeField out;
  out.place = scaled(view_of(film), std::min(1.0, scale.value), kSmoothingMm);
  const Gradient g = gradient(out.place.image);
  cv::Mat1f length;
  cv::magnitude(g.x, g.y, length);
  const auto floor = static_cast<float>(kNoiseFloor * quantile(length, 0.5));
  cv::Mat1f norm;
  cv::sqrt(length.mul(length) + floor * floor + 1e-20F, norm);
  out.x = value_of<cv::Mat1f>(g.x / norm);
  out.y = value_of<cv::Mat1f>(g.y / norm);
  out.weight = cv::Mat1f(norm.size(), 1.0F);
  out.weight.setTo(0.0F, metal_of(out.place.image, implant, out.place));
  out.place.image.release();
  return out;
}

std::vector<double> stepped(double first, double last, double step) {
  const int steps = static_cast<int>(std::floor((last - first) / step + 1e-9));
  std::vector<double> out;
  for (int i = 0; i <= steps; ++i) out.push_back(first + step * i);
  return out;
}

std::vector<EdgeSample> sampled(const EdgeField& field, const PatchFrame& frame,
                                const PatchGrid& grid) {
  std::vector<EdgeSample> out;
  const double right = field.weight.cols - 1;
  const double bottom = field.weight.rows - 1;
  const auto places = stepped(grid.across_from, grid.across_to, grid.step);
  for (const double b : stepped(grid.along_from, grid.along_to, grid.step)) {
    for (const double a : places) {
      const Vec2 p = frame.origin + a * frame.across + b * frame.along;
      EdgeSample one;
      if (p.x() >= 0.0 && p.y() >= 0.0 && p.x() <= right && p.y() <= bottom) {
        const Vec2 g(sample(field.x, p), sample(field.y, p));
        one = {static_cast<float>(g.dot(frame.across)), static_cast<float>(g.dot(frame.along)),
               sample(field.weight, p)};
      }
      out.push_back(one);
    }
  }
  return out;
}

std::optional<double> likeness(const std::vector<EdgeSample>& a, const std::vector<EdgeSample>& b) {
  double common = 0.0;
  double both = 0.0;
  double own_a = 0.0;
  double own_b = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    const double w = static_cast<double>(a[i].weight) * b[i].weight;
    common += w;
    both += w * (a[i].across * b[i].across + a[i].along * b[i].along);
    own_a += w * (a[i].across * a[i].across + a[i].along * a[i].along);
    own_b += w * (b[i].across * b[i].across + b[i].along * b[i].along);
  }
  if (common < kLeastCommon * static_cast<double>(a.size()) || !(own_a * own_b > 0.0)) return {};
  return both / std::sqrt(own_a * own_b);
}

double edge_share(const std::vector<EdgeSample>& patch) {
  double sum = 0.0;
  for (const EdgeSample& one : patch) sum += one.weight * std::hypot(one.across, one.along);
  return patch.empty() ? 0.0 : sum / static_cast<double>(patch.size());
}

}  // namespace tidemark::anatomy
