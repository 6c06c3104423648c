#include "tidemark/migration/side_view.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "tidemark/core/geometry.h"
#include "tidemark/core/least_squares.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/migration/pose.h"
#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

/// How far the film from the side may be off a right angle to the frontal one: depth then mixes
/// with what lies medially. House choice: legs are rolled until it looks right.
constexpr double kOffRightAngle = 10.0 * kDegree;

/// A shaft's axis is that of the stretch below the lesser trochanter, carried up to the stem's
/// reference point; a femur bows forward, and where the stretch begins is known to some 10 mm: half
/// a millimetre at the stem (house choice).
constexpr double kBowMm = 0.5;

/// How far the stretch of shaft that the film from the side shows may point elsewhere than the one
/// that a frontal film shows, degrees: a femur bows forward on a radius of about a metre, and the
/// stretches begin and end some 10 mm apart (derived; the radius from memory).
constexpr double kBowDeg = 0.5;

/// How far in front of or behind its outermost point, as the film from the side shows it, the part
/// of the lesser trochanter's outline lies that registers on frontal films (house choice: a third
/// of its breadth of 15 mm).
constexpr double kRegistersElsewhereMm = 5.0;

/// What registers of a bone lies in front of or behind the place where its like lies in other
/// people by more than the bone's own shape tells, all features alike: on films of two simulators,
/// with the stem within 1 mm of the shaft's axis on both, the metaphysis registers 6 mm behind the
/// stem on the one and 3 to 6 mm in front of it on the other (docs/accuracy.md). House choice.
constexpr double kRegistersApartMm = 2.5;

double behind(const Line2& axis, const Vec2& p, double mm_per_px) {
  return -mm_per_px * signed_distance(axis, p);
}

double along_mm(const Line2& axis, const Vec2& p, double mm_per_px) {
  return mm_per_px * along(axis, p);
}

/// What a frontal film says of the stem.
struct Frontal {
  double tip_below_reference_mm = 0.0;
  double head_offset_mm = 0.0;
  double stem_medial_mm = 0.0;  ///< reference point off the shaft's axis
  double tilt_deg = 0.0;        ///< of the stem's axis against the shaft's
};

Frontal frontal_of(const MeasuredFilm& film) {
  const double k = film.scale.value.value;
  const Line2& stem = film.implant.axis.line_px;
  Frontal out;
  out.tip_below_reference_mm =
      along_mm(stem, film.implant.tip.px, k) - along_mm(stem, film.implant.reference_px, k);
  out.head_offset_mm = stem_look(film).head_medial_mm;
  if (film.femur.shaft_axis) {
    out.stem_medial_mm =
        behind(film.femur.shaft_axis->line_px, film.implant.reference_px, k);  // medial is +x too
    out.tilt_deg =
        angle_between(film.femur.shaft_axis->line_px.direction, stem.direction) / kDegree;
  }
  return out;
}

Measured<Millimetres> mm(double value, double u) {
  return measured(Millimetres{value}, Millimetres{u});
}

/// What the film's own scale leaves open of the depth of a point that the film shows.
double scale_u(const MeasuredFilm& side, double depth_mm) {
  return side.scale.u.value / side.scale.value.value * depth_mm;
}

/// u of a point's distance from the shaft's axis as that is carried up to it.
double axis_u(const anatomy::FoundAxis& shaft, const Vec2& p, double mm_per_px) {
  const double reach = mm_per_px * std::abs(along(shaft.line_px, p));
  return std::hypot(shaft.direction_u.value * kDegree * reach, kBowMm);
}

/// Mean weighted by information; what contradicts itself is widened (birge_ratio), and what errs on
/// all films alike, by `common`, is not averaged away (derived: of weights w the variance is
/// c^2 + sum w^2 (u^2 - c^2)).
template <class Unit>
Measured<Unit> mean_of(const std::vector<Measured<Unit>>& values, double common) {
  const auto n = static_cast<Eigen::Index>(values.size());
  Eigen::VectorXd y(n);
  Eigen::VectorXd variance(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Measured<Unit>& v = values[static_cast<std::size_t>(i)];
    y(i) = v.value.value;
    variance(i) = v.u.value * v.u.value;
  }
  const auto fit = gls(Eigen::MatrixXd::Ones(n, 1), y, variance.asDiagonal()).value();
  const double inflate = std::max(1.0, fit.degrees_of_freedom > 0 ? birge_ratio(fit) : 1.0);
  const double square = common * common;
  double with_common = square;
  for (Eigen::Index i = 0; i < n; ++i) {
    const double weight = fit.covariance(0, 0) / variance(i);
    with_common += weight * weight * std::max(0.0, variance(i) - square);
  }
  const double u =
      std::max(inflate * std::sqrt(fit.covariance(0, 0)), n > 1 ? std::sqrt(with_common) : 0.0);
  return measured(Unit{fit.estimate(0)}, Unit{u});
}

}  // namespace

std::optional<SideView> side_view(const MeasuredFilm& side, const MeasuredFilm& frontal) {
  if (!side.femur.shaft_axis) return std::nullopt;
  if (!side.implant.shows_tip() || !frontal.implant.shows_tip()) return std::nullopt;
  const Frontal front = frontal_of(frontal);
  const double k = side.scale.value.value *
                   (1.0 + std::max(0.0, front.head_offset_mm) / PoseModel{}.source.value);
  const Line2& stem = side.implant.axis.line_px;
  const anatomy::FoundAxis& shaft = *side.femur.shaft_axis;
  const Vec2 reference = side.implant.tip.px - front.tip_below_reference_mm / k * stem.direction;
  const double turn = std::sin(kOffRightAngle);
  SideView out;
  const double stem_u =
      side.implant.axis.direction_u.value * kDegree * front.tip_below_reference_mm;
  // Of the way to the tip: from there on lengths are the frontal film's.
  const double by_scale = scale_u(side, behind(shaft.line_px, side.implant.tip.px, k));
  out.stem_depth = mm(behind(shaft.line_px, reference, k),
                      std::hypot(std::hypot(axis_u(shaft, reference, k), stem_u),
                                 turn * front.stem_medial_mm, by_scale));
  const Vec2 back(shaft.line_px.direction.y(), -shaft.line_px.direction.x());
  const double lean = std::asin(std::clamp(stem.direction.dot(back), -1.0, 1.0)) / kDegree;
  out.lean =
      measured(Degrees{lean},
               Degrees{std::hypot(side.implant.axis.direction_u.value, shaft.direction_u.value,
                                  std::hypot(turn * front.tilt_deg, kBowDeg))});
  if (const auto& lesser = side.femur.lesser_trochanter) {
    constexpr double kMedialOfShaft = 20.0;  // mm, of the trochanter: common anatomy, no one source
    const double lesser_depth = behind(shaft.line_px, lesser->px, k);
    out.lesser_trochanter =
        mm(lesser_depth, std::hypot(std::hypot(k * lesser->u_px, axis_u(shaft, lesser->px, k)),
                                    turn * kMedialOfShaft, scale_u(side, lesser_depth)));
  }
  return out;
}

SideView in_doubt(const SideView& seen, double wrong) {
  const auto told = [wrong](auto value) {
    using Unit = decltype(value.value);
    const double x = value.value.value;
    return measured(Unit{(1.0 - 2.0 * wrong) * x},
                    Unit{std::hypot(value.u.value, 2.0 * std::sqrt(wrong * (1.0 - wrong)) * x)});
  };
  SideView out{told(seen.stem_depth), told(seen.lean), std::nullopt};
  if (seen.lesser_trochanter && wrong < 0.5) out.lesser_trochanter = told(*seen.lesser_trochanter);
  return out;
}

SideView combined(const std::vector<SideView>& views) {
  std::vector<Measured<Millimetres>> depths;
  std::vector<Measured<Degrees>> leans;
  std::vector<Measured<Millimetres>> lessers;
  for (const SideView& v : views) {
    depths.push_back(v.stem_depth);
    leans.push_back(v.lean);
    if (v.lesser_trochanter) lessers.push_back(*v.lesser_trochanter);
  }
  SideView out{mean_of(depths, kBowMm), mean_of(leans, kBowDeg), std::nullopt};
  if (!lessers.empty()) out.lesser_trochanter = mean_of(lessers, kBowMm);
  return out;
}

Depths depths_of_hip(const SideView& seen) {
  Depths out = depths_of_people(std::hypot(seen.stem_depth.u.value, kRegistersApartMm));
  out.mean_mm.array() -= seen.stem_depth.value.value;
  if (!seen.lesser_trochanter) return out;
  // One more observation of one depth: a step of recursive least squares.
  const int i = depth_index(kLesserTrochanter);
  const double told = seen.lesser_trochanter->value.value - seen.stem_depth.value.value;
  const double noise = std::hypot(seen.lesser_trochanter->u.value, kRegistersElsewhereMm);
  const DepthVector column = out.covariance.col(i);
  const DepthVector gain = column / (column(i) + noise * noise);
  out.mean_mm += gain * (told - out.mean_mm(i));
  out.covariance -= gain * column.transpose();
  return out;
}

}  // namespace tidemark::migration
