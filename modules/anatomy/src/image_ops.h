#pragma once

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::anatomy {

/// The raster as an OpenCV image, without copying. Lives as long as the raster.
[[nodiscard]] cv::Mat1f view_of(const Raster& raster);

/// A new image of zeros.
template <class M>
[[nodiscard]] M blank(const cv::Size& size) {
  return M(size, typename M::value_type{0});
}

/// The value of an OpenCV expression as an image of a known type.
template <class M>
[[nodiscard]] M value_of(const cv::MatExpr& expression) {
  M out;
  out = expression;
  return out;
}

/// A film brought to another pixel size by area averaging and Gaussian smoothing.
/// Point p of the film lies at (p + 0.5) * factor - 0.5 here.
struct Scaled {
  cv::Mat1f image;
  double factor = 1.0;  ///< pixels here per film pixel

  [[nodiscard]] Vec2 from_film(const Vec2& p_px) const;
  [[nodiscard]] Vec2 to_film(const Vec2& p_here) const;
};

/// @param factor pixels of the result per pixel of the source, <= 1
/// @param sigma  smoothing in pixels of the result; 0 for none
[[nodiscard]] Scaled scaled(const cv::Mat1f& film, double factor, double sigma);

/// A film and its means over blocks of 2, 4, 8, ... pixels: made once, so that every look at
/// another pixel size starts near it instead of at the film.
class Pyramid {
 public:
  /// Keeps a view of `film`, no copy: the film must outlive it.
  explicit Pyramid(const cv::Mat1f& film);

  [[nodiscard]] const cv::Mat1f& film() const { return levels_.front(); }
  /// The coarsest level whose pixels are not wider than 1 / `factor` film pixels: 0 is the film,
  /// level n has pixels of 2^n.
  [[nodiscard]] int level_for(double factor) const;
  [[nodiscard]] const cv::Mat1f& level(int n) const { return levels_[static_cast<std::size_t>(n)]; }

 private:
  std::vector<cv::Mat1f> levels_;
};

/// The same as above from a film's pyramid, at a small part of the cost.
[[nodiscard]] Scaled scaled(const Pyramid& film, double factor, double sigma);

/// Gaussian smoothing with a large sigma (pixels) by three box filters: the same to about 3 % of
/// the peak, at a cost that does not grow with sigma.
[[nodiscard]] cv::Mat1f wide_blur(const cv::Mat1f& image, double sigma, int border);

/// A disc as kernel for cv::dilate and its like; its radius (pixels) is rounded, and at least 1.
[[nodiscard]] cv::Mat1b disc_kernel(double radius);

/// A mask and all that lies within `radius` pixels of it.
[[nodiscard]] cv::Mat1b grown(const cv::Mat1b& mask, double radius);

/// First derivatives (central differences) of an image.
struct Gradient {
  cv::Mat1f x;
  cv::Mat1f y;
};
[[nodiscard]] Gradient gradient(const cv::Mat1f& image);

/// Length of a gradient. Greys are far from where a square overflows; std::hypot, which guards
/// against that, took an eighth of the time of a hard film.
template <class T>
[[nodiscard]] T length_of(T gx, T gy) {
  return std::sqrt(gx * gx + gy * gy);
}

/// The four pixels about a point, and its way from the first to the last of them.
struct Between {
  int x0 = 0;
  int y0 = 0;
  int x1 = 0;
  int y1 = 0;
  float fx = 0.0F;
  float fy = 0.0F;
};

/// Made once where several images of one size are asked; a point outside counts as the nearest one
/// of the image.
[[nodiscard]] inline Between between(const cv::Size& size, const Vec2& p) {
  const double x = std::clamp(p.x(), 0.0, static_cast<double>(size.width - 1));
  const double y = std::clamp(p.y(), 0.0, static_cast<double>(size.height - 1));
  Between at;
  at.x0 = std::min(static_cast<int>(x), std::max(0, size.width - 2));
  at.y0 = std::min(static_cast<int>(y), std::max(0, size.height - 2));
  at.x1 = std::min(at.x0 + 1, size.width - 1);
  at.y1 = std::min(at.y0 + 1, size.height - 1);
  at.fx = static_cast<float>(x - at.x0);
  at.fy = static_cast<float>(y - at.y0);
  return at;
}

/// Bilinear value.
[[nodiscard]] inline float sample_at(const cv::Mat1f& image, const Between& at) {
  const float* upper = image.ptr<float>(at.y0);
  const float* lower = image.ptr<float>(at.y1);
  return (1.0F - at.fy) * ((1.0F - at.fx) * upper[at.x0] + at.fx * upper[at.x1]) +
         at.fy * ((1.0F - at.fx) * lower[at.x0] + at.fx * lower[at.x1]);
}

/// Bilinear value; the border pixel outside the image.
[[nodiscard]] inline float sample(const cv::Mat1f& image, const Vec2& p) {
  return sample_at(image, between(image.size(), p));
}

/// The q-quantile (0..1) of the values on a regular subsample of at most some 100,000 pixels.
[[nodiscard]] float quantile(const cv::Mat1f& image, double q);

/// Values along the segment from `centre - half * direction` to `centre + half * direction`, every
/// `step`, averaged over `lanes` parallel lanes one pixel apart.
[[nodiscard]] std::vector<float> profile(const cv::Mat1f& image, const Vec2& centre,
                                         const Vec2& direction, double half, double step,
                                         int lanes);

/// Position and strength of the steepest fall (sign -1) or rise (sign +1) of a profile after
/// Gaussian smoothing; sub-sample by a parabola. `index` counts samples from the start.
struct Edge {
  double index = 0.0;
  double strength = 0.0;  ///< slope per sample, positive
};
/// Weights of a Gaussian from its middle outwards, to four sigma, in samples.
[[nodiscard]] std::vector<float> gaussian_weights(double sigma_samples);

/// @param weights of the smoothing, from gaussian_weights()
[[nodiscard]] Edge steepest(const std::vector<float>& values, const std::vector<float>& weights,
                            int sign);
[[nodiscard]] Edge steepest(const std::vector<float>& values, double sigma_samples, int sign);

}  // namespace tidemark::anatomy
