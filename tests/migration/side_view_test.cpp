#include "tidemark/migration/side_view.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>

#include "by_hand.h"
#include "tidemark/migration/pose.h"
#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

using by_hand::film;

/// A film from the side, its back at +x: the stem's reference point `behind_mm` behind the shaft's
/// axis, the stem leaning by `lean_deg` (tip behind +), the lesser trochanter 20 mm behind that
/// axis.
by_hand::Film from_side(double behind_mm, double lean_deg) {
  by_hand::Anatomy anatomy;
  const double lean = lean_deg * by_hand::kDegree;
  // Seen at the head's scale, so that all at the stem's depth is smaller on the film (cone beam).
  const double smaller =
      1.0 / (1.0 + by_hand::Anatomy{}.head_centre.x() / PoseModel{}.source.value);
  anatomy.tip = smaller * Vec2(behind_mm + 130.0 * std::sin(lean), 130.0 * std::cos(lean));
  anatomy.lesser = smaller * Vec2(20.0, 40.0);
  by_hand::Film out = film({.stem_deg = -lean_deg}, anatomy);
  out.implant.axis.line_px.point = out.implant.tip.px;
  return out;
}

SideView view_of(double behind_mm, double lean_deg) {
  const by_hand::Film frontal = film({}, {.tip = Vec2(0.0, 130.0)});
  return side_view(from_side(behind_mm, lean_deg).measured(), frontal.measured()).value();
}

// Derived: the figure was drawn with these numbers.
TEST(SideView, ReadsDepthsOffAFilmFromTheSide) {
  for (const double lean : {-2.0, 0.0, 1.5}) {
    for (const double behind : {-3.0, 0.0, 4.0}) {
      const SideView view = view_of(behind, lean);
      EXPECT_NEAR(view.stem_depth.value.value, behind, 0.1);
      EXPECT_NEAR(view.lean.value.value, lean, 1e-6);
      EXPECT_GE(view.lean.u.value, 0.5);  // a femur bows: which stretch of shaft is seen?
      ASSERT_TRUE(view.lesser_trochanter.has_value());
      EXPECT_NEAR(view.lesser_trochanter->value.value, 20.0, 0.1);
      EXPECT_GT(view.stem_depth.u.value, 0.0);
    }
  }
}

// Derived (GUM 5.1.2): depths read on a film whose scale is off by a share are off by that share;
// the stem's is that of its tip and from there on the frontal film's length along its lean.
TEST(SideView, ItsOwnScaleCostsTheDepthsTheirShare) {
  by_hand::Film side = from_side(4.0, 2.0);
  const by_hand::Film frontal = film({}, {.tip = Vec2(0.0, 130.0)});
  side.scale.u.value = 0.0;
  const SideView sure = side_view(side.measured(), frontal.measured()).value();
  side.scale.u.value = 0.12 * side.scale.value.value;
  const SideView open = side_view(side.measured(), frontal.measured()).value();
  const double tip_mm = 4.0 + 130.0 * std::sin(2.0 * by_hand::kDegree);
  EXPECT_NEAR(open.stem_depth.u.value, std::hypot(sure.stem_depth.u.value, 0.12 * tip_mm), 0.02);
  EXPECT_NEAR(open.lesser_trochanter->u.value,
              std::hypot(sure.lesser_trochanter->u.value, 0.12 * 20.0), 0.02);
  EXPECT_DOUBLE_EQ(open.lean.u.value, sure.lean.u.value) << "an angle has no scale";
}

TEST(SideView, IsAbsentWithoutAShaft) {
  by_hand::Film side = from_side(1.0, 0.0);
  side.femur.shaft_axis.reset();
  const by_hand::Film frontal = film({});
  EXPECT_FALSE(side_view(side.measured(), frontal.measured()).has_value());
}

SideView said(double depth, double u) {
  SideView out;
  out.stem_depth = {{depth}, {u}, {2.0 * u}};
  out.lean = {{1.0}, {0.5}, {1.0}};
  return out;
}

// Derived: +4 with 0.9 and -4 with 0.1 have the mean 3.2 and scatter by 2.4 about it. At even odds
// nothing is left but what it may be either way.
TEST(SideView, AFrontThatMayBeABackCostsCertainty) {
  SideView seen = said(4.0, 1.0);
  seen.lesser_trochanter = Measured<Millimetres>{{20.0}, {1.0}, {2.0}};
  const SideView sure = in_doubt(seen, 0.0);
  EXPECT_DOUBLE_EQ(sure.stem_depth.value.value, 4.0);
  EXPECT_DOUBLE_EQ(sure.stem_depth.u.value, 1.0);
  const SideView mostly = in_doubt(seen, 0.1);
  EXPECT_NEAR(mostly.stem_depth.value.value, 3.2, 1e-12);
  EXPECT_NEAR(mostly.stem_depth.u.value, std::hypot(1.0, 2.4), 1e-12);
  ASSERT_TRUE(mostly.lesser_trochanter.has_value());
  EXPECT_NEAR(mostly.lesser_trochanter->value.value, 16.0, 1e-12);
  const SideView open = in_doubt(seen, 0.5);
  EXPECT_NEAR(open.stem_depth.value.value, 0.0, 1e-12);
  EXPECT_NEAR(open.stem_depth.u.value, std::hypot(1.0, 4.0), 1e-12);
  EXPECT_NEAR(open.lean.u.value, std::hypot(0.5, 1.0), 1e-12);
  EXPECT_FALSE(open.lesser_trochanter.has_value());
}

// GUM 4.3 and the weighted mean's u, of which the bow of the shaft, 0.5 mm and 0.5 degrees, is
// common to all films (derived: c^2 + sum w^2 (u^2 - c^2), weights 0.2 and 0.8); two that
// contradict each other are widened (Birge ratio).
TEST(SideView, SeveralAreWeighed) {
  const SideView agree = combined({said(1.0, 1.0), said(1.5, 0.5)});
  EXPECT_NEAR(agree.stem_depth.value.value, (1.0 + 4.0 * 1.5) / 5.0, 1e-12);
  EXPECT_NEAR(agree.stem_depth.u.value, std::sqrt(0.25 + 0.04 * 0.75), 1e-12);
  EXPECT_NEAR(combined({said(1.0, 0.8)}).stem_depth.u.value, 0.8, 1e-12);
  const SideView many = combined(std::vector<SideView>(9, said(1.0, 0.6)));
  EXPECT_GT(many.stem_depth.u.value, 0.5);
  EXPECT_GE(many.lean.u.value, 0.5);
  const SideView apart = combined({said(0.0, 0.5), said(6.0, 0.5)});
  EXPECT_NEAR(apart.stem_depth.value.value, 3.0, 1e-12);
  EXPECT_NEAR(apart.stem_depth.u.value, 3.0, 1e-9);
}

// The stem seen 4 mm behind the shaft's axis: all features lie 4 mm less far behind the stem, and
// what they share is known better than from people alone.
TEST(DepthsOfHip, CountFromWhereTheStemWasSeen) {
  const Depths people = depths_of_people(4.0);
  const Depths hip = depths_of_hip(said(4.0, 0.5));
  for (int i = 0; i < kDepths; ++i) {
    EXPECT_NEAR(hip.mean_mm(i), people.mean_mm(i) - 4.0, 1e-12);
    EXPECT_LT(hip.covariance(i, i), people.covariance(i, i));
  }
}

// The lesser trochanter's own depth by the same observation written as one joint system (Gauss
// and Markov), solved by Eigen.
TEST(DepthsOfHip, TheLesserTrochanterIsOneMoreObservation) {
  SideView seen = said(0.0, 1.0);
  const Depths before = depths_of_hip(seen);
  seen.lesser_trochanter = Measured<Millimetres>{{25.0}, {1.0}, {2.0}};
  const Depths after = depths_of_hip(seen);
  const int lt = depth_index(kLesserTrochanter);
  const double noise = 1.0 + 25.0;  // u of what was seen, and 5 mm between that and what registers
  DepthMatrix information = before.covariance.inverse();
  DepthVector right = information * before.mean_mm;
  information(lt, lt) += 1.0 / noise;
  right(lt) += 25.0 / noise;
  EXPECT_LT((after.mean_mm - information.ldlt().solve(right)).norm(), 1e-9);
  EXPECT_LT((after.covariance - information.inverse()).norm(), 1e-9);
}

}  // namespace
}  // namespace tidemark::migration
