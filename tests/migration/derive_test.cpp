#include "tidemark/migration/derive.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <string>
#include <vector>

#include "migration/by_hand.h"
#include "tidemark/core/monte_carlo.h"
#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

using by_hand::kDegree;
using by_hand::Place;

double u_of(const Migration& m, const std::string& source) {
  for (const BudgetItem& item : m.budget) {
    if (item.source == source) return item.u.value;
  }
  ADD_FAILURE() << "no budget item " << source;
  return 0.0;
}

bool has_flag(const Migration& m, const std::string& id) {
  for (const Flag& f : m.flags) {
    if (f.id == id) return true;
  }
  return false;
}

/// A pair without landmarks, in which nothing moved.
struct Pair : by_hand::Pair {
  Place place;
  PairEvidence& e = evidence;
  Pair() : by_hand::Pair(vague(by_hand::film({}, bare())), {}, {}, {}) {}

  /// The direction of the shaft's axis says nothing: the alignments alone tell the tilt.
  static by_hand::Film vague(by_hand::Film film) {
    film.femur.shaft_axis->direction_u = {1e6};
    return film;
  }

  static by_hand::Anatomy bare() {
    by_hand::Anatomy a;
    a.lesser.reset();
    a.greater.reset();
    return a;
  }
};

/// Lever of flexion on the shoulder's rim, a house choice of derive.cpp, as the budget of one exact
/// feature of known depth shows it, mm.
double shoulder_lever() {
  Pair p;
  p.e.votes = {by_hand::vote(kShaft, {0.0, 90.0}, p.place, 0.0, 1e-6)};
  p.e.pose.flexion = {1.0};
  const double seen = u_of(*derive(p.e), "out-of-plane pose") / kDegree;
  const Depth d = depth_of(kShaft);
  const double squared = seen * seen - d.mean_mm * d.mean_mm - d.sd_mm * d.sd_mm;
  EXPECT_GT(squared, 1.0);
  return std::sqrt(squared);
}

/// How far features at other depths turn the alignment of the bone, a house choice of derive.cpp,
/// as the tilt of an exact pair shows it, degrees.
double turn_of_features() {
  Pair p;
  p.e.pose = {.flexion = {0.0}, .rotation = {0.0}, .sagittal_lean_u = {0.0}};
  return derive(p.e)->tilt_change.u.value;
}

// ---------------------------------------------------------------- votes, worked by hand

/// Weighted mean of two correlated observations of one number (Aitken 1935; the 2 x 2 inverse
/// written out).
struct TwoVotes {
  double mean, u;
};
TwoVotes combined(double y1, double y2, double v11, double v22, double v12) {
  const double sum = v11 + v22 - 2.0 * v12;
  return {((v22 - v12) * y1 + (v11 - v12) * y2) / sum, std::sqrt((v11 * v22 - v12 * v12) / sum)};
}

// Derived. Greater trochanter at (-28, -20), lesser at (22, 40); the stem's own alignment, the bone
// alignment's angle and the scale exact, so that flexion and the votes' own noise are all there is.
TEST(Votes, TwoFeaturesWithAnUnknownFlexion) {
  Pair p;
  p.e.votes = {by_hand::vote(kGreaterTrochanter, {-28.0, -20.0}, p.place, -0.10, 0.15),
               by_hand::vote(kLesserTrochanter, {22.0, 40.0}, p.place, 0.30, 0.20)};
  p.e.pose.flexion = {4.0};
  const double f = 4.0 * kDegree;
  const Depth g = depth_of(kGreaterTrochanter);
  const Depth l = depth_of(kLesserTrochanter);
  const double v11 = 0.15 * 0.15 + f * f * (g.mean_mm * g.mean_mm + g.sd_mm * g.sd_mm);
  const double v22 = 0.20 * 0.20 + f * f * (l.mean_mm * l.mean_mm + l.sd_mm * l.sd_mm);
  const double v12 = f * f * g.mean_mm * l.mean_mm;
  // A feature that lies 0.30 mm farther distally than the alignment puts it saw the stem sink 0.30
  // mm less: y = rigid - offset.
  const TwoVotes expected = combined(0.10, -0.30, v11, v22, v12);
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->subsidence.value.value, expected.mean, 1e-12);
  const double shoulder = f * shoulder_lever();
  EXPECT_NEAR(m->subsidence.u.value, std::hypot(expected.u, shoulder), 1e-7);
  EXPECT_NEAR(m->subsidence.u95.value, 1.959964 * m->subsidence.u.value, 1e-6);
  ASSERT_EQ(m->features.size(), 2U);
  EXPECT_NEAR(m->features[0].subsidence.value.value, 0.10, 1e-12);
  EXPECT_NEAR(m->features[0].subsidence.u.value, std::sqrt(v11), 1e-12);
  EXPECT_NEAR(m->features[1].subsidence.u.value, std::sqrt(v22), 1e-12);
  EXPECT_LT((m->features[1].position_mm - Vec2(22.0, 40.0)).norm(), 1e-9);
}

// Derived: the same with an angle of the bone known to 0.4 degrees (levers: the features' places
// across) and a ratio of scales known to 2 % (levers: their places along).
TEST(Votes, TwoFeaturesWithUnknownAngleAndScale) {
  Pair p;
  p.e.votes = {by_hand::vote(kGreaterTrochanter, {-28.0, -20.0}, p.place, -0.10, 0.15),
               by_hand::vote(kLesserTrochanter, {22.0, 40.0}, p.place, 0.30, 0.20)};
  p.e.bone.covariance = by_hand::covariance(0.5, 0.4);
  p.e.scale_ratio_u = 0.02;
  p.e.pose = {.flexion = {0.0}, .rotation = {0.0}, .sagittal_lean_u = {0.0}};
  const double a = 0.4 * kDegree;
  const double v11 = 0.15 * 0.15 + a * a * 28.0 * 28.0 + 0.4 * 0.4;
  const double v22 = 0.20 * 0.20 + a * a * 22.0 * 22.0 + 0.8 * 0.8;
  const double v12 = a * a * -28.0 * 22.0 + -0.4 * 0.8;
  const TwoVotes expected = combined(0.10, -0.30, v11, v22, v12);
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->subsidence.value.value, expected.mean, 1e-12);
  EXPECT_NEAR(m->subsidence.u.value, expected.u, 1e-12);
}

// Derived: with no change of pose, angle and scale exact, what is left is the mean weighted by
// inverse variance: 0.1 and 0.4 with u 0.1 and 0.2 give 0.16, u = 0.0894.
TEST(Votes, WithoutPoseAreWeighedByTheirVariance) {
  Pair p;
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, -0.1, 0.1),
               by_hand::vote(kMetaphysis, {-20.0, 20.0}, p.place, -0.4, 0.2)};
  p.e.pose = {.flexion = {0.0}, .rotation = {0.0}, .sagittal_lean_u = {0.0}};
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->subsidence.value.value, 0.16, 1e-12);
  EXPECT_NEAR(m->subsidence.u.value, std::sqrt(0.008), 1e-12);
}

// Derived: two votes y of variance v each, either of them wild (variance s^2 more) with probability
// p. In every story the answer is the mean weighted by inverse variance, and the story is as likely
// as its prior times the density of the difference, normal with the sum of both variances.
TEST(Votes, OneOfTwoMayBeWild) {
  constexpr double kShare = 0.1;
  constexpr double kFar = 9.0;  // mm^2
  for (const double apart : {0.1, 1.0, 4.0}) {
    Pair p;
    p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, 0.0, 0.2),
                 by_hand::vote(kMetaphysis, {-20.0, 20.0}, p.place, -apart, 0.2)};
    p.e.pose = {.flexion = {0.0}, .rotation = {0.0}};
    p.e.trust.wild = kShare;
    p.e.trust.wild_mm = 3.0;
    double sum = 0.0;
    double mean = 0.0;
    double square = 0.0;
    for (const bool first : {false, true}) {
      for (const bool second : {false, true}) {
        const double v1 = 0.04 + (first ? kFar : 0.0);
        const double v2 = 0.04 + (second ? kFar : 0.0);
        const double weight = (first ? kShare : 1.0 - kShare) * (second ? kShare : 1.0 - kShare) *
                              std::exp(-0.5 * apart * apart / (v1 + v2)) / std::sqrt(v1 + v2);
        const double at = apart * v1 / (v1 + v2);
        sum += weight;
        mean += weight * at;
        square += weight * (at * at + v1 * v2 / (v1 + v2));
      }
    }
    mean /= sum;
    const auto m = derive(p.e);
    ASSERT_TRUE(m.has_value());
    EXPECT_NEAR(m->subsidence.value.value, mean, 1e-9) << apart;
    EXPECT_NEAR(m->subsidence.u.value, std::sqrt(square / sum - mean * mean), 1e-9) << apart;
  }
}

// A vote that two others contradict loses its weight; three that agree are hardly doubted.
TEST(Votes, OneAgainstTwoLosesItsWeight) {
  Pair p;
  p.e.pose = {.flexion = {0.0}, .rotation = {0.0}};
  p.e.trust.wild = 0.1;
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, 0.0, 0.2),
               by_hand::vote(kMetaphysis, {-20.0, 20.0}, p.place, -0.1, 0.2),
               by_hand::vote(kGreaterTrochanter, {-28.0, -20.0}, p.place, -3.0, 0.05)};
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->subsidence.value.value, 0.05, 0.25);
}

// The registration slid by 6 mm as a whole: its votes agree with one another, both trochanters as
// marked do not. No confident answer may come of it.
TEST(Votes, ThatAllSlidAreNotBelievedAgainstBothTrochanters) {
  by_hand::Pair pair(by_hand::film({}), {}, {}, {});
  PairEvidence& e = pair.evidence;
  e.trust = {};
  e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, {}, 6.0, 0.1),
             by_hand::vote(kMetaphysis, {-20.0, 20.0}, {}, 6.0, 0.1)};
  const auto m = derive(e);
  if (m) {
    EXPECT_LT(std::abs(m->subsidence.value.value), m->subsidence.u95.value);
  } else {
    EXPECT_EQ(m.error().kind, ErrorKind::kCannotTell);
  }
}

TEST(Derive, RefusesWhatItCannotTellToThreeMillimetres) {
  Pair p;
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, 0.0, 0.9)};
  p.e.trust.widest_u95_mm = 3.0;
  EXPECT_TRUE(derive(p.e).has_value());
  p.e.pose.flexion = {40.0};
  const auto m = derive(p.e);
  ASSERT_FALSE(m.has_value());
  EXPECT_EQ(m.error().kind, ErrorKind::kCannotTell);
  EXPECT_NE(m.error().wrong.find("flexion"), std::string::npos);
}

// Derived: votes that agree better than they promise do not shrink u.
TEST(Votes, AgreementBeyondTheirNoiseDoesNotShrinkU) {
  Pair p;
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, -0.2, 0.1),
               by_hand::vote(kMetaphysis, {-20.0, 20.0}, p.place, -0.2, 0.2)};
  p.e.pose = {.flexion = {0.0}, .rotation = {0.0}, .sagittal_lean_u = {0.0}};
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->subsidence.u.value, std::sqrt(0.008), 1e-12);
}

// Derived: a cortex is known across, not along. u = 1 mm along the shaft or worse does not vote.
TEST(Votes, WhatSaysNothingAlongTheShaftIsLeftOut) {
  Pair p;
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, -0.2, 0.1),
               by_hand::vote(kShaft, {0.0, 90.0}, p.place, -5.0, 1.5)};
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  EXPECT_EQ(m->features.size(), 1U);
  EXPECT_NEAR(m->subsidence.value.value, 0.2, 1e-12);
}

// Derived: offsets correct the rigid alignment. A bone alignment that is wrong by any shift, and
// votes that say so, give the same answer.
TEST(Votes, TakeBackTheErrorOfTheWholeAlignment) {
  const Place place{Vec2(90.0, 80.0), 5.0, 5.0};
  for (const double wrong : {0.0, 1.3, -0.8}) {
    by_hand::Pair pair(by_hand::film(place, Pair::bare()), place, {0.05, Vec2(3.0, 4.0)},
                       {0.0, Vec2(0.0, 2.0)});
    PairEvidence& e = pair.evidence;
    const Rigid2 slip = by_hand::on_film({0.0, Vec2(0.0, wrong)}, place);
    e.bone.moving_from_fixed_mm = e.bone.moving_from_fixed_mm.after(slip);
    e.votes = {by_hand::vote(kGreaterTrochanter, {-28.0, -20.0}, place, -wrong, 0.2),
               by_hand::vote(kLesserTrochanter, {22.0, 40.0}, place, -wrong, 0.2)};
    const auto m = derive(e);
    ASSERT_TRUE(m.has_value());
    EXPECT_NEAR(m->subsidence.value.value, 2.0, 1e-9) << "alignment wrong by " << wrong;
  }
}

// ---------------------------------------------------------------- budget

struct BudgetRow {
  std::string name;
  int votes;
  double disagreement;
};
void PrintTo(const BudgetRow& row, std::ostream* os) { *os << row.name; }

class BudgetTable : public testing::TestWithParam<BudgetRow> {};

// JCGM 100, 5.1.2: independent contributions add in quadrature.
TEST_P(BudgetTable, AddsUpInQuadrature) {
  Pair p;
  p.e.bone.covariance = by_hand::covariance(0.08, 0.10);
  p.e.stem.alignment.covariance = by_hand::covariance(0.05, 0.04);
  p.e.scale_ratio_u = 0.004;
  const std::array<std::pair<const char*, Vec2>, 3> places{
      {{kGreaterTrochanter, Vec2(-28.0, -20.0)},
       {kLesserTrochanter, Vec2(22.0, 40.0)},
       {kCalcar, Vec2(12.0, 2.0)}}};
  for (int i = 0; i < GetParam().votes; ++i) {
    const auto& [name, at] = places[static_cast<std::size_t>(i)];
    const double offset = GetParam().disagreement * (i - 1);
    p.e.votes.push_back(by_hand::vote(name, at, p.place, offset, 0.2));
  }
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  double squares = 0.0;
  for (const BudgetItem& item : m->budget) {
    EXPECT_GT(item.u.value, 0.0) << item.source;
    squares += item.u.value * item.u.value;
  }
  EXPECT_EQ(m->budget.size(), 4U);
  EXPECT_NEAR(std::sqrt(squares), m->subsidence.u.value, 1e-12);
}

INSTANTIATE_TEST_SUITE_P(Rows, BudgetTable,
                         testing::Values(BudgetRow{"NoVotes", 0, 0.0}, BudgetRow{"OneVote", 1, 0.0},
                                         BudgetRow{"VotesAgree", 3, 0.05},
                                         BudgetRow{"VotesContradict", 3, 4.0}),
                         [](const auto& row) { return row.param.name; });

// Derived: one feature alone. Own noise 0.2 and angle 0.1 deg x 28 mm; flexion 5 deg on depth and
// its spread; scale 0.4 % over 20 mm = 0.08.
TEST(Budget, OneFeatureWorkedByHand) {
  Pair p;
  p.e.bone.covariance = by_hand::covariance(0.08, 0.10);
  p.e.stem.alignment.covariance = by_hand::covariance(0.05, 0.04);
  p.e.scale_ratio_u = 0.004;
  p.e.pose.flexion = {5.0};
  p.e.votes = {by_hand::vote(kGreaterTrochanter, {-28.0, -20.0}, p.place, 0.0, 0.2)};
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  const Depth d = depth_of(kGreaterTrochanter);
  const double f = 5.0 * kDegree;
  EXPECT_NEAR(u_of(*m, "bone alignment"), std::hypot(0.2, 28.0 * 0.1 * kDegree), 1e-12);
  const double rim = shoulder_lever();
  EXPECT_NEAR(u_of(*m, "out-of-plane pose"),
              f * std::sqrt(d.mean_mm * d.mean_mm + d.sd_mm * d.sd_mm + rim * rim), 1e-7);
  EXPECT_NEAR(u_of(*m, "calibration"), 0.08, 1e-12);
  EXPECT_NEAR(u_of(*m, "stem alignment"), 0.05, 1e-12);
}

// Derived: the angle's uncertainty moves a point r beside the axis by r u: the head, 35 mm medial.
TEST(Budget, PointsBesideTheAxisPayForTheTilt) {
  Pair p;
  p.e.bone.covariance = by_hand::covariance(0.1, 0.3);
  p.e.pose = {{3.0}, {0.0}, {0.0}};
  const auto m = derive(p.e);
  ASSERT_TRUE(m.has_value());
  const double tilt = std::hypot(0.3, turn_of_features());
  EXPECT_NEAR(m->tilt_change.u.value, tilt, 1e-12);
  EXPECT_NEAR(m->subsidence_at_head_centre.u.value,
              std::hypot(m->subsidence.u.value, 35.0 * tilt * kDegree), 1e-12);
  EXPECT_NEAR(m->subsidence_at_tip->u.value,
              std::hypot(m->subsidence.u.value, 8.0 * tilt * kDegree), 1e-12);
}

// Derived: a motion of 5 mm is longer or shorter by the 3 % that the scales of both films share,
// 0.15 mm, and one of 2 mm medially by 0.06 mm.
TEST(Budget, AMotionCarriesWhatBothScalesShare) {
  by_hand::Pair p(Pair::vague(by_hand::film({}, Pair::bare())), {}, {}, {0.0, Vec2(2.0, 5.0)});
  p.evidence.bone.covariance = by_hand::covariance(0.1, 0.1);
  const auto exact = derive(p.evidence);
  p.evidence.shared_scale_u = 0.03;
  const auto m = derive(p.evidence);
  ASSERT_TRUE(exact.has_value() && m.has_value());
  ASSERT_NEAR(m->subsidence.value.value, 5.0, 1e-9);
  EXPECT_NEAR(m->subsidence.u.value, std::hypot(exact->subsidence.u.value, 0.15), 1e-9);
  EXPECT_NEAR(m->subsidence.u95.value, std::hypot(exact->subsidence.u95.value, 1.959964 * 0.15),
              1e-6);
  EXPECT_NEAR(
      m->subsidence_at_tip->u.value,
      std::hypot(exact->subsidence_at_tip->u.value, 0.03 * m->subsidence_at_tip->value.value),
      1e-9);
  EXPECT_NEAR(u_of(*m, "calibration"), 0.15, 1e-9);
  EXPECT_NEAR(m->medial.u.value, std::hypot(exact->medial.u.value, 0.06), 1e-9);
}

// docs/design.md: tan(c_app) = tan c cos t + tan a sin t. Sagittal lean a = 3 deg: a rotation of 10
// deg makes 0.521 deg of tilt, 20 deg 1.027 (derived). The linear law of the budget is within 0.5
// and 2 % of it.
TEST(Budget, RotationImitatesTiltThroughTheLean) {
  Pair p;
  const double floor = turn_of_features();
  const auto imitated = [&](double rotation_deg) {
    p.e.pose = {.flexion = {0.0}, .rotation = {rotation_deg}, .sagittal_lean_u = {3.0}};
    const double u = derive(p.e)->tilt_change.u.value;
    return std::sqrt(u * u - floor * floor);
  };
  // Rotation turns the alignment of the bone as well, by 0.03 degrees per degree.
  const auto both = [](double by_lean_deg) {
    const double rotation_deg = by_lean_deg / 3.0 / kDegree;
    return std::hypot(by_lean_deg, 0.03 * rotation_deg);
  };
  EXPECT_NEAR(imitated(10.0), both(0.521), 0.005 * both(0.521));
  EXPECT_NEAR(imitated(20.0), both(1.027), 0.021 * both(1.027));
}

// ---------------------------------------------------------------- Monte Carlo (JCGM 101)

/// What one draw of the world is made of.
struct World {
  Place place{Vec2(90.0, 80.0), 2.0, 1.0};
  by_hand::Film film = Pair::vague(by_hand::film(place, Pair::bare()));
  Rigid2 motion{0.7 * kDegree, Vec2(0.3, 1.8)};
  Rigid2 bone{-1.5 * kDegree, Vec2(6.0, -9.0)};
  double u_bone_mm = 0.10, u_bone_deg = 0.10, u_stem_mm = 0.06, u_stem_deg = 0.05;
  double scale_u = 0.003;
  double half_depth_mm = std::sqrt(3.0) * shoulder_lever();  // uniform
  double turn_deg = turn_of_features();
  PoseModel pose{.flexion = {4.0}, .rotation = {0.0}, .sagittal_lean_u = {0.0}};
  Trust trust = by_hand::at_its_word();
  struct Feature {
    const char* name;
    Vec2 at;
    double u;
  };
  std::vector<Feature> features = {{kGreaterTrochanter, {-28.0, -20.0}, 0.15},
                                   {kLesserTrochanter, {22.0, 40.0}, 0.25},
                                   {kCalcar, {14.0, 3.0}, 0.20},
                                   {kMetaphysis, {-18.0, 15.0}, 0.30}};
};

enum class Errors { kNone, kDrawn };

/// A shift and a turn about a point, drawn.
Rigid2 slip(Random& random, double on, const Vec2& centre, double u_mm, double u_deg) {
  const Rigid2 to{0.0, centre};
  const double dx = on * random.normal(0.0, u_mm);
  const double dy = on * random.normal(0.0, u_mm);
  const double angle = on * random.normal(0.0, u_deg * kDegree);
  return to.after({angle, Vec2(dx, dy)}).after(to.inverse());
}

/// Answer to the evidence as it would be measured in one draw: the alignments err within their
/// covariances, the features lie at depths of this patient, the leg is flexed by an angle of this
/// film, and every vote adds its noise. Votes are told against the erring alignment, as
/// alignment::vote does.
Migration answer(const World& w, Random& random, Errors errors) {
  const double on = errors == Errors::kDrawn ? 1.0 : 0.0;
  by_hand::Pair pair(w.film, w.place, w.bone, w.motion);
  PairEvidence& e = pair.evidence;
  const Rigid2 bone_slip = slip(random, on, e.bone.centre_mm, w.u_bone_mm, w.u_bone_deg);
  // Features at other depths turn the alignment about the stem without any slip between them.
  const Rigid2 turn = slip(random, on, w.place.reference_mm, 0.0, w.turn_deg);
  e.bone.moving_from_fixed_mm = e.bone.moving_from_fixed_mm.after(turn).after(bone_slip);
  e.bone.covariance = by_hand::covariance(w.u_bone_mm, w.u_bone_deg);
  alignment::Alignment& stem = e.stem.alignment;
  const Rigid2 stem_slip = slip(random, on, stem.centre_mm, w.u_stem_mm, w.u_stem_deg);
  // The shoulder's rim is seen on its front or on its back edge, unknown which.
  const double rim = random.uniform(-w.half_depth_mm, w.half_depth_mm) * on *
                     random.normal(0.0, w.pose.flexion.value * kDegree);
  stem.moving_from_fixed_mm = stem.moving_from_fixed_mm.after(stem_slip).after(
      by_hand::on_film({0.0, Vec2(0.0, rim)}, w.place));
  stem.covariance = by_hand::covariance(w.u_stem_mm, w.u_stem_deg);
  e.scale_ratio_u = w.scale_u;
  e.pose = w.pose;
  e.trust = w.trust;
  const double flexion = on * random.normal(0.0, w.pose.flexion.value * kDegree);
  const double scale = on * random.normal(0.0, w.scale_u);
  const Vec2 distal = by_hand::turned(w.place.shaft_deg);
  for (const auto& f : w.features) {
    const Vec2 at = w.place.film_from_frame().apply(f.at);
    const Depth depth = depth_of(f.name);
    // More depth, flexed: the feature goes proximally on the film, so the stem seems to sink.
    const double seen = flexion * (depth.mean_mm + on * random.normal(0.0, depth.sd_mm)) +
                        scale * f.at.y() + on * random.normal(0.0, f.u);
    // True place minus where the erring alignment puts it, in the axes of the reference film.
    const Vec2 missed = bone_slip.rotation().transpose() * (at - bone_slip.apply(at));
    e.votes.push_back(by_hand::vote(f.name, f.at, w.place, missed.dot(distal) - seen, f.u));
  }
  return derive(e).value();
}

// The uncertainty that derive() states without knowing the truth is the scatter of its answers.
TEST(MonteCarlo, StatedUncertaintyIsTheScatterOfTheAnswer) {
  const World w;
  Random unused(1);
  const Migration exact = answer(w, unused, Errors::kNone);
  // The motion that was put in; tilt and medial carry no depth and come back as they are.
  EXPECT_NEAR(exact.subsidence.value.value, 1.8, 1e-9);
  EXPECT_NEAR(exact.medial.value.value, 0.3, 1e-9);
  EXPECT_NEAR(exact.tilt_change.value.value, 0.7, 1e-9);

  const MonteCarloOptions options{.seed = 20, .significant_digits = 1, .batch = 10'000};
  const auto scatter = [&](const auto& pick) {
    return monte_carlo([&](Random& random) { return pick(answer(w, random, Errors::kDrawn)); },
                       options);
  };
  const auto along = scatter([](const Migration& m) { return m.subsidence.value.value; });
  ASSERT_TRUE(along.has_value());
  EXPECT_GE(along->draws, 20'000);
  // Relative standard error of a standard deviation from n draws: about 1 / sqrt(2 n) for a normal
  // (0.5 % for 20,000), twice that here since flexion times depth has long tails: 4 of them.
  const double tolerance = 4.0 * 2.0 / std::sqrt(2.0 * static_cast<double>(along->draws));
  EXPECT_NEAR(along->u / exact.subsidence.u.value, 1.0, tolerance);
  EXPECT_NEAR(along->mean, 1.8, 4.0 * along->u / std::sqrt(static_cast<double>(along->draws)));
  const auto tilt = scatter([](const Migration& m) { return m.tilt_change.value.value; });
  ASSERT_TRUE(tilt.has_value());
  EXPECT_NEAR(tilt->u / exact.tilt_change.u.value, 1.0, tolerance);
}

// Guards the lever of the stem alignment's angle on the reference point, once left out of `medial`.
TEST(MonteCarlo, StatedUncertaintyAcrossIsTheScatterOfTheAnswer) {
  const World w;
  Random unused(1);
  const Migration exact = answer(w, unused, Errors::kNone);
  const auto across = monte_carlo(
      [&](Random& random) { return answer(w, random, Errors::kDrawn).medial.value.value; },
      {.seed = 20, .significant_digits = 1, .batch = 10'000});
  ASSERT_TRUE(across.has_value());
  const double tolerance = 4.0 / std::sqrt(2.0 * static_cast<double>(across->draws));
  EXPECT_NEAR(across->u / exact.medial.u.value, 1.0, tolerance);
}

// 95 % intervals hold the truth in 95 of 100 draws: not fewer (4 binomial standard errors of 10,000
// draws are 0.9 %), and not above 98 %: contradictory votes may widen an interval, none narrows it.
// Flexion times depth has longer tails than a normal (93.7 % when each vote is taken at its word);
// the doubt that any vote may be wild covers them.
TEST(MonteCarlo, IntervalsCoverTheTruth) {
  World w;
  w.trust.wild = Trust{}.wild;
  w.trust.slid = Trust{}.slid;
  Random random(7);
  constexpr int kDraws = 10'000;
  int along = 0;
  int tilt = 0;
  int head = 0;
  const Vec2 centre(35.0, -35.0);
  const double head_truth = (w.motion.apply(centre) - centre).y();
  for (int i = 0; i < kDraws; ++i) {
    const Migration m = answer(w, random, Errors::kDrawn);
    const auto covers = [](const auto& q, double truth) {
      return std::abs(q.value.value - truth) <= q.u95.value ? 1 : 0;
    };
    along += covers(m.subsidence, 1.8);
    tilt += covers(m.tilt_change, 0.7);
    head += covers(m.subsidence_at_head_centre, head_truth);
  }
  RecordProperty("along", along);
  for (const int hits : {along, tilt, head}) {
    EXPECT_GT(hits, 0.941 * kDraws);
    EXPECT_LT(hits, 0.98 * kDraws);
  }
}

// ---------------------------------------------------------------- tilt by alignments and by axes

/// A pair whose alignments say `alignment_deg` and whose axes say `axes_deg`, the shaft's axes
/// known to 0.2 degrees on each film.
Expected<Migration> two_opinions(double alignment_deg, double axes_deg) {
  by_hand::Pair pair(by_hand::film({}), {}, {}, {});
  pair.evidence.stem.alignment.moving_from_fixed_mm =
      by_hand::on_film({alignment_deg * kDegree, Vec2::Zero()}, {});
  pair.follow_up.implant.axis.line_px.direction = by_hand::turned(axes_deg);
  pair.reference.femur.shaft_axis->direction_u = {0.2};
  pair.follow_up.femur.shaft_axis->direction_u = {0.2};
  pair.evidence.pose = {.flexion = {4.0}, .rotation = {5.0}, .sagittal_lean_u = {2.0}};
  return derive(pair.evidence);
}

// Derived: inverse-variance mean of two opinions; the lean they share is added once.
TEST(Tilt, IsTheWeightedMeanOfAlignmentsAndAxes) {
  constexpr double kRotationDeg = 5.0;
  const double v_alignment = std::pow(turn_of_features(), 2) + std::pow(0.03 * kRotationDeg, 2);
  const double v_axes = 2.0 * 0.2 * 0.2;
  const double lean = kRotationDeg * kDegree * 2.0;
  const double v = 1.0 / (1.0 / v_alignment + 1.0 / v_axes);
  const auto near = two_opinions(1.0, 1.2);
  ASSERT_TRUE(near.has_value());
  EXPECT_NEAR(near->tilt_change.value.value, v * (1.0 / v_alignment + 1.2 / v_axes), 1e-9);
  EXPECT_NEAR(near->tilt_change.u.value, std::hypot(std::sqrt(v), lean), 1e-9);
  // Apart by more than their uncertainties: u of the mean grows by the ratio (Birge 1932).
  const auto apart = two_opinions(1.0, 2.5);
  ASSERT_TRUE(apart.has_value());
  const double ratio = 1.5 / std::sqrt(v_alignment + v_axes);
  ASSERT_GT(ratio, 1.0);
  EXPECT_NEAR(apart->tilt_change.u.value, std::hypot(ratio * std::sqrt(v), lean), 1e-9);
}

// docs/design.md: tan c_app = tan c cos t + tan a sin t. A stem in 1 degree of varus that leans by
// 2 degrees (tip behind), turned inwards by 10: what rotation adds is taken off, to the first
// order.
TEST(Tilt, IsLessWhatRotationMakesOfAKnownLean) {
  constexpr double kVarus = 1.0 * kDegree;
  constexpr double kLean = 2.0 * kDegree;
  constexpr double kTurn = 10.0 * kDegree;
  const double seen =
      std::atan(std::tan(kVarus) * std::cos(kTurn) + std::tan(kLean) * std::sin(kTurn));
  by_hand::Pair pair(by_hand::film({}), {}, {}, {});
  pair.evidence.stem.alignment.moving_from_fixed_mm =
      by_hand::on_film({seen - kVarus, Vec2::Zero()}, {});
  pair.follow_up.implant.axis.line_px.direction = by_hand::turned((seen - kVarus) / kDegree);
  pair.evidence.pose = {
      .flexion = {0.0}, .rotation = {0.0}, .sagittal_lean = {2.0}, .sagittal_lean_u = {0.5}};
  PoseChange turned;
  turned.draws = {{.rolled = std::sin(kTurn), .probability = 1.0}};
  turned.rotation_rms_rad = kTurn;
  pair.evidence.pose_change = turned;
  const auto m = derive(pair.evidence);
  ASSERT_TRUE(m.has_value());
  ASSERT_GT(seen - kVarus, 0.3 * kDegree);
  EXPECT_NEAR(m->tilt_change.value.value, 0.0, 0.02);
  // The lean is known to 0.5 degrees: 0.5 sin 10 of it stays open, beside what else there is.
  pair.evidence.pose.sagittal_lean_u = {0.0};
  const double u = m->tilt_change.u.value;
  const double rest = derive(pair.evidence)->tilt_change.u.value;
  EXPECT_NEAR(std::sqrt(u * u - rest * rest), 0.5 * std::sin(kTurn), 1e-9);
}

// The stem's look leaves open whether the leg was turned inwards or outwards by 10 degrees,
// features 13 and 4 mm behind the stem say inwards: the lean's share of the tilt follows them.
TEST(Tilt, IsLessWhatTheRotationThatTheVotesSayMakesOfTheLean) {
  const double rolled = std::sin(10.0 * kDegree);
  by_hand::Pair pair(by_hand::film({}), {}, {}, {});
  pair.evidence.pose = {.sagittal_lean = {2.0}, .sagittal_lean_u = {0.0}};
  pair.evidence.trust.across_floor_mm = 0.1;
  pair.evidence.trust.depths_apart_mm = 0.0;
  PoseChange either;
  either.draws = {{.rolled = rolled, .probability = 0.5}, {.rolled = -rolled, .probability = 0.5}};
  either.rotation_rms_rad = 10.0 * kDegree;
  pair.evidence.pose_change = either;
  Depths depths = depths_of_people(0.0);
  depths.covariance = 0.01 * DepthMatrix::Identity();
  pair.evidence.depths = depths;
  for (const char* feature : {kLesserTrochanter, kGreaterTrochanter, kMetaphysis}) {
    auto vote = by_hand::vote(feature, Vec2(0.0, 10.0), {}, 0.0, 0.1);
    vote.offset_mm.x() = -rolled * depths.mean_mm(depth_index(feature));
    pair.evidence.votes.push_back(vote);
  }
  const auto m = derive(pair.evidence);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->tilt_change.value.value, -2.0 * rolled, 0.02);
}

// Derived, on films from behind: what lies d behind the stem lies d nearer to the tube and is
// carried distally by -flexion d; the stem stands still. The depths are handed on as anatomy counts
// them.
TEST(Derive, TakesDepthsFromBehindWithTheOtherSign) {
  constexpr double kFlexion = 0.1;
  by_hand::Pair pair(by_hand::film({}), {}, {}, {});
  pair.evidence.pose = {.sagittal_lean = {2.0}, .sagittal_lean_u = {0.0}, .view = View::kPa};
  PoseChange flexed;
  flexed.draws = {{.flexion = kFlexion, .rolled = -0.2, .probability = 1.0}};
  pair.evidence.pose_change = flexed;
  Depths depths = depths_of_people(0.0);
  depths.covariance = 1e-4 * DepthMatrix::Identity();
  pair.evidence.depths = depths;
  for (const char* feature : {kLesserTrochanter, kGreaterTrochanter, kMetaphysis}) {
    const double behind = depths.mean_mm(depth_index(feature));
    pair.evidence.votes.push_back(
        by_hand::vote(feature, Vec2(0.0, 10.0), {}, kFlexion * behind, 0.1));
  }
  const auto m = derive(pair.evidence);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->subsidence.value.value, 0.0, 0.02);
  EXPECT_NEAR(m->tilt_change.value.value, -2.0 * 0.2, 0.02);
  ASSERT_TRUE(m->depths.has_value());
  const int lesser = depth_index(kLesserTrochanter);
  EXPECT_NEAR(m->depths->mean_mm(lesser), depths.mean_mm(lesser), 0.1);
}

// What the ratio of scales errs reaches the pose that is read off the stem.
TEST(Derive, ReadsThePoseByScalesThatErr) {
  by_hand::Pair pair(by_hand::film({}), {}, {}, {});
  StemLooks looks{.reference = stem_look(pair.evidence.reference),
                  .follow_up = stem_look(pair.evidence.reference),
                  .shoulder_u_mm = 0.05,
                  .tips_u_mm = 0.1};
  looks.follow_up.head_medial_mm *= 1.0133;
  looks.follow_up.head_from_shoulder_mm *= 1.0133;
  looks.follow_up.length_mm *= 1.0133;
  pair.evidence.stem.looks = looks;
  const auto flexion = [&](double ratio_u) {
    pair.evidence.scale_ratio_u = ratio_u;
    const auto m = derive(pair.evidence);
    double mean = 0.0;
    for (const PoseDraw& d : m->measured->pose.draws) mean += d.probability * d.flexion;
    return std::abs(mean);
  };
  EXPECT_LT(flexion(0.014), 0.5 * flexion(0.0));
}

// The second opinion reads no pose; legs that were seen to lie more differently than legs usually
// do cost it more, and legs that lie alike no less than usual.
TEST(Landmarks, KnowLessOfLegsThatLieVeryDifferently) {
  by_hand::Pair pair(by_hand::film({}), {}, {}, {});
  pair.evidence.pose.sagittal_lean_u = {2.0};
  const auto tilt_u = [&](double rotation_deg) {
    PoseChange seen;
    seen.draws = {{.probability = 1.0}};
    seen.rotation_rms_rad = rotation_deg * kDegree;
    pair.evidence.pose_change = seen;
    return derive(pair.evidence)->by_landmarks->tilt_change->u.value;
  };
  const double usual = pair.evidence.pose.rotation.value;
  EXPECT_NEAR(tilt_u(20.0), 2.0 * 20.0 * kDegree, 1e-9);
  EXPECT_NEAR(tilt_u(0.5 * usual), 2.0 * usual * kDegree, 1e-9);
}

// Derived: a point at (x, y) of the stem goes x sin t + y (cos t - 1) distally of the reference
// point as the stem turns into varus by t. That t is the tilt that is told, not the alignments'
// alone: head (35, -35), tip (8, 130).
TEST(Tilt, ThatIsToldCarriesTheOtherPointsOfTheStem) {
  const auto m = two_opinions(1.0, 1.6);
  ASSERT_TRUE(m.has_value());
  const double t = m->tilt_change.value.value * kDegree;
  ASSERT_GT(std::abs(t - 1.0 * kDegree), 0.1 * kDegree);
  const auto beyond = [&](const Measured<Millimetres>& point) {
    return point.value.value - m->subsidence.value.value;
  };
  EXPECT_NEAR(beyond(m->subsidence_at_head_centre), 35.0 * std::sin(t) - 35.0 * (std::cos(t) - 1.0),
              1e-9);
  EXPECT_NEAR(beyond(*m->subsidence_at_tip), 8.0 * std::sin(t) + 130.0 * (std::cos(t) - 1.0), 1e-9);
}

// ---------------------------------------------------------------- evidence that is none

TEST(Derive, RefusesEvidenceThatIsNoNumber) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  {
    Pair p;
    p.e.stem.alignment.covariance(1, 1) = nan;
    EXPECT_FALSE(derive(p.e).has_value());
  }
  {
    Pair p;
    p.e.bone.moving_from_fixed_mm.angle_rad = nan;
    EXPECT_FALSE(derive(p.e).has_value());
  }
  {
    Pair p;
    p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, nan, 0.1)};
    const auto m = derive(p.e);
    EXPECT_TRUE(!m || std::isfinite(m->subsidence.value.value));
  }
}

struct SlidRow {
  double turn_deg, across_mm;
  bool measured;
};

// House choice of derive.cpp: the bone's alignment must carry one shaft axis onto the other within
// 3 degrees and 4 mm; along the shaft it may go where it wants, within 15 mm.
TEST(Derive, RefusesABoneThatSlidOffItsShaft) {
  for (const SlidRow& row :
       {SlidRow{2.9, 0.0, true}, SlidRow{3.1, 0.0, false}, SlidRow{-3.1, 0.0, false},
        SlidRow{0.0, 3.9, true}, SlidRow{0.0, 4.1, false}, SlidRow{0.0, -4.1, false}}) {
    Pair p;
    p.reference.femur.shaft_axis->direction_u = {0.3};
    p.follow_up.femur.shaft_axis->direction_u = {0.3};
    const Vec2 on_shaft(0.0, 100.0);
    const Rigid2 to{0.0, on_shaft};
    const Rigid2 wrong =
        to.after({row.turn_deg * kDegree, Vec2(row.across_mm, 12.0)}).after(to.inverse());
    p.e.bone.moving_from_fixed_mm = by_hand::on_film(wrong, p.place);
    const auto m = derive(p.e);
    EXPECT_EQ(m.has_value(), row.measured) << row.turn_deg << " deg, " << row.across_mm << " mm";
    if (!m) {
      EXPECT_EQ(m.error().kind, ErrorKind::kCannotTell);
      EXPECT_FALSE(m.error().remedy.empty());
    }
  }
}

// Axes of 25 mm of shaft know themselves to be 2 degrees off: 3.2 degrees between them are 1.1 of
// their joint standard uncertainties and refuse no alignment.
TEST(Derive, BelievesABoneWhoseShaftIsHardlySeen) {
  Pair p;
  const Rigid2 to{0.0, Vec2(0.0, 100.0)};
  const Rigid2 turned = to.after({3.2 * kDegree, Vec2::Zero()}).after(to.inverse());
  p.e.bone.moving_from_fixed_mm = by_hand::on_film(turned, p.place);
  p.reference.femur.shaft_axis->direction_u = {2.0};
  p.follow_up.femur.shaft_axis->direction_u = {2.0};
  const auto m = derive(p.e);
  EXPECT_TRUE(m.has_value()) << m.error().sentence();
}

/// A pair whose bone was aligned `slid_mm` off its place along the shaft.
Expected<Migration> slid_by(const by_hand::Film& film, double slid_mm) {
  by_hand::Pair pair(film, {}, {}, {});
  pair.evidence.trust = {};
  for (const char* feature : {kShaft, kMetaphysis, kCalcar}) {
    pair.evidence.votes.push_back(by_hand::vote(feature, {5.0, 60.0}, {}, slid_mm, 0.1));
  }
  return derive(pair.evidence);
}

// House choice of derive.cpp: an alignment along a shaft agrees with itself wherever it is.
TEST(Derive, RefusesABoneThatSlidAlongItsShaft) {
  by_hand::Anatomy bare;
  bare.lesser.reset();
  bare.greater.reset();
  const auto near = slid_by(by_hand::film({}, bare), -13.0);
  ASSERT_TRUE(near) << near.error().sentence();
  EXPECT_GT(near->subsidence.value.value, 12.0);
  const auto far = slid_by(by_hand::film({}, bare), -17.0);
  ASSERT_FALSE(far);
  EXPECT_NE(far.error().wrong.find("17 mm deeper"), std::string::npos) << far.error().wrong;
  const auto contradicted = slid_by(by_hand::film({}), -13.0);
  if (contradicted) {
    EXPECT_LT(contradicted->subsidence.value.value, 6.0) << "both trochanters stayed";
  }
}

// An alignment that may as well lie elsewhere is told only where something else says where.
TEST(Derive, RefusesAnAmbiguousBoneThatNothingDecides) {
  by_hand::Anatomy bare;
  bare.lesser.reset();
  bare.greater.reset();
  by_hand::Pair pair(by_hand::film({}, bare), {}, {}, {});
  pair.evidence.bone.runner_up = 0.9;
  EXPECT_TRUE(derive(pair.evidence));
  pair.evidence.bone.runner_up = 0.99;
  const auto undecided = derive(pair.evidence);
  ASSERT_FALSE(undecided);
  EXPECT_NE(undecided.error().wrong.find("no feature of it"), std::string::npos);
  pair.evidence.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, {}, 0.0, 0.3)};
  EXPECT_TRUE(derive(pair.evidence));
}

TEST(Derive, FlagsAnAmbiguousBone) {
  Pair p;
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, 0.0, 0.3)};
  p.e.bone.runner_up = 0.9;
  EXPECT_FALSE(has_flag(*derive(p.e), "bone_alignment_ambiguous"));
  p.e.bone.runner_up = 0.99;
  EXPECT_TRUE(has_flag(*derive(p.e), "bone_alignment_ambiguous"));
}

// A single feature was looked for about the one position alone: it does not speak against the
// other. Two that agree with each other do.
TEST(Derive, ALoneVoteDecidesNoAmbiguousBone) {
  const auto u95 = [](double runner_up, std::vector<alignment::FeatureVote> votes) {
    Pair p;
    p.e.votes = std::move(votes);
    p.e.bone.runner_up = runner_up;
    return derive(p.e)->subsidence.u95.value;
  };
  const Pair p;
  const auto one = by_hand::vote(kCalcar, {10.0, 0.0}, p.place, 0.0, 0.3);
  const auto other = by_hand::vote(kMetaphysis, {-10.0, 10.0}, p.place, 0.0, 0.3);
  EXPECT_GT(u95(0.99, {one}), 1.3 * u95(0.9, {one}));
  EXPECT_NEAR(u95(0.99, {one, other}), u95(0.9, {one, other}), 1e-9);
}

// By hand: one vote of known noise, no pose: u95 is 1.96 u.
TEST(Derive, FlagsAnIntervalTooWideForAnyThreshold) {
  Pair p;
  p.e.pose = {.flexion = {0.0}, .rotation = {0.0}, .sagittal_lean_u = {0.0}};
  p.e.trust.wide_u95_mm = 1.5;
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, 0.0, 0.7)};
  EXPECT_FALSE(has_flag(*derive(p.e), "subsidence_interval_wide"));
  p.e.votes = {by_hand::vote(kCalcar, {10.0, 0.0}, p.place, 0.0, 0.9)};
  EXPECT_TRUE(has_flag(*derive(p.e), "subsidence_interval_wide"));
}

TEST(DepthOf, OrdersTheFeaturesAsAnatomyDoes) {
  // The lesser trochanter lies farthest behind the stem (docs/design.md: 20 to 25 mm; femora of 8
  // people: 15 +- 6); nothing known is known to better than a few mm.
  for (const char* other : {kGreaterTrochanter, kCalcar, kMetaphysis, kShaft}) {
    EXPECT_GT(depth_of(kLesserTrochanter).mean_mm, depth_of(other).mean_mm) << other;
  }
  for (const char* any : {kGreaterTrochanter, kLesserTrochanter, kCalcar, kMetaphysis, kShaft}) {
    EXPECT_GE(depth_of("something else").sd_mm, depth_of(any).sd_mm) << any;
    EXPECT_GT(depth_of(any).sd_mm, 0.0) << any;
  }
}

}  // namespace
}  // namespace tidemark::migration
