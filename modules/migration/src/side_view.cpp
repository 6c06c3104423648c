#include "tidemark/migration/side_view.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
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

/// How far in front of its outermost point, as the film from the side shows it, the outline of the
/// lesser trochanter lies that a frontal film shows, where it shows one: on the proximal femora of
/// 9 people (beside_middle), spread 3.2 mm, and what registers beside it.
constexpr double kOutlineBeforeTopMm = 10.5;
constexpr double kOutlineBeforeTopUMm = 4.0;

/// What registers of a bone lies elsewhere than its outlines, all features alike; house choice.
constexpr double kMiddleApartMm = 2.0;

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
  }
  return out;
}

/// A point between the outlines, in the shaft's axes.
struct Level {
  double distal_mm = 0.0;  ///< of the stem's reference point
  double behind_mm = 0.0;  ///< of that point
};

/// Levels beside the proximal stem between which the femur's middle is read, mm distal of the
/// stem's reference point: from the cut neck to the crest above the lesser trochanter. It is told
/// at that point: of all levels that are seen, those nearest to the greater trochanter tell the
/// depths best (beside_middle).
constexpr double kMiddleFromMm = -5.0;
constexpr double kMiddleToMm = 30.0;

/// An outline by levels of 1 mm; NaN where it is not seen.
std::vector<double> by_level(const Polyline& outline_px, const Line2& shaft, const Vec2& reference,
                             double mm_per_px) {
  std::vector<double> sum(static_cast<std::size_t>(kMiddleToMm - kMiddleFromMm), 0.0);
  std::vector<int> count(sum.size(), 0);
  for (const Vec2& p : outline_px) {
    const double distal = along_mm(shaft, p, mm_per_px) - along_mm(shaft, reference, mm_per_px);
    const double bin = std::floor(distal - kMiddleFromMm);
    if (bin < 0.0 || bin >= static_cast<double>(sum.size())) continue;
    sum[static_cast<std::size_t>(bin)] +=
        behind(shaft, p, mm_per_px) - behind(shaft, reference, mm_per_px);
    ++count[static_cast<std::size_t>(bin)];
  }
  for (std::size_t i = 0; i < sum.size(); ++i) {
    sum[i] = count[i] > 0 ? sum[i] / count[i] : std::numeric_limits<double>::quiet_NaN();
  }
  return sum;
}

/// The middle between front and back where both are seen and lie as far apart as those of a femur.
std::vector<Level> middles(const MeasuredFilm& side, const Vec2& reference, double mm_per_px) {
  constexpr double kThinnest = 24.0;  // mm, house choice: a shaft's breadth
  constexpr double kThickest = 65.0;  // mm, house choice: half as much again as a broad femur's
  const Line2& shaft = side.femur.shaft_axis->line_px;
  const Polyline& outline = side.femur.lesser_trochanter_outline_px;
  const auto front = by_level(side.femur.lateral_outline_px, shaft, reference, mm_per_px);
  const auto back = by_level(outline.empty() ? side.femur.medial_cortex_px : outline, shaft,
                             reference, mm_per_px);
  std::vector<Level> out;
  for (std::size_t i = 0; i < front.size(); ++i) {
    const double breadth = back[i] - front[i];
    if (!(breadth > kThinnest && breadth < kThickest)) continue;  // NaN too
    out.push_back({kMiddleFromMm + static_cast<double>(i) + 0.5, 0.5 * (front[i] + back[i])});
  }
  return out;
}

/// The femur's middle behind the stem's reference point, by a line through the middles seen.
std::optional<Measured<Millimetres>> bone_behind_stem(const MeasuredFilm& side,
                                                      const Vec2& reference, double mm_per_px) {
  constexpr std::size_t kFewest = 10;
  // Neighbours err together: one edge is taken for another over some 10 mm (house choice).
  constexpr double kTogetherMm = 10.0;
  constexpr double kLevelMm = 5.0;   // the levels themselves: the tip's and the shaft's lean
  constexpr double kBesideMm = 5.0;  // the stem beside the middle of the bone on a frontal film
  constexpr double kEdgeMm = 1.0;    // of one edge of two, for another bone's; house choice
  const std::vector<Level> seen = middles(side, reference, mm_per_px);
  if (seen.size() < kFewest) return std::nullopt;
  const auto n = static_cast<Eigen::Index>(seen.size());
  Eigen::MatrixXd a(n, 2);
  Eigen::VectorXd y(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Level& level = seen[static_cast<std::size_t>(i)];
    a.row(i) << 1.0, level.distal_mm;
    y(i) = level.behind_mm;
  }
  const auto line = least_squares(a, y);
  if (!line) return std::nullopt;
  const double u =
      std::sqrt(kTogetherMm * line->covariance(0, 0) + std::pow(kLevelMm * line->estimate(1), 2) +
                std::pow(std::sin(kOffRightAngle) * kBesideMm, 2) + kEdgeMm * kEdgeMm);
  return measured(Millimetres{line->estimate(0)}, Millimetres{u});
}

Measured<Millimetres> mm(double value, double u) {
  return measured(Millimetres{value}, Millimetres{u});
}

/// u of a point's distance from the shaft's axis as that is carried up to it.
double axis_u(const anatomy::FoundAxis& shaft, const Vec2& p, double mm_per_px) {
  const double reach = mm_per_px * std::abs(along(shaft.line_px, p));
  return std::hypot(shaft.direction_u.value * kDegree * reach, kBowMm);
}

/// Mean weighted by information; what contradicts itself is widened (birge_ratio).
template <class Unit>
Measured<Unit> mean_of(const std::vector<Measured<Unit>>& values) {
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
  return measured(Unit{fit.estimate(0)}, Unit{inflate * std::sqrt(fit.covariance(0, 0))});
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
  out.stem_depth = mm(behind(shaft.line_px, reference, k),
                      std::hypot(axis_u(shaft, reference, k), stem_u, turn * front.stem_medial_mm));
  const Vec2 back(shaft.line_px.direction.y(), -shaft.line_px.direction.x());
  const double lean = std::asin(std::clamp(stem.direction.dot(back), -1.0, 1.0)) / kDegree;
  out.lean =
      measured(Degrees{lean},
               Degrees{std::hypot(side.implant.axis.direction_u.value, shaft.direction_u.value)});
  if (const auto& lesser = side.femur.lesser_trochanter) {
    constexpr double kMedialOfShaft = 20.0;  // mm, of the trochanter: common anatomy, no one source
    out.lesser_trochanter =
        mm(behind(shaft.line_px, lesser->px, k),
           std::hypot(k * lesser->u_px, axis_u(shaft, lesser->px, k), turn * kMedialOfShaft));
  }
  out.bone_behind_stem = bone_behind_stem(side, reference, k);
  return out;
}

SideView combined(const std::vector<SideView>& views) {
  std::vector<Measured<Millimetres>> depths;
  std::vector<Measured<Degrees>> leans;
  std::vector<Measured<Millimetres>> lessers;
  std::vector<Measured<Millimetres>> bones;
  for (const SideView& v : views) {
    depths.push_back(v.stem_depth);
    leans.push_back(v.lean);
    if (v.lesser_trochanter) lessers.push_back(*v.lesser_trochanter);
    if (v.bone_behind_stem) bones.push_back(*v.bone_behind_stem);
  }
  SideView out{mean_of(depths), mean_of(leans), std::nullopt, std::nullopt};
  if (!lessers.empty()) out.lesser_trochanter = mean_of(lessers);
  if (!bones.empty()) out.bone_behind_stem = mean_of(bones);
  return out;
}

namespace {

/// Where what registers of a femur lies behind its middle, front to back, at the level of the
/// stem's reference point (some 30 mm above the lesser trochanter). From the outlines of the
/// proximal femora of depth_of and one more, necks turned forward by 4, 12 and 20 degrees
/// (tests/accuracy/other_simulator/outlines.py), mean and spread: top of the greater trochanter 3.3
/// and 2.8 mm, lesser trochanter where it stands out medially 14.5 and 2.1, medial outline above it
/// 0.0 and 3.2, lateral outline beside the flare -0.8 and 1.5. The spreads here hold 2.5 mm more
/// for what registers beside an outline; the bone as a whole lies between them (house choices).
Depth beside_middle(int feature) {
  if (feature == depth_index(kGreaterTrochanter)) return {3.5, 4.0};
  if (feature == depth_index(kLesserTrochanter)) return {14.5, 4.0};
  if (feature == depth_index(kCalcar)) return {0.0, 4.0};
  if (feature == depth_index(kMetaphysis)) return {-0.5, 3.0};
  return {3.0, 7.0};
}

/// Depths counted from the middle of the femur; those of the shaft from its axis.
Depths depths_beside_middle(const SideView& seen) {
  const Measured<Millimetres>& middle = *seen.bone_behind_stem;
  const int shaft = depth_index(kShaft);
  const double common = std::hypot(middle.u.value, kMiddleApartMm);
  Depths out = depths_of_people(common);
  for (int i = 0; i < kDepths; ++i) {
    if (i == shaft) continue;
    const Depth depth = beside_middle(i);
    out.mean_mm(i) = middle.value.value + depth.mean_mm;
    out.covariance(i, i) = common * common + depth.sd_mm * depth.sd_mm;
  }
  out.mean_mm(shaft) = depth_of(kShaft).mean_mm - seen.stem_depth.value.value;
  return out;
}

Depths depths_beside_axis(const SideView& seen) {
  Depths out = depths_of_people(std::hypot(seen.stem_depth.u.value, kRegistersApartMm));
  out.mean_mm.array() -= seen.stem_depth.value.value;
  return out;
}

}  // namespace

Depths depths_of_hip(const SideView& seen) {
  Depths out = seen.bone_behind_stem ? depths_beside_middle(seen) : depths_beside_axis(seen);
  if (!seen.lesser_trochanter) return out;
  // One more observation of one depth: a step of recursive least squares.
  const int i = depth_index(kLesserTrochanter);
  const double told =
      seen.lesser_trochanter->value.value - seen.stem_depth.value.value - kOutlineBeforeTopMm;
  const double noise = std::hypot(seen.lesser_trochanter->u.value, kOutlineBeforeTopUMm);
  const DepthVector column = out.covariance.col(i);
  const DepthVector gain = column / (column(i) + noise * noise);
  out.mean_mm += gain * (told - out.mean_mm(i));
  out.covariance -= gain * column.transpose();
  return out;
}

}  // namespace tidemark::migration
