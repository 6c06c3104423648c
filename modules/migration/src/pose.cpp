#include "tidemark/migration/pose.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

namespace tidemark::migration {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr int kPoints = 1 << 15;
constexpr double kFewestPoints = 60.0;  ///< effective, of the weighted sample; house choice
// What the marks do not say of themselves, house choices: axis and scale under the head (mm), the
// shoulder's corner under its lead (mm), and of the length (share).
constexpr double kHeadFloor = 0.3;
constexpr double kLeadFloor = 0.35;
constexpr double kLengthFloor = 0.006;

/// Radical inverse of i in a prime base (Halton 1960), in (0, 1) for i > 0.
double radical_inverse(int i, int base) {
  double out = 0.0;
  double digit = 1.0 / base;
  for (; i > 0; i /= base, digit /= base) out += digit * (i % base);
  return out;
}

/// Quantile of Student's t with 4 degrees of freedom (closed form; Shaw, J Comput Finance 9 (2006)
/// 37, from memory).
double t4_quantile(double p) {
  const double alpha = 4.0 * p * (1.0 - p);
  const double root = std::sqrt(alpha);
  const double q = std::cos(std::acos(root) / 3.0) / root;
  return std::copysign(2.0 * std::sqrt(std::max(0.0, q - 1.0)), p - 0.5);
}

/// Logarithm of Student's density with 4 degrees of freedom, less its constant: an observation that
/// is far off once in a while.
double log_t4(double z) { return -2.5 * std::log1p(0.25 * z * z); }

/// Normal quantiles, by pairs (Box and Muller), of two numbers in (0, 1).
std::array<double, 2> normal_pair(double u, double v) {
  const double r = std::sqrt(-2.0 * std::log(u));
  return {r * std::cos(2.0 * std::numbers::pi * v), r * std::sin(2.0 * std::numbers::pi * v)};
}

/// One pose of both films, with what it would show.
struct Draw {
  double flexion, turned, stretch, rotation;
  double log_likelihood;
};

struct Looks {
  const PoseModel& model;
  const StemLook& a;
  const StemLook& b;
  const std::optional<Measured<Millimetres>>& lead;
};

Draw draw(const Looks& looks, int i) {
  const auto& [model, a, b, lead] = looks;
  constexpr double kWidest = 50.0 * kDegree;  // of one film; beyond it is no AP film
  const auto angle = [&](int base, Degrees scale) {
    const double t = t4_quantile(radical_inverse(i, base));
    return std::clamp(scale.value * kDegree * t, -kWidest, kWidest);
  };
  const double f1 = angle(2, model.film_flexion);
  const double f2 = angle(3, model.film_flexion);
  const double r1 = angle(5, model.film_rotation);
  const double r2 = angle(7, model.film_rotation);
  const auto [n1, n2] = normal_pair(radical_inverse(i, 11), radical_inverse(i, 13));
  const double version = kDegree * (model.anteversion.value + n1 * model.anteversion_spread.value);
  const double view = kDegree * (model.view.value + n2 * model.view_spread.value);
  Draw d{};
  d.flexion = std::cos(r2) * std::sin(f2) - std::cos(r1) * std::sin(f1);
  d.turned = std::sin(r2) * std::sin(f2) - std::sin(r1) * std::sin(f1);
  d.stretch = std::cos(f2 + view) / std::cos(f1 + view) - 1.0;
  d.rotation = r2 - r1;
  const double offset = a.head_medial_mm / std::cos(version - r1);
  d.log_likelihood = log_t4((b.head_medial_mm - offset * std::cos(version - r2)) / kHeadFloor);
  const double stretch_u =
      std::hypot(kLengthFloor, std::hypot(a.length_u_mm, b.length_u_mm) / a.length_mm);
  d.log_likelihood += log_t4((b.length_mm / a.length_mm - 1.0 - d.stretch) / stretch_u);
  if (lead) {
    const double expected =
        offset * (std::sin(version - r2) * std::sin(f2) - std::sin(version - r1) * std::sin(f1)) +
        a.head_from_shoulder_mm * d.stretch;
    d.log_likelihood +=
        log_t4((lead->value.value - expected) / std::hypot(kLeadFloor, lead->u.value));
  }
  return d;
}

/// Weights proportional to likelihood^power; their sum is 1.
Eigen::VectorXd weights_of(const std::vector<Draw>& draws, double highest, double power) {
  Eigen::VectorXd w(static_cast<Eigen::Index>(draws.size()));
  for (Eigen::Index i = 0; i < w.size(); ++i) {
    w(i) = std::exp(power * (draws[static_cast<std::size_t>(i)].log_likelihood - highest));
  }
  return w / w.sum();
}

}  // namespace

double PoseChange::flexion_rms_rad() const {
  return std::sqrt(flexion_rad * flexion_rad + covariance(0, 0));
}

StemLook stem_look(const MeasuredFilm& film) {
  const double k = film.scale.value.value;
  const Vec2 distal = film.implant.axis.line_px.direction;
  const Vec2 medial(distal.y(), -distal.x());
  const Vec2 shoulder = film.implant.shoulder.px;
  const Vec2 head = film.implant.head.circle_px.centre;
  return {.head_medial_mm = k * (head - film.implant.reference_px).dot(medial),
          .head_from_shoulder_mm = k * (head - shoulder).dot(distal),
          .length_mm = k * (film.implant.tip.px - shoulder).dot(distal),
          .length_u_mm = k * std::hypot(film.implant.tip.u_px, film.implant.shoulder.u_px)};
}

PoseChange pose_change(const PoseModel& model) {
  PoseChange out;
  out.covariance(0, 0) = std::pow(model.flexion.value * kDegree, 2);
  out.rotation_rms_rad = model.rotation.value * kDegree;
  return out;
}

PoseChange pose_change(const PoseModel& model, const StemLook& reference, const StemLook& follow_up,
                       const std::optional<Measured<Millimetres>>& head_lead) {
  if (!(reference.length_mm > 0.0) || !(follow_up.length_mm > 0.0)) return pose_change(model);
  const Looks looks{model, reference, follow_up, head_lead};
  std::vector<Draw> draws;
  draws.reserve(kPoints);
  double highest = -1e300;
  for (int i = 1; i <= kPoints; ++i) {
    draws.push_back(draw(looks, i));
    highest = std::max(highest, draws.back().log_likelihood);
  }
  Eigen::VectorXd weight = weights_of(draws, highest, 1.0);
  for (double power = 0.8; power > 0.1 && 1.0 / weight.squaredNorm() < kFewestPoints;
       power *= 0.8) {
    weight = weights_of(draws, highest, power);
  }
  Eigen::Vector3d mean = Eigen::Vector3d::Zero();
  Eigen::Matrix3d square = Eigen::Matrix3d::Zero();
  double rotation = 0.0;
  for (Eigen::Index i = 0; i < weight.size(); ++i) {
    const Draw& d = draws[static_cast<std::size_t>(i)];
    const Eigen::Vector3d v(d.flexion, d.turned, d.stretch);
    mean += weight(i) * v;
    square += weight(i) * v * v.transpose();
    rotation += weight(i) * d.rotation * d.rotation;
  }
  return {mean.x(), mean.y(), mean.z(), square - mean * mean.transpose(), std::sqrt(rotation)};
}

}  // namespace tidemark::migration
