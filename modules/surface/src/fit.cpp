#include "fit.h"

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "tidemark/core/robust.h"

namespace tidemark::surface {
namespace {

/// Rotation of the pose and its slopes by the three angles.
struct Turn {
  Eigen::Matrix3d by_in_plane, by_flexion, by_version, whole;
};

Turn turn_of(const UnknownVector& x) {
  const Eigen::Matrix3d a = Eigen::AngleAxisd(x(kInPlane), Vec3::UnitZ()).toRotationMatrix();
  const Eigen::Matrix3d b = Eigen::AngleAxisd(-x(kFlexion), Vec3::UnitX()).toRotationMatrix();
  const Eigen::Matrix3d c = Eigen::AngleAxisd(x(kVersion), Vec3::UnitY()).toRotationMatrix();
  const auto about = [](const Vec3& axis) {
    Eigen::Matrix3d m;
    m << 0.0, -axis.z(), axis.y(), axis.z(), 0.0, -axis.x(), -axis.y(), axis.x(), 0.0;
    return m;
  };
  const Eigen::Matrix3d whole = a * b * c;
  return {about(Vec3::UnitZ()) * whole, -a * about(Vec3::UnitX()) * b * c,
          whole * about(Vec3::UnitY()), whole};
}

ShadowSlopes slopes_with(const Turn& turn, const Vec3& head, const Vec3& neck_way, const Vec3& p,
                         const UnknownVector& x) {
  const Vec3 from_head = p - head;
  const Vec3 y = turn.whole * from_head;
  const double magnified = std::exp(x(kLogScale));
  const double source = std::exp(x(kLogSource));
  const Vec2 foot(x(kBeamX), x(kBeamY));
  const Vec2 head_off = Vec2(x(kHeadX), x(kHeadY)) - foot;  // film mm
  const double depth = source + y.z();
  const double ratio = source / depth;
  const Vec2 flat = head_off + magnified * y.head<2>();
  ShadowSlopes out;
  out.at = foot + ratio * flat;
  const auto by_turn = [&](const Vec3& dy) -> Vec2 {
    return ratio * magnified * dy.head<2>() - ratio / depth * dy.z() * flat;
  };
  out.slope.col(kInPlane) = by_turn(turn.by_in_plane * from_head);
  out.slope.col(kFlexion) = by_turn(turn.by_flexion * from_head);
  out.slope.col(kVersion) = by_turn(turn.by_version * from_head);
  out.slope.col(kHeadX) = Vec2(ratio, 0.0);
  out.slope.col(kHeadY) = Vec2(0.0, ratio);
  out.slope.col(kLogScale) = ratio * magnified * y.head<2>();
  out.slope.col(kEdge).setZero();
  out.slope.col(kLogSource) = ratio * (1.0 - ratio) * flat;
  out.slope.col(kBeamX) = Vec2(1.0 - ratio, 0.0);
  out.slope.col(kBeamY) = Vec2(0.0, 1.0 - ratio);
  out.slope.col(kNeck) = by_turn(-(turn.whole * neck_way));
  out.slope.col(kHeadSize).setZero();
  return out;
}

Vec3 neck_way(const StemModel& stem) {
  return stem.ball || !stem.neck ? Vec3::Zero() : stem.neck->direction;
}

/// Where the normal of an outline point meets a piece of the rim: how far out, and where on it.
struct Crossing {
  double off = 0.0;
  double part = 0.0;
};

std::optional<Crossing> crossing(const OutlinePoint& q, const RimEdge& rim, double reach) {
  const Vec2 along = rim.b_mm - rim.a_mm;
  const Vec2 to_a = rim.a_mm - q.at;
  const Vec2 side(-q.outward.y(), q.outward.x());
  const double a = side.dot(to_a);
  const double d = side.dot(along);
  if (std::abs(d) < 1e-12) return std::nullopt;
  const double part = -a / d;
  if (part < 0.0 || part > 1.0) return std::nullopt;
  const double off = q.outward.dot(to_a + part * along);
  if (std::abs(off) > reach) return std::nullopt;
  return Crossing{off, part};
}

/// One piece of the normal equations that a residual adds.
void add(double weight, double off, const UnknownVector& slope, UnknownMatrix& information,
         UnknownVector& gradient) {
  information.noalias() += weight * slope * slope.transpose();
  gradient += weight * off * slope;
}

struct Normal {
  UnknownMatrix information = UnknownMatrix::Zero();
  UnknownVector gradient = UnknownVector::Zero();
  double cost = 0.0;
  double matched = 0.0;
};

/// The mean of both radii of a ball's elliptic shadow over that on the central ray: rays graze a
/// ball off the axis on a cone that the film cuts askew (literature 5.2; derived).
double elongation_log(const Problem& problem, const UnknownVector& x) {
  const double s = std::exp(x(kLogSource));
  const double r = problem.film.head_radius_mm;
  const Vec2 off =
      (Vec2(x(kHeadX), x(kHeadY)) - Vec2(x(kBeamX), x(kBeamY))) / std::exp(x(kLogScale));
  const double minor = s / std::sqrt(s * s - r * r);
  const double major = s * std::sqrt(off.squaredNorm() + s * s - r * r) / (s * s - r * r);
  return std::log(0.5 * (minor + major));
}

/// Beliefs, head's centre and head's size.
void add_rest(const Problem& problem, const UnknownVector& x, Normal& n) {
  const Belief& b = problem.belief;
  const OutlineOnFilm& film = problem.film;
  const auto take = [&](double off, double u, const UnknownVector& slope) {
    const double weight = 1.0 / (u * u);
    add(weight, off, slope, n.information, n.gradient);
    n.cost += 0.5 * weight * off * off;
  };
  const auto unit = [](int i) { return UnknownVector(UnknownVector::Unit(i)); };
  take(x(kEdge), b.edge_u.value, unit(kEdge));
  take(x(kLogSource) - std::log(b.source.value), b.source_u / b.source, unit(kLogSource));
  take(x(kBeamX) - film.middle_mm.x(), b.beam_u.value, unit(kBeamX));
  take(x(kBeamY) - film.middle_mm.y(), b.beam_u.value, unit(kBeamY));
  take(x(kHeadSize), film.head_size_log_u, unit(kHeadSize));
  take(x(kNeck), has_free_neck(problem.stem) ? b.neck_u.value : 1e-3, unit(kNeck));
  // The ball's shadow is an ellipse whose middle lies a little farther out than the centre's
  // shadow.
  const double s = std::exp(x(kLogSource));
  const double out = 1.0 / (1.0 - std::pow(film.head_radius_mm / s, 2));
  for (const int k : {0, 1}) {
    const int head = k == 0 ? kHeadX : kHeadY;
    const int foot = k == 0 ? kBeamX : kBeamY;
    const double at = x(foot) + out * (x(head) - x(foot));
    take(at - film.head_mm(k), film.head_u_mm, out * unit(head) + (1.0 - out) * unit(foot));
  }
  // The head's edge errs otherwise than the stem's: a ball thins out towards its rim.
  take(x(kLogScale) + x(kHeadSize) + elongation_log(problem, x) - film.head_diameter_log,
       std::hypot(film.head_diameter_log_u, b.head_edge_u.value / film.head_radius_mm),
       unit(kLogScale) + unit(kHeadSize));
}

Normal normal_at(const Problem& problem, const UnknownVector& x, const Weighing& w) {
  Normal n;
  const double weight = 1.0 / (w.sigma_mm * w.sigma_mm * w.together);
  // Tukey's loss: what is beyond its range, or not matched at all, costs the same.
  const double range = kTukeyTuning * w.sigma_mm;
  const double most = range * range / 6.0;
  const auto matches = match(problem, x, w.reach_mm);
  for (const Match& m : matches) {
    const double part = 1.0 - std::pow(m.off_mm / range, 2);
    if (part > 0.0) {
      add(weight * part * part, m.off_mm, m.slope, n.information, n.gradient);
      n.cost += weight * most * (1.0 - part * part * part);
    } else {
      n.cost += weight * most;
    }
  }
  n.cost += weight * most * static_cast<double>(problem.points.size() - matches.size());
  n.matched = static_cast<double>(matches.size()) / static_cast<double>(problem.points.size());
  add_rest(problem, x, n);
  return n;
}

}  // namespace

StemPose pose_of(const UnknownVector& x) {
  return {x(kInPlane), x(kFlexion), x(kVersion), Vec2(x(kHeadX), x(kHeadY))};
}

ConeBeam beam_of(const UnknownVector& x) {
  return {std::exp(x(kLogSource)), Vec2(x(kBeamX), x(kBeamY)), std::exp(x(kLogScale))};
}

bool has_free_neck(const StemModel& stem) { return stem.neck && !stem.ball; }

Vec3 head_of(const StemModel& stem, double neck_mm) {
  if (stem.ball) return stem.ball->centre;
  if (stem.neck) return stem.neck->end + neck_mm * stem.neck->direction;
  return Vec3::Zero();
}

ShadowSlopes shadow_slopes(const StemModel& stem, const Vec3& p_in_stem, const UnknownVector& x) {
  return slopes_with(turn_of(x), head_of(stem, x(kNeck)), neck_way(stem), p_in_stem, x);
}

std::vector<Match> match(const Problem& problem, const UnknownVector& x, double reach_mm) {
  const Vec3 head = head_of(problem.stem, x(kNeck));
  const auto rims = problem.rim.seen(head, pose_of(x), beam_of(x));
  const Turn turn = turn_of(x);
  const Vec3 way = neck_way(problem.stem);
  constexpr double kAlike = 0.6;  // of the normals; 53 degrees
  std::vector<Match> out;
  for (std::size_t i = 0; i < problem.points.size(); ++i) {
    const OutlinePoint& q = problem.points[i];
    std::optional<Crossing> best;
    const RimEdge* rim_of_best = nullptr;
    for (const RimEdge& rim : rims) {
      const double far = reach_mm + (rim.b_mm - rim.a_mm).norm();
      if ((rim.a_mm - q.at).squaredNorm() > far * far || rim.outward.dot(q.outward) < kAlike) {
        continue;
      }
      const auto here = crossing(q, rim, reach_mm);
      if (here && (!best || here->off > best->off)) {
        best = here;
        rim_of_best = &rim;
      }
    }
    if (!best) continue;
    const Vec3 p = rim_of_best->a + best->part * (rim_of_best->b - rim_of_best->a);
    const ShadowSlopes s = slopes_with(turn, head, way, p, x);
    // The point stays; across the rim's own normal the rim may slide.
    const double across = rim_of_best->outward.dot(q.outward);
    UnknownVector slope = s.slope.transpose() * rim_of_best->outward / across;
    slope(kEdge) = 1.0 / across;
    out.push_back({i, best->off + x(kEdge) / across, slope});
  }
  return out;
}

Fit descend(const Problem& problem, const UnknownVector& x, const Weighing& weighing, int steps) {
  Fit fit;
  fit.x = x;
  Normal now = normal_at(problem, x, weighing);
  double damping = 1e-3;
  for (int step = 0; step < steps; ++step) {
    UnknownMatrix damped = now.information;
    damped.diagonal() *= 1.0 + damping;
    const UnknownVector move = damped.ldlt().solve(-now.gradient);
    if (!move.allFinite()) break;
    const UnknownVector next = fit.x + move;
    const bool sane = std::abs(next(kFlexion)) < 0.9 && std::abs(next(kVersion)) < 1.3 &&
                      std::abs(next(kLogScale)) < 0.3 && std::abs(next(kLogSource) - 6.9) < 1.0;
    const Normal then = sane ? normal_at(problem, next, weighing) : Normal{};
    if (!sane || !(then.cost < now.cost)) {
      damping *= 10.0;
      if (damping > 1e6) break;
      continue;
    }
    const double gain = now.cost - then.cost;
    fit.x = next;
    now = then;
    damping = std::max(1e-9, damping * 0.1);
    if (gain < 1e-4) break;
  }
  fit.information = now.information;
  fit.cost = now.cost;
  fit.matched = now.matched;
  return fit;
}

Scatter scatter_of(const Problem& problem, const UnknownVector& x, double reach_mm) {
  const auto matches = match(problem, x, reach_mm);
  if (matches.size() < 20) return {reach_mm, 1.0};
  std::vector<double> off;
  for (const Match& m : matches) off.push_back(std::abs(m.off_mm));
  const double sigma = kSigmaPerMad * median(off).value_or(0.0);
  // Along the outline, points out of Tukey's range and gaps left out.
  std::vector<double> all(problem.points.size(), std::nan(""));
  for (const Match& m : matches) {
    if (std::abs(m.off_mm) < kTukeyTuning * sigma) all[m.point] = m.off_mm;
  }
  const auto correlation = [&](std::size_t lag) {
    double product = 0.0;
    int n = 0;
    for (std::size_t i = 0; i + lag < all.size(); ++i) {
      if (std::isnan(all[i]) || std::isnan(all[i + lag])) continue;
      product += all[i] * all[i + lag];
      ++n;
    }
    return n > 0 ? product / n : 0.0;
  };
  const double variance = correlation(0);
  double together = 1.0;
  for (std::size_t lag = 1; lag < all.size() / 4; ++lag) {
    const double c = correlation(lag) / std::max(1e-12, variance);
    if (c <= 0.05) break;
    together += 2.0 * c;
  }
  return {sigma, together};
}

}  // namespace tidemark::surface
