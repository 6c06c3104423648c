#include "tidemark/migration/depths.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

constexpr std::array<const char*, kDepths> kNames = {
    kGreaterTrochanter, kLesserTrochanter, kCalcar, kMetaphysis, kShaft, "bone"};

/// What one pair tells the others of the depths, beyond what all of them began with.
struct Message {
  DepthMatrix information = DepthMatrix::Zero();
  DepthVector shift = DepthVector::Zero();  ///< information times what it adds to the mean
};

/// Only in directions in which the pair is surer than before: elsewhere its films contradict each
/// other, and where they moved the mean all the same, nobody knows by what right. Hence the mean
/// moves by twice at most of what a message of this much information is expected to move it
/// (derived: normal, variance a + a^2 / p for information a beside p); house choice.
Message message_of(const DepthMatrix& prior, const Depths& before, const Depths& after) {
  constexpr double kMostSds = 2.0;
  const DepthMatrix posterior = after.covariance.inverse();
  const DepthMatrix more = posterior - prior;
  const Eigen::SelfAdjointEigenSolver<DepthMatrix> eigen(0.5 * (more + more.transpose()));
  const DepthVector moved = posterior * (after.mean_mm - before.mean_mm);
  Message out;
  for (int i = 0; i < kDepths; ++i) {
    const double a = eigen.eigenvalues()(i);
    if (!(a > 0.0)) continue;
    const DepthVector v = eigen.eigenvectors().col(i);
    const double most = kMostSds * std::sqrt(a + a * a / v.dot(prior * v));
    out.information += a * v * v.transpose();
    out.shift += std::clamp(v.dot(moved), -most, most) * v;
  }
  return out;
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
  // Of n pairs, half of whose error is common, the mean has the information of 2 n / (n + 1).
  const double share = 1.0 / (static_cast<double>(others.size()) + 2.0);
  const DepthMatrix prior = before.covariance.inverse();
  DepthMatrix information = prior;
  DepthVector shift = DepthVector::Zero();
  for (const Depths* after : others) {
    const Message message = message_of(prior, before, *after);
    information += share * message.information;
    shift += share * message.shift;
  }
  Depths out;
  out.covariance = information.inverse();
  out.mean_mm = before.mean_mm + out.covariance * shift;
  return out;
}

}  // namespace tidemark::migration
