#include "tidemark/migration/pose.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "stem_in_beam.h"
#include "tidemark/core/parallel.h"

namespace tidemark::migration {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr int kPoints = 1 << 15;
constexpr double kFewestPoints = 60.0;  ///< effective, of the weighted sample; house choice
constexpr int kKept = 256;              ///< draws that are handed on
// What the marks do not say of themselves, mm, house choices: the axis under the head, and the
// corners under lead and length.
constexpr double kHeadFloor = 0.2;
constexpr double kLeadFloor = 0.35;
constexpr double kLengthFloor = 0.25;

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
double log_t4(double miss, double scale) {
  return -2.5 * std::log1p(0.25 * miss * miss / (scale * scale)) - std::log(scale);
}

/// Normal quantiles, by pairs (Box and Muller), of two numbers in (0, 1).
std::array<double, 2> normal_pair(double u, double v) {
  const double r = std::sqrt(-2.0 * std::log(u));
  return {r * std::cos(2.0 * std::numbers::pi * v), r * std::sin(2.0 * std::numbers::pi * v)};
}

/// One pose of both films, with what it would show.
struct Draw {
  PoseDraw pose;
  double rotation;
  double log_turn;  ///< of log_likelihood, what the turn in the films' plane says
  double log_likelihood;
};

/// Angles and beams of both films at one point of the sequence.
struct Legs {
  LegInBeam a, b;
  double anteversion;
  double spread;  ///< by how much worse than the model's scales legs are laid here
  double scales;  ///< ratio of the films' scales over the one that was measured
};

Legs legs_at(const PoseModel& model, const StemLooks& looks, int i) {
  constexpr double kWidest = 50.0 * kDegree;  // of one film; beyond it is no AP film
  const auto at = [i](int base) { return radical_inverse(i, base); };
  // 4 over a chi-square with 4 degrees of freedom, which is the sum of two exponentials.
  const double spread = std::sqrt(-2.0 / std::log(at(23) * at(29)));
  const auto angle = [&](double normal, Degrees scale) {
    return std::clamp(spread * normal * scale.value * kDegree, -kWidest, kWidest);
  };
  const auto [f1, f2] = normal_pair(at(2), at(3));
  const auto [r1, r2] = normal_pair(at(5), at(7));
  const double version = normal_pair(at(11), at(13)).front();
  const double scales = std::exp(looks.scale_ratio_u * normal_pair(at(43), at(47)).front());
  const auto beam = [&](const StemLook& look, int across, int along) -> Vec2 {
    return look.head_from_middle_mm +
           model.beam_shift.value * Vec2(t4_quantile(at(across)), t4_quantile(at(along)));
  };
  const double source = model.source.value;
  return {{angle(f1, model.film_flexion), angle(r1, model.film_rotation),
           beam(looks.reference, 31, 17), source},
          {angle(f2, model.film_flexion), angle(r2, model.film_rotation),
           beam(looks.follow_up, 37, 19), source},
          kDegree * (front_towards_tube(model.view) * model.anteversion.value +
                     version * model.anteversion_spread.value),
          spread,
          scales};
}

/// What the surface says, ready to draw from: its modes with the roots of their covariances.
struct SurfaceSampler {
  std::vector<surface::SeenMode> modes;
  std::vector<Eigen::Matrix4d> roots;

  explicit SurfaceSampler(const surface::PoseChangeBySurface& by_surface)
      : modes(by_surface.modes) {
    for (const auto& m : modes) roots.emplace_back(m.covariance.llt().matrixL());
  }

  /// The mode in which a share of all probability ends.
  [[nodiscard]] std::size_t mode_at(double share) const {
    std::size_t k = 0;
    for (; k + 1 < modes.size() && share > modes[k].probability; ++k) share -= modes[k].probability;
    return k;
  }
};

/// Legs whose stem looks as a draw from the surface says; beams, anteversion and spread as in
/// `free`.
Legs legs_of_surface(const Legs& free, const SurfaceSampler& sampler, int i) {
  const auto at = [i](int base) { return radical_inverse(i, base); };
  const std::size_t k = sampler.mode_at(at(41));
  const auto [z1, z2] = normal_pair(at(2), at(3));
  const auto [z3, z4] = normal_pair(at(5), at(7));
  const Eigen::Vector4d seen =
      sampler.modes[k].mean + sampler.roots[k] * Eigen::Vector4d(z1, z2, z3, z4);
  Legs legs = free;
  const auto lay = [&](LegInBeam& leg, double flexion, double version) {
    leg.flexion_rad = flexion + leg.head_mm.y() / leg.source_mm;
    leg.rotation_rad = legs.anteversion - version - leg.head_mm.x() / leg.source_mm;
  };
  lay(legs.a, seen(0), seen(1));
  lay(legs.b, seen(2), seen(3));
  return legs;
}

/// How usual the angles of both legs are, as the logarithm of a density, up to a constant.
double log_usual(const PoseModel& model, const Legs& legs) {
  const auto normal = [&](double angle, Degrees scale) {
    const double z = angle / (legs.spread * scale.value * kDegree);
    return -0.5 * z * z - std::log(legs.spread);
  };
  return normal(legs.a.flexion_rad, model.film_flexion) +
         normal(legs.b.flexion_rad, model.film_flexion) +
         normal(legs.a.rotation_rad, model.film_rotation) +
         normal(legs.b.rotation_rad, model.film_rotation);
}

/// The film turned in its cassette, one standard deviation of both together; house choice.
constexpr double kFilmTurn = 0.7 * kDegree;

/// How usual the stem's turn between the films is, in their plane.
double log_turn(const PoseModel& model, const StemLooks& looks, const Legs& legs) {
  const double turn = std::sqrt(2.0) * legs.spread * model.film_abduction.value * kDegree;
  return log_t4(looks.turn_rad, std::hypot(turn, kFilmTurn));
}

Draw draw(const PoseModel& model, const StemLooks& looks, const Legs& legs) {
  const LegInBeam& a = legs.a;
  const LegInBeam& b = legs.b;
  const StemFigure stem = figure_of(looks.reference, a, legs.anteversion);
  const BeamLook expected = look_in_beam(stem, b);
  Draw d{};
  d.pose = pose_between(stem, a, b);
  d.rotation = b.rotation_rad - a.rotation_rad;
  const double rim = kShoulderDepth * (std::sin(b.flexion_rad) - std::sin(a.flexion_rad));
  const double shoulder = looks.shoulder_u_mm * looks.shoulder_u_mm + rim * rim;
  const double heads = looks.heads_u_mm * looks.heads_u_mm;
  const StemLook& seen = looks.follow_up;
  const double k = legs.scales;
  d.log_turn = log_turn(model, looks, legs);
  d.log_likelihood = log_t4(seen.head_medial_mm - k * expected.head_medial_mm,
                            std::sqrt(kHeadFloor * kHeadFloor + heads)) +
                     log_t4(seen.head_from_shoulder_mm - k * expected.head_from_shoulder_mm,
                            std::sqrt(kLeadFloor * kLeadFloor + shoulder + heads)) +
                     log_t4(seen.length_mm - k * expected.length_mm,
                            std::sqrt(kLengthFloor * kLengthFloor +
                                      looks.tips_u_mm * looks.tips_u_mm + shoulder)) +
                     d.log_turn;
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

/// A few draws that stand for all: systematic sampling in proportion to the root of the weight, so
/// that what is improbable by the stem's look alone stays open to what the votes say of it.
std::vector<PoseDraw> kept_of(const std::vector<Draw>& draws, const Eigen::VectorXd& weight) {
  const Eigen::VectorXd root = weight.cwiseSqrt();
  const double step = root.sum() / kKept;
  std::vector<PoseDraw> out;
  double passed = 0.0;
  int taken = 0;
  double sum = 0.0;
  for (Eigen::Index i = 0; i < weight.size(); ++i) {
    passed += root(i);
    const int until = std::min(kKept, static_cast<int>(std::lround(passed / step)));
    if (until == taken) continue;
    PoseDraw kept = draws[static_cast<std::size_t>(i)].pose;
    kept.probability = root(i) * (until - taken);
    taken = until;
    sum += kept.probability;
    out.push_back(kept);
  }
  for (PoseDraw& d : out) d.probability /= sum;
  return out;
}

/// Few draws as a smooth density of the same mean and covariance: each widened and all drawn
/// together accordingly (West, J R Stat Soc B 55 (1993) 409, from memory).
PoseChange smoothed(std::vector<PoseDraw> draws) {
  constexpr double kWidth = 0.25;  // of the whole spread; house choice
  PoseVector mean = PoseVector::Zero();
  for (const PoseDraw& d : draws) mean += d.probability * vector_of(d);
  PoseMatrix covariance = PoseMatrix::Zero();
  for (const PoseDraw& d : draws) {
    const PoseVector off = vector_of(d) - mean;
    covariance += d.probability * off * off.transpose();
  }
  const double together = std::sqrt(1.0 - kWidth * kWidth);
  for (PoseDraw& d : draws) {
    const PoseVector v = mean + together * (vector_of(d) - mean);
    d = {v(0), v(1), v(2), v(3), v(4), v(5), v(6), d.probability};
  }
  PoseChange out;
  out.draws = std::move(draws);
  out.about_draw = kWidth * kWidth * covariance;
  return out;
}

/// The draws by their likelihoods, tempered where too few carry the weight.
PoseChange posterior(const std::vector<Draw>& draws) {
  double highest = -1e300;
  for (const Draw& d : draws) highest = std::max(highest, d.log_likelihood);
  Eigen::VectorXd weight = weights_of(draws, highest, 1.0);
  for (double power = 0.8; power > 0.1 && 1.0 / weight.squaredNorm() < kFewestPoints;
       power *= 0.8) {
    weight = weights_of(draws, highest, power);
  }
  PoseChange out = smoothed(kept_of(draws, weight));
  double flexion = 0.0;
  double rotation = 0.0;
  for (Eigen::Index i = 0; i < weight.size(); ++i) {
    const Draw& d = draws[static_cast<std::size_t>(i)];
    flexion += weight(i) * d.pose.flexion * d.pose.flexion;
    rotation += weight(i) * d.rotation * d.rotation;
  }
  out.flexion_rms_rad = std::sqrt(flexion);
  out.rotation_rms_rad = std::sqrt(rotation);
  return out;
}

}  // namespace

PoseVector vector_of(const PoseDraw& d) {
  return PoseVector{{d.flexion, d.turned, d.stretch, d.rolled, d.narrowed, d.bent, d.twisted}};
}

StemLook stem_look(const MeasuredFilm& film) {
  const double k = film.scale.value.value;
  const Vec2 distal = film.implant.axis.line_px.direction;
  const Vec2 medial(distal.y(), -distal.x());
  const Vec2 shoulder = film.implant.shoulder.px;
  const Vec2 head = film.implant.head.circle_px.centre;
  const Vec2 from_middle = head - film.middle_px.value_or(head);
  return {.head_medial_mm = k * (head - film.implant.reference_px).dot(medial),
          .head_from_shoulder_mm = k * (head - shoulder).dot(distal),
          .shoulder_medial_mm = k * (shoulder - film.implant.reference_px).dot(medial),
          .length_mm = k * (film.implant.tip.px - shoulder).dot(distal),
          .head_from_middle_mm = k * Vec2(from_middle.dot(medial), from_middle.dot(distal))};
}

PoseChange pose_change(const PoseModel& model) {
  PoseChange out;
  out.draws = {{.probability = 1.0}};
  out.flexion_rms_rad = model.flexion.value * kDegree;
  out.rotation_rms_rad = model.rotation.value * kDegree;
  out.about_draw(0, 0) = out.flexion_rms_rad * out.flexion_rms_rad;
  out.about_draw(3, 3) = out.rotation_rms_rad * out.rotation_rms_rad;
  return out;
}

PoseChange pose_change(const PoseModel& model, const StemLooks& looks) {
  if (!(looks.reference.length_mm > 0.0) || !(looks.follow_up.length_mm > 0.0)) {
    return pose_change(model);
  }
  std::vector<Draw> draws(kPoints);
  constexpr std::size_t kPieces = 16;
  constexpr std::size_t kEach = kPoints / kPieces;
  parallel_within(kPieces, [&](std::size_t piece) {
    for (std::size_t i = piece * kEach; i < (piece + 1) * kEach; ++i) {
      draws[i] = draw(model, looks, legs_at(model, looks, static_cast<int>(i) + 1));
    }
  });
  return posterior(draws);
}

PoseChange pose_change(const PoseModel& model, const StemLooks& looks,
                       const surface::PoseChangeBySurface& by_surface) {
  if (by_surface.modes.empty()) return pose_change(model, looks);
  constexpr int kFew = kPoints / 4;  // they all lie where the surface says
  const SurfaceSampler sampler(by_surface);
  std::vector<Draw> draws;
  draws.reserve(kFew);
  for (int i = 1; i <= kFew; ++i) {
    const Legs legs = legs_of_surface(legs_at(model, looks, i), sampler, i);
    draws.push_back(draw(model, looks, legs));
    draws.back().log_likelihood = draws.back().log_turn + log_usual(model, legs);
  }
  return posterior(draws);
}

}  // namespace tidemark::migration
