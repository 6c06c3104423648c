#include <algorithm>
#include <cmath>

#include "matcher.h"

namespace tidemark::alignment {
namespace {

/// Distance of voting pixels in sigma. A Gaussian of 1 sigma sampled every sigma has lost nothing
/// (0.7 % of its amplitude lies beyond the Nyquist frequency; derived).
constexpr double kVoteDistance = 1.0;

}  // namespace

std::optional<LevelRegion> region_on(const Level& level, const Raster& region, double mm_per_px) {
  LevelRegion out;
  out.weights = bin_mean(region, level.bin, mm_per_px);
  const auto size = out.weights->GetBufferedRegion().GetSize();
  float* weights = out.weights->GetBufferPointer();
  const float* usable = level.usable->GetBufferPointer();
  const auto columns = static_cast<long>(size[0]);
  const auto rows = static_cast<long>(size[1]);
  out.box_px = {columns, -1, rows, -1};
  // Pixels closer than about sigma say the same thing: every stride-th of each row and column
  // votes.
  const long stride =
      std::max(1L, std::lround(level.sigma_mm / level.image->GetSpacing()[0] * kVoteDistance));
  Eigen::Vector3d moments = Eigen::Vector3d::Zero();  // sums of w x, w y, w r^2
  for (long y = 0; y < rows; ++y) {
    for (long x = 0; x < columns; ++x) {
      const auto i = static_cast<std::size_t>(y * columns + x);
      if (x % stride != 0 || y % stride != 0) weights[i] = 0.0F;
      if (!(weights[i] > 0.0F)) continue;
      out.wanted += weights[i];
      weights[i] *= usable[i];
      if (!(weights[i] > 0.0F)) continue;
      out.box_px = {std::min(out.box_px[0], x), std::max(out.box_px[1], x),
                    std::min(out.box_px[2], y), std::max(out.box_px[3], y)};
      const Vec2 p(static_cast<double>(x), static_cast<double>(y));
      out.total += weights[i];
      moments += static_cast<double>(weights[i]) * Eigen::Vector3d(p.x(), p.y(), p.squaredNorm());
    }
  }
  if (!(out.total > 0.0)) return std::nullopt;
  const double spacing = level.image->GetSpacing()[0];
  const Vec2 mean = moments.head<2>() / out.total;
  out.centre_mm = spacing * mean + Vec2(level.image->GetOrigin()[0], level.image->GetOrigin()[1]);
  out.radius_mm = spacing * std::sqrt(std::max(0.0, moments(2) / out.total - mean.squaredNorm()));
  return out;
}

BoxMm box_of(const LevelRegion& region) {
  const auto& image = *region.weights;
  const auto corner = [&](long x, long y) {
    return Vec2(image.GetOrigin()[0] + image.GetSpacing()[0] * static_cast<double>(x),
                image.GetOrigin()[1] + image.GetSpacing()[1] * static_cast<double>(y));
  };
  return {corner(region.box_px[0], region.box_px[2]), corner(region.box_px[1], region.box_px[3])};
}

}  // namespace tidemark::alignment
