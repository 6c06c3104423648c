#include "tidemark/surface/change.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "tidemark/core/uncertainty.h"

namespace tidemark::surface {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr int kBoth = 2 * kUnknowns;
using BothVector = Eigen::Matrix<double, kBoth, 1>;
using BothMatrix = Eigen::Matrix<double, kBoth, kBoth>;

UnknownVector unknowns_of(const PoseMode& m) {
  UnknownVector x;
  x << m.pose.in_plane_rad, m.pose.flexion_rad, m.pose.version_rad, m.pose.head_mm.x(),
      m.pose.head_mm.y(), std::log(m.beam.magnified), m.edge_mm, std::log(m.beam.source_mm),
      m.beam.centre_mm.x(), m.beam.centre_mm.y(), m.neck_mm, m.head_size_log;
  return x;
}

/// Slopes of the two seen angles by the unknowns of a film.
Eigen::Matrix<double, 2, kUnknowns> seen_slopes(const PoseMode& m) {
  const double per_mm = 1.0 / (m.beam.magnified * m.beam.source_mm);
  const double c = per_mm * std::cos(m.pose.in_plane_rad);
  const double s = per_mm * std::sin(m.pose.in_plane_rad);
  const Vec2 off = head_off_beam(m.pose, m.beam) / m.beam.source_mm;
  Eigen::Matrix<double, 2, kUnknowns> slope = Eigen::Matrix<double, 2, kUnknowns>::Zero();
  slope(0, kFlexion) = 1.0;
  slope(0, kHeadX) = s;
  slope(0, kHeadY) = -c;
  slope(0, kBeamX) = -s;
  slope(0, kBeamY) = c;
  slope(1, kVersion) = 1.0;
  slope(1, kHeadX) = -c;
  slope(1, kHeadY) = -s;
  slope(1, kBeamX) = c;
  slope(1, kBeamY) = s;
  slope.col(kInPlane) = Vec2(off.x(), -off.y());
  slope.col(kLogScale) = Vec2(off.y(), off.x());
  slope.col(kLogSource) = Vec2(off.y(), off.x());
  return slope;
}

/// Both films with what they share made one.
struct Joint {
  BothVector x;
  BothMatrix covariance;
  double log_weight = 0.0;
};

/// Of both films, as known before either was looked at.
struct SharedBefore {
  double neck_u_mm = 0.0;
  double head_size_log_u = 0.0;
};

/// Each film's answer holds what was known before of one unknown, so both together hold it twice:
/// without a normal density of mean nought once (the quotient of two normal densities; derived).
Joint counted_once(Joint joint, int shared, double u_before) {
  const double left = u_before * u_before - joint.covariance(shared, shared);
  if (!(left > 0.0)) return joint;  // not asked, or known
  const BothVector gain = joint.covariance.col(shared);
  const double told = joint.x(shared);
  joint.x += gain * (told / left);
  joint.covariance += gain * gain.transpose() / left;
  joint.log_weight += 0.5 * told * told / left;
  return joint;
}

Joint joined(const PoseMode& a, const PoseMode& b, const SharedBefore& before) {
  Joint out;
  out.x << unknowns_of(a), unknowns_of(b);
  out.covariance.setZero();
  out.covariance.topLeftCorner<kUnknowns, kUnknowns>() = a.covariance;
  out.covariance.bottomRightCorner<kUnknowns, kUnknowns>() = b.covariance;
  out.log_weight = std::log(a.probability) + std::log(b.probability);
  // Differences that are nought: one head on one neck.
  for (const int shared : {static_cast<int>(kNeck), static_cast<int>(kHeadSize)}) {
    const BothVector gain = out.covariance.col(shared) - out.covariance.col(kUnknowns + shared);
    const double u = shared == kNeck ? 0.02 : 1e-5;  // mm; of the diameter: but for rounding
    const double variance = gain(shared) - gain(kUnknowns + shared) + u * u;
    const double miss = out.x(shared) - out.x(kUnknowns + shared);
    out.x -= gain * (miss / variance);
    out.covariance -= gain * gain.transpose() / variance;
    out.log_weight -= 0.5 * (miss * miss / variance);
  }
  out = counted_once(out, kNeck, before.neck_u_mm);
  return counted_once(out, kHeadSize, before.head_size_log_u);
}

/// How usual the angles of both legs are, with what is unknown of them: logarithm of the density of
/// flexions and versions, up to a constant. One stem stands in both legs, in one anteversion.
double log_usual(const Joint& joint, const Belief& b) {
  const std::array<int, 4> at{kFlexion, kVersion, kUnknowns + kFlexion, kUnknowns + kVersion};
  const double stem = std::pow(b.anteversion_u.value * kDegree, 2);
  const double leg = std::pow(b.rotation_u.value * kDegree, 2);
  const double flexion = std::pow(b.flexion_u.value * kDegree, 2);
  Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero();
  covariance.diagonal() << flexion, stem + leg, flexion, stem + leg;
  covariance(1, 3) = covariance(3, 1) = stem;
  const double version = front_towards_tube(b.view) * b.anteversion.value * kDegree;
  Eigen::Vector4d off(0.0, -version, 0.0, -version);
  for (int i = 0; i < 4; ++i) {
    const auto row = static_cast<std::size_t>(i);
    off(i) += joint.x(at[row]);
    for (int k = 0; k < 4; ++k) {
      covariance(i, k) += joint.covariance(at[row], at[static_cast<std::size_t>(k)]);
    }
  }
  return -0.5 * (off.dot(covariance.ldlt().solve(off)) + std::log(covariance.determinant()));
}

/// Weights whose logarithms these are, up to a constant; their sum is 1.
std::vector<double> weights_of(const std::vector<double>& logs) {
  const double best = *std::max_element(logs.begin(), logs.end());
  double sum = 0.0;
  for (const double l : logs) sum += std::exp(l - best);
  std::vector<double> out;
  out.reserve(logs.size());
  for (const double l : logs) out.push_back(std::exp(l - best) / sum);
  return out;
}

/// Mean and variance of a mixture.
struct Moments {
  double mean = 0.0;
  double variance = 0.0;
};

Moments moments_of(const std::vector<Joint>& joints, const std::vector<double>& weights, int i,
                   double sign) {
  Moments m;
  for (std::size_t k = 0; k < joints.size(); ++k) {
    m.mean += weights[k] * sign * (joints[k].x(kUnknowns + i) - joints[k].x(i));
  }
  for (std::size_t k = 0; k < joints.size(); ++k) {
    const BothMatrix& c = joints[k].covariance;
    const double own = c(i, i) + c(kUnknowns + i, kUnknowns + i) - 2.0 * c(i, kUnknowns + i);
    const double off = sign * (joints[k].x(kUnknowns + i) - joints[k].x(i)) - m.mean;
    m.variance += weights[k] * (own + off * off);
  }
  return m;
}

Measured<Degrees> degrees(const Moments& m) {
  return measured(Degrees{m.mean / kDegree}, Degrees{std::sqrt(m.variance) / kDegree});
}

}  // namespace

PoseChangeBySurface pose_change(const SurfacePose& reference, const SurfacePose& follow_up,
                                const Belief& belief) {
  const SharedBefore before{std::min(reference.neck_u_mm, follow_up.neck_u_mm),
                            std::min(reference.head_size_log_u, follow_up.head_size_log_u)};
  std::vector<Joint> joints;
  PoseChangeBySurface out;
  for (const PoseMode& a : reference.modes) {
    for (const PoseMode& b : follow_up.modes) {
      joints.push_back(joined(a, b, before));
      Eigen::Matrix<double, 4, kBoth> slope = Eigen::Matrix<double, 4, kBoth>::Zero();
      slope.topLeftCorner<2, kUnknowns>() = seen_slopes(a);
      slope.bottomRightCorner<2, kUnknowns>() = seen_slopes(b);
      BothVector apart;
      apart << unknowns_of(a), unknowns_of(b);
      SeenMode mode;
      mode.mean << a.seen_flexion_rad(), a.seen_version_rad(), b.seen_flexion_rad(),
          b.seen_version_rad();
      mode.mean += slope * (joints.back().x - apart);
      mode.covariance = slope * joints.back().covariance * slope.transpose();
      out.modes.push_back(mode);
    }
  }
  std::vector<double> logs;
  logs.reserve(joints.size());
  for (const Joint& j : joints) logs.push_back(j.log_weight);
  const std::vector<double> alone = weights_of(logs);
  for (std::size_t k = 0; k < alone.size(); ++k) {
    out.modes[k].probability = alone[k];
    logs[k] += log_usual(joints[k], belief);
  }
  const std::vector<double> weights = weights_of(logs);
  out.flexion = degrees(moments_of(joints, weights, kFlexion, 1.0));
  out.rotation = degrees(moments_of(joints, weights, kVersion, -front_towards_tube(belief.view)));
  return out;
}

}  // namespace tidemark::surface
