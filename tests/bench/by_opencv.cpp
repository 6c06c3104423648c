#include <cmath>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>

#include "registration.h"

namespace tidemark::bench {
namespace {

constexpr int kLevels = 3;

cv::Mat picture(const Raster& raster) {
  cv::Mat out(raster.height, raster.width, CV_32F);
  std::copy(raster.values.begin(), raster.values.end(), out.begin<float>());
  return out;
}

cv::Mat mask_of(const Mask& mask) {
  cv::Mat out(mask.height, mask.width, CV_8U);
  std::transform(mask.values.begin(), mask.values.end(), out.begin<unsigned char>(),
                 [](auto v) { return static_cast<unsigned char>(v != 0 ? 255 : 0); });
  return out;
}

cv::Mat looked_at(const cv::Mat& grey, Look look) {
  if (look == Look::kGrey) return grey;
  cv::Mat smooth, x, y, length;
  cv::GaussianBlur(grey, smooth, {}, 2.0);
  cv::Sobel(smooth, x, CV_32F, 1, 0);
  cv::Sobel(smooth, y, CV_32F, 0, 1);
  cv::magnitude(x, y, length);
  return length;
}

/// The 2x3 matrix of a motion between px of pictures with the given pixel sizes; isotropic scale
/// between them is taken out beforehand, so it is Euclidean.
cv::Mat matrix_of(const Rigid2& motion_mm, double mm_per_px) {
  const double c = std::cos(motion_mm.angle_rad);
  const double s = std::sin(motion_mm.angle_rad);
  return (cv::Mat_<float>(2, 3) << c, -s, motion_mm.translation.x() / mm_per_px, s, c,
          motion_mm.translation.y() / mm_per_px);
}

Rigid2 motion_of(const cv::Mat& matrix, double mm_per_px) {
  Rigid2 out;
  out.angle_rad = std::atan2(matrix.at<float>(1, 0), matrix.at<float>(0, 0));
  out.translation = Vec2(matrix.at<float>(0, 2), matrix.at<float>(1, 2)) * mm_per_px;
  return out;
}

/// The picture with pixels of another size, same mm frame (pixel (0, 0) stays at 0).
cv::Mat with_pixel_size(const cv::Mat& in, double from_mm, double to_mm, int interpolation) {
  const double scale = to_mm / from_mm;
  const cv::Size size(static_cast<int>(in.cols / scale), static_cast<int>(in.rows / scale));
  cv::Mat smooth = in;
  if (interpolation == cv::INTER_LINEAR && scale > 1.2) {
    cv::GaussianBlur(in, smooth, {}, 0.5 * scale);
  }
  const cv::Mat in_from_out = (cv::Mat_<double>(2, 3) << scale, 0, 0, 0, scale, 0);
  cv::Mat out;
  cv::warpAffine(smooth, out, in_from_out, size, interpolation | cv::WARP_INVERSE_MAP);
  return out;
}

}  // namespace

std::optional<Rigid2> by_opencv_ecc(const Task& task, Look look) {
  cv::setNumThreads(1);
  const cv::Mat fixed = looked_at(picture(task.fixed), look);
  const cv::Mat moving = looked_at(picture(task.moving), look);
  const cv::Mat voting = mask_of(task.fixed_voting);
  const cv::Mat usable = mask_of(task.moving_usable);
  Rigid2 motion = task.start;
  for (int level = kLevels - 1; level >= 0; --level) {
    const double size_mm = task.fixed_mm_per_px * (1 << level);
    const auto at = [&](const cv::Mat& in, double from_mm, int how) {
      return with_pixel_size(in, from_mm, size_mm, how);
    };
    const cv::Mat fixed_now = at(fixed, task.fixed_mm_per_px, cv::INTER_LINEAR);
    const cv::Mat moving_now = at(moving, task.moving_mm_per_px, cv::INTER_LINEAR);
    cv::Mat mask = at(usable, task.moving_mm_per_px, cv::INTER_NEAREST);
    cv::Mat carried;
    cv::warpAffine(at(voting, task.fixed_mm_per_px, cv::INTER_NEAREST), carried,
                   matrix_of(motion, size_mm), moving_now.size(), cv::INTER_NEAREST);
    cv::bitwise_and(mask, carried, mask);
    cv::Mat matrix = matrix_of(motion, size_mm);
    try {
      cv::findTransformECC(fixed_now, moving_now, matrix, cv::MOTION_EUCLIDEAN,
                           {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 100, 1e-5}, mask, 5);
    } catch (const cv::Exception&) {
      return std::nullopt;
    }
    motion = motion_of(matrix, size_mm);
  }
  return motion;
}

}  // namespace tidemark::bench
