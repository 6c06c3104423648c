#include "stem_frame.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {

int StemFrame::row(double s) const { return static_cast<int>(std::lround((s - s_first) / mm)); }
int StemFrame::column(double x) const { return static_cast<int>(std::lround((x - x_first) / mm)); }

Vec2 StemFrame::to_film(double s, double x) const {
  return origin_px + (s * distal + x * medial) / mm_per_px;
}

Vec2 StemFrame::from_film(const Vec2& p_px) const {
  const Vec2 d = (p_px - origin_px) * mm_per_px;
  return {d.dot(distal), d.dot(medial)};
}

StemFrame stem_frame(const cv::Mat1f& film, const Implant& implant, double mm_per_px,
                     const FrameExtent& extent) {
  StemFrame f;
  f.mm_per_px = mm_per_px;
  f.origin_px = implant.reference_px;
  f.distal = implant.axis.line_px.direction;
  f.medial = Vec2(f.distal.y(), -f.distal.x());
  f.s_first = extent.s_from;
  f.x_first = extent.x_from;
  const cv::Size size(static_cast<int>((extent.x_to - extent.x_from) / f.mm) + 1,
                      static_cast<int>((extent.s_to - extent.s_from) / f.mm) + 1);
  // Shrinking first, so that the warp does not pick single noisy pixels.
  const Scaled scale = scaled(film, std::min(1.0, mm_per_px / (0.8 * f.mm)), 0.0);
  const Vec2 corner = scale.from_film(f.to_film(f.s_first, f.x_first));
  const double k = f.mm / mm_per_px * scale.factor;
  const cv::Matx23d source_from_here(k * f.medial.x(), k * f.distal.x(), corner.x(),
                                     k * f.medial.y(), k * f.distal.y(), corner.y());
  cv::warpAffine(scale.image, f.image, source_from_here, size,
                 cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);
  const cv::Mat1b ones(scale.image.size(), 255);
  cv::warpAffine(ones, f.seen, source_from_here, size, cv::INTER_NEAREST | cv::WARP_INVERSE_MAP,
                 cv::BORDER_CONSTANT);
  const cv::Mat1b metal_film(implant.metal.height, implant.metal.width,
                             const_cast<std::uint8_t*>(implant.metal.values.data()));
  const Vec2 film_corner = f.to_film(f.s_first, f.x_first);
  const double kf = f.mm / mm_per_px;
  const cv::Matx23d film_from_here(kf * f.medial.x(), kf * f.distal.x(), film_corner.x(),
                                   kf * f.medial.y(), kf * f.distal.y(), film_corner.y());
  cv::warpAffine(metal_film, f.metal, film_from_here, size,
                 cv::INTER_NEAREST | cv::WARP_INVERSE_MAP, cv::BORDER_CONSTANT);
  f.metal = grown(f.metal, 1.2 / f.mm);
  return f;
}

double gradient_floor(const StemFrame& frame, const Gradient& g) {
  std::vector<float> values;
  for (int y = 2; y < g.x.rows - 2; y += 3) {
    for (int x = 2; x < g.x.cols - 2; x += 3) {
      if (frame.metal(y, x) != 0 || frame.seen(y, x) == 0) continue;
      values.push_back(length_of(g.x(y, x), g.y(y, x)));
    }
  }
  if (values.size() < 100) return 1e-6;
  // The quieter third of the frame is soft tissue and background: its median is grain.
  const auto third = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 5);
  std::nth_element(values.begin(), third, values.end());
  return std::max(1e-9, 4.0 * static_cast<double>(*third));
}

}  // namespace tidemark::anatomy
