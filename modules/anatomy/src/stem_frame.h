#pragma once

#include "image_ops.h"
#include "tidemark/anatomy/implant.h"

namespace tidemark::anatomy {

/// The film resampled along the stem: row = along the axis (distal down), column = across (medial
/// to the right), square pixels of `mm` mm. (s, x) are mm from the stem's reference point, distal
/// and medial positive.
struct StemFrame {
  cv::Mat1f image;
  cv::Mat1b metal;  ///< metal grown by its blur
  cv::Mat1b seen;   ///< inside the film
  double mm = 0.4;
  double s_first = 0.0;  ///< s of row 0
  double x_first = 0.0;  ///< x of column 0
  Vec2 origin_px = Vec2::Zero();
  Vec2 distal = Vec2::UnitY();  ///< unit vectors on the film
  Vec2 medial = Vec2::UnitX();
  double mm_per_px = 1.0;

  [[nodiscard]] int row(double s) const;
  [[nodiscard]] int column(double x) const;
  [[nodiscard]] double s_at(double row) const { return s_first + row * mm; }
  [[nodiscard]] double x_at(double column) const { return x_first + column * mm; }
  [[nodiscard]] Vec2 to_film(double s, double x) const;
  [[nodiscard]] Vec2 from_film(const Vec2& p_px) const;  ///< (s, x)
};

struct FrameExtent {
  double s_from = -70.0, s_to = 230.0;
  double x_from = -75.0, x_to = 65.0;
};

[[nodiscard]] StemFrame stem_frame(const cv::Mat1f& film, const Implant& implant, double mm_per_px,
                                   const FrameExtent& extent);

/// Smallest slope that stands out from the film's grain: a multiple of the median gradient in the
/// flat parts of the frame.
[[nodiscard]] double gradient_floor(const StemFrame& frame, const Gradient& g);

}  // namespace tidemark::anatomy
