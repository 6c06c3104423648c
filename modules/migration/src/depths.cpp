#include "tidemark/migration/depths.h"

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <string_view>

#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

constexpr std::array<const char*, kDepths> kNames = {
    kGreaterTrochanter, kLesserTrochanter, kCalcar, kMetaphysis, kShaft, "bone"};

/// The part of a symmetric matrix that adds information, never takes it.
DepthMatrix without_negative(const DepthMatrix& m) {
  const Eigen::SelfAdjointEigenSolver<DepthMatrix> eigen(0.5 * (m + m.transpose()));
  return eigen.eigenvectors() * eigen.eigenvalues().cwiseMax(0.0).asDiagonal() *
         eigen.eigenvectors().transpose();
}

}  // namespace

Depth depth_of(const std::string& feature) {
  if (feature == kGreaterTrochanter) return {4.0, 6.0};
  if (feature == kLesserTrochanter) return {13.0, 6.0};
  // It lies in the plane of the neck: 20 mm medial, 12 degrees turned forward.
  if (feature == kCalcar) return {-4.0, 6.0};
  if (feature == kMetaphysis) return {1.0, 5.0};
  if (feature == kShaft) return {0.0, 4.0};
  return {5.0, 8.0};
}

int depth_index(const std::string& feature) {
  for (int i = 0; i + 1 < kDepths; ++i) {
    if (feature == kNames[static_cast<std::size_t>(i)]) return i;
  }
  return kDepths - 1;
}

Depths depths_of_people(double stem_depth_mm) {
  Depths out;
  out.covariance = DepthMatrix::Constant(stem_depth_mm * stem_depth_mm);
  for (int i = 0; i < kDepths; ++i) {
    const Depth depth = depth_of(kNames[static_cast<std::size_t>(i)]);
    out.mean_mm(i) = depth.mean_mm;
    out.covariance(i, i) += depth.sd_mm * depth.sd_mm;
  }
  return out;
}

Depths with_others(const Depths& before, const std::vector<const Depths*>& others) {
  const DepthMatrix prior = before.covariance.inverse();
  DepthMatrix information = prior;
  DepthVector weighted = prior * before.mean_mm;
  for (const Depths* after : others) {
    const DepthMatrix posterior = after->covariance.inverse();
    const DepthMatrix added = kShared * without_negative(posterior - prior);
    // The mean that, added with this information to `before`, gives what the pair found.
    const DepthVector shift = posterior * (after->mean_mm - before.mean_mm);
    information += added;
    weighted += added * before.mean_mm + kShared * shift;
  }
  Depths out;
  out.covariance = information.inverse();
  out.mean_mm = out.covariance * weighted;
  return out;
}

}  // namespace tidemark::migration
