#include <gtest/gtest.h>

#include <cmath>
#include <ostream>
#include <string>

#include "migration/by_hand.h"
#include "tidemark/migration/derive.h"
#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

using by_hand::Anatomy;
using by_hand::kDegree;
using by_hand::Place;

// ---------------------------------------------------------------- what flexion does to a gap

struct GapRow {
  std::string name;
  double gap_mm, depth_mm, flexion_deg;
  double seen_mm;  ///< gap on the film

  friend void PrintTo(const GapRow& row, std::ostream* os) { *os << row.name; }
};

class GapTable : public testing::TestWithParam<GapRow> {};

// Source: derived, g_app = g cos f + d sin f, table to 3 digits. Nothing migrates: what the
// landmark alone makes of it is the error the row states, and its own uncertainty is of that size.
TEST_P(GapTable, FlexionImitatesSubsidence) {
  const GapRow& row = GetParam();
  const double f = row.flexion_deg * kDegree;
  Anatomy before;
  before.greater.reset();
  before.lesser = Vec2(22.0, row.gap_mm);
  Anatomy after = before;
  after.lesser->y() = row.gap_mm * std::cos(f) + row.depth_mm * std::sin(f);
  EXPECT_NEAR(after.lesser->y(), row.seen_mm, 5e-4);
  const auto a = by_hand::film({Vec2(90.0, 80.0), 0.0, 0.0}, before);
  const auto b = by_hand::film({Vec2(75.0, 99.0), -4.0, -4.0}, after);  // abducted as well
  const auto opinion = opinion_by_landmarks(a.measured(), b.measured(), {});
  ASSERT_TRUE(opinion.has_value());
  EXPECT_NEAR(opinion->subsidence.value.value, row.gap_mm - row.seen_mm, 5e-4);
  EXPECT_NEAR(opinion->tilt_change->value.value, 0.0, 1e-9);
}

INSTANTIATE_TEST_SUITE_P(Derived, GapTable,
                         testing::Values(GapRow{"Deep15FlexedBy5", 30, 15, 5, 31.193},
                                         GapRow{"Deep15ExtendedBy5", 30, 15, -5, 28.579},
                                         GapRow{"Deep15FlexedBy10", 30, 15, 10, 32.149},
                                         GapRow{"Deep10FlexedBy5", 60, 10, 5, 60.643},
                                         GapRow{"InThePlane", 40, 0, 5, 39.848}),
                         [](const auto& row) { return row.param.name; });

// ---------------------------------------------------------------- migration by landmarks

struct OpinionRow {
  std::string name;
  std::string source;
  double subsidence_mm;
  double stem_turn_deg;  ///< clockwise on the follow-up against the shaft
  Place follow_up;

  friend void PrintTo(const OpinionRow& row, std::ostream* os) { *os << row.source; }
};

class OpinionTable : public testing::TestWithParam<OpinionRow> {};

TEST_P(OpinionTable, ReadsTheMotionOfTheStem) {
  const OpinionRow& row = GetParam();
  const Anatomy before;
  Anatomy after = before;
  // The stem sank: seen from its reference point the bone lies that much farther proximally.
  *after.lesser -= Vec2(0.0, row.subsidence_mm);
  *after.greater -= Vec2(0.0, row.subsidence_mm);
  const auto a = by_hand::film({}, before);
  const auto b = by_hand::film(row.follow_up, after);
  const auto opinion = opinion_by_landmarks(a.measured(), b.measured(), {});
  ASSERT_TRUE(opinion.has_value());
  EXPECT_NEAR(opinion->subsidence.value.value, row.subsidence_mm, 1e-9);
  ASSERT_TRUE(opinion->tilt_change.has_value());
  EXPECT_NEAR(opinion->tilt_change->value.value, row.stem_turn_deg, 1e-9);
  EXPECT_EQ(opinion->features.size(), 2U);
}

INSTANTIATE_TEST_SUITE_P(
    Signs, OpinionTable,
    testing::Values(OpinionRow{"Distal", "sign of docs/design.md: distal +", 2.0, 0.0, {}},
                    OpinionRow{"Proximal", "sign of docs/design.md: distal +", -1.0, 0.0, {}},
                    OpinionRow{"Varus",
                               "sign of docs/design.md: varus +, tip lateral",
                               0.0,
                               1.5,
                               {Vec2(90.0, 80.0), 0.0, 1.5}},
                    OpinionRow{"LegAbducted",
                               "derived: abduction turns stem and shaft together",
                               2.0,
                               0.0,
                               {Vec2(50.0, 99.0), 7.0, 7.0}},
                    OpinionRow{"ValgusLegAdducted",
                               "derived: abduction turns stem and shaft together",
                               0.5,
                               -1.0,
                               {Vec2(50.0, 99.0), -5.0, -6.0}}),
    [](const auto& row) { return row.param.name; });

// Derived: two correlated observations, the 2 x 2 inverse written out (Aitken 1935, from memory).
TEST(Opinion, WeighsBothTrochantersByTheirDepths) {
  const Anatomy before;
  Anatomy after = before;
  *after.greater -= Vec2(0.0, 1.0);
  *after.lesser -= Vec2(0.0, 1.6);
  auto a = by_hand::film({}, before);
  auto b = by_hand::film({}, after);
  for (auto* film : {&a, &b}) {
    film->femur.greater_trochanter->u_px = 0.6 / by_hand::kMmPerPx;
    film->femur.lesser_trochanter->u_px = 0.8 / by_hand::kMmPerPx;
    film->implant.shoulder.u_px = 0.3 / by_hand::kMmPerPx;
  }
  const PoseModel pose{.flexion = {4.0}};
  const double f = 4.0 * kDegree;
  const Depth g = depth_of(kGreaterTrochanter);
  const Depth l = depth_of(kLesserTrochanter);
  const double stem = 2.0 * 0.3 * 0.3;
  const double v11 = 2.0 * 0.6 * 0.6 + stem + f * f * (g.mean_mm * g.mean_mm + g.sd_mm * g.sd_mm);
  const double v22 = 2.0 * 0.8 * 0.8 + stem + f * f * (l.mean_mm * l.mean_mm + l.sd_mm * l.sd_mm);
  const double v12 = stem + f * f * g.mean_mm * l.mean_mm;  // one shoulder for both
  const double sum = v11 + v22 - 2.0 * v12;
  const auto opinion = opinion_by_landmarks(a.measured(), b.measured(), pose);
  ASSERT_TRUE(opinion.has_value());
  EXPECT_NEAR(opinion->subsidence.value.value, ((v22 - v12) * 1.0 + (v11 - v12) * 1.6) / sum, 1e-9);
  EXPECT_NEAR(opinion->subsidence.u.value, std::sqrt((v11 * v22 - v12 * v12) / sum), 1e-9);
}

// Derived: root sum of squares of four axes; rotation 7 deg on a lean of 1.2 deg makes 0.147 deg.
TEST(Opinion, TiltCarriesBothAxesOfBothFilmsAndTheLean) {
  auto a = by_hand::film({});
  auto b = by_hand::film({});
  a.implant.axis.direction_u = {0.05};
  b.implant.axis.direction_u = {0.07};
  a.femur.shaft_axis->direction_u = {0.2};
  b.femur.shaft_axis->direction_u = {0.3};
  const auto opinion = opinion_by_landmarks(a.measured(), b.measured(),
                                            {.rotation = {7.0}, .sagittal_lean_u = {1.2}});
  ASSERT_TRUE(opinion.has_value() && opinion->tilt_change.has_value());
  EXPECT_NEAR(opinion->tilt_change->u.value,
              std::sqrt(0.0025 + 0.0049 + 0.04 + 0.09 + 0.1466 * 0.1466), 1e-4);
}

// Derived: one trochanter 20 mm proximal of the reference point, a ratio of scales known to 1 %:
// 0.2 mm, in quadrature with the rest.
TEST(Opinion, CarriesTheScaleOfBothFilms) {
  Anatomy only;
  only.lesser.reset();
  const auto a = by_hand::film({}, only);
  const auto u = [&](double scale_u) {
    return opinion_by_landmarks(a.measured(), a.measured(), {}, scale_u)->subsidence.u.value;
  };
  EXPECT_NEAR(std::pow(u(0.01), 2) - std::pow(u(0.0), 2), 0.04, 1e-12);
}

// Derived: the lesser trochanter lies 22 mm medial of the reference point, the axes along which its
// level is read are known to 2 degrees on each film: 22 mm x 2 degrees x sqrt(2) = 1.086 mm, in
// quadrature with the rest. Along the stem on both films its axis counts instead.
TEST(Opinion, CarriesTheDirectionsAlongWhichLevelsAreRead) {
  Anatomy only;
  only.greater.reset();
  auto a = by_hand::film({}, only);
  const auto u = [&] {
    return opinion_by_landmarks(a.measured(), a.measured(), {})->subsidence.u.value;
  };
  const double turned = 2.0 * std::pow(22.0 * 2.0 * kDegree, 2);
  const double exact = u();
  a.femur.shaft_axis->direction_u = {2.0};
  EXPECT_NEAR(std::pow(u(), 2) - exact * exact, turned, 1e-9);
  a.femur.shaft_axis.reset();
  EXPECT_NEAR(u(), exact, 1e-9);
  a.implant.axis.direction_u = {2.0};
  EXPECT_NEAR(std::pow(u(), 2) - exact * exact, turned, 1e-9);
}

// Derived: both trochanters, 22 mm medial and 28 mm lateral, err by one turn and in opposite
// directions: the mean that weighs them by 28 and 22 is free of it.
TEST(Opinion, TurnsBothTrochantersTogether) {
  auto a = by_hand::film({});
  a.femur.shaft_axis->direction_u = {5.0};
  a.femur.greater_trochanter->u_px = 0.01;
  a.femur.lesser_trochanter->u_px = 0.01;
  const PoseModel still{.flexion = {0.0}};
  const auto opinion = opinion_by_landmarks(a.measured(), a.measured(), still);
  ASSERT_TRUE(opinion.has_value());
  const double each = std::sqrt(2.0) * 0.01 * by_hand::kMmPerPx;
  EXPECT_NEAR(opinion->subsidence.u.value, each * std::hypot(28.0, 22.0) / 50.0, 1e-6);
}

// Guards the axes' tilt, once lost when no trochanter was seen.
TEST(TiltByAxes, NeedsNoTrochanter) {
  Anatomy bare;
  bare.lesser.reset();
  bare.greater.reset();
  const auto a = by_hand::film({}, bare);
  auto b = by_hand::film({Vec2(90.0, 80.0), 0.0, 1.5}, bare);
  const auto tilt = tilt_by_axes(a.measured(), b.measured(), {});
  ASSERT_TRUE(tilt.has_value());
  EXPECT_NEAR(tilt->value.value, 1.5, 1e-9);
  b.femur.shaft_axis.reset();
  EXPECT_FALSE(tilt_by_axes(a.measured(), b.measured(), {}).has_value());
}

// A film without a shaft's axis says nothing of the tilt, and levels are read along the stem on
// both films: along the shaft on one and along the stem on the other, a stem that turned by 2
// degrees would seem to have moved by 22 mm x sin 2 degrees = 0.77 mm at the lesser trochanter
// (derived).
TEST(Opinion, WithoutAShaftsAxisSaysNothingOfTheTilt) {
  Anatomy only;
  only.greater.reset();
  const Place tilted{.stem_deg = 2.0};
  const auto a = by_hand::film(tilted, only);
  auto b = by_hand::film(tilted, only);
  b.femur.shaft_axis.reset();
  const auto opinion = opinion_by_landmarks(a.measured(), b.measured(), {});
  ASSERT_TRUE(opinion.has_value());
  EXPECT_FALSE(opinion->tilt_change.has_value());
  EXPECT_NEAR(opinion->subsidence.value.value, 0.0, 1e-9);
}

TEST(Opinion, NeedsATrochanterSeenOnBothFilms) {
  Anatomy only_greater;
  only_greater.lesser.reset();
  Anatomy only_lesser;
  only_lesser.greater.reset();
  const auto a = by_hand::film({}, only_greater);
  const auto b = by_hand::film({}, only_lesser);
  const auto both = by_hand::film({});
  EXPECT_FALSE(opinion_by_landmarks(a.measured(), b.measured(), {}).has_value());
  const auto one = opinion_by_landmarks(a.measured(), both.measured(), {});
  ASSERT_TRUE(one.has_value());
  ASSERT_EQ(one->features.size(), 1U);
  EXPECT_EQ(one->features[0].feature, kGreaterTrochanter);
}

// ---------------------------------------------------------------- disagreement with the alignment

bool flagged(const Migration& m, const std::string& id) {
  for (const Flag& f : m.flags) {
    if (f.id == id) return true;
  }
  return false;
}

/// A pair whose landmarks say that the stem sank and turned, and whose alignments say that nothing
/// moved.
Expected<Migration> contradiction(double landmarks_mm, double landmarks_tilt_deg,
                                  const by_hand::Anatomy& anatomy = {}) {
  const Place place;
  by_hand::Pair pair(by_hand::film(place, anatomy), place, {}, {});
  const double px = landmarks_mm / by_hand::kMmPerPx;
  if (anatomy.lesser) pair.follow_up.femur.lesser_trochanter->px.y() -= px;
  if (anatomy.greater) pair.follow_up.femur.greater_trochanter->px.y() -= px;
  pair.follow_up.implant.axis.line_px.direction = by_hand::turned(landmarks_tilt_deg);
  for (auto* film : {&pair.reference, &pair.follow_up}) {
    film->femur.shaft_axis->direction_u = {0.1};
    film->implant.axis.direction_u = {0.02};
  }
  return derive(pair.evidence);
}

TEST(Disagreement, IsFlaggedBeyondTwiceTheJointUncertainty) {
  const auto agreeing = contradiction(0.0, 0.0);
  ASSERT_TRUE(agreeing.has_value() && agreeing->by_landmarks.has_value());
  const double joint =
      std::hypot(agreeing->subsidence.u.value, agreeing->by_landmarks->subsidence.u.value);
  ASSERT_GT(joint, 0.5);  // the pose is in it
  EXPECT_FALSE(flagged(*agreeing, "landmarks_disagree"));
  EXPECT_FALSE(flagged(*contradiction(1.95 * joint, 0.0), "landmarks_disagree"));
  EXPECT_TRUE(flagged(*contradiction(2.05 * joint, 0.0), "landmarks_disagree"));
  EXPECT_TRUE(flagged(*contradiction(-2.05 * joint, 0.0), "landmarks_disagree"));
}

// Guards the comparison of axes with alignments, not with a mean that holds both.
TEST(Disagreement, OfTheAxesIsFlaggedApart) {
  EXPECT_FALSE(flagged(*contradiction(0.0, 0.3), "axes_disagree"));
  // 3 degrees between axes known to 0.15 degrees and alignments that turn by 0.3 at most: no number
  // of standard uncertainties that could be meant covers that.
  const auto beyond = contradiction(0.0, -3.0);
  ASSERT_TRUE(beyond.has_value());
  EXPECT_TRUE(flagged(*beyond, "axes_disagree"));
  EXPECT_FALSE(flagged(*beyond, "landmarks_disagree"));
  // No trochanter is needed for it; an opinion along the shaft is.
  by_hand::Anatomy bare;
  bare.lesser.reset();
  bare.greater.reset();
  const auto without = contradiction(0.0, -3.0, bare);
  ASSERT_TRUE(without.has_value()) << without.error().sentence();
  EXPECT_FALSE(without->by_landmarks.has_value());
  EXPECT_TRUE(flagged(*without, "axes_disagree"));
}

}  // namespace
}  // namespace tidemark::migration
