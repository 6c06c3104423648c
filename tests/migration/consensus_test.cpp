#include "../../modules/migration/src/consensus.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>
#include <vector>

#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

constexpr double kExact = 1e-8;  // mm^2, of a reading taken at its word

/// One pose that is known: flexion and rolled as of PoseDraw.
PoseChange known(double flexion, double rolled) {
  PoseChange pose;
  pose.draws = {{.flexion = flexion, .rolled = rolled, .probability = 1.0}};
  return pose;
}

/// Opinions at their word, nothing wild, the stem's medial shift within `medial_mm`.
Trust plain(double medial_mm) {
  return {.wild = 0.0,
          .slid = 0.0,
          .landmark_wild = 0.0,
          .depths_apart_mm = 0.0,
          .medial_mm = medial_mm,
          .medial_far = 0.0,
          .shoulder_depth_mm = 0.0};
}

/// A feature on the axis that lies `depth_mm` behind the stem, as a pair of films with this pose
/// shows it (derived: PoseDraw), the stem having sunk by `subsidence` and gone medially by
/// `medial`.
Opinion seen(const char* feature, double depth_mm, const PoseChange& pose, const Vec2& motion,
             double variance = kExact) {
  const PoseDraw& draw = pose.draws.front();
  return {.feature = feature,
          .kind = VoteKind::kRegistered,
          .at = Vec2::Zero(),
          .along = Reading{motion.y() + draw.flexion * depth_mm, variance},
          .across = Reading{motion.x() + draw.rolled * depth_mm, variance},
          .covariance = 0.0};
}

/// All features `common_sd` together and `own_sd` each about the stem's plane.
Depths depths(double common_sd, double own_sd) {
  Depths out;
  out.covariance =
      DepthMatrix::Constant(common_sd * common_sd) + own_sd * own_sd * DepthMatrix::Identity();
  return out;
}

// Two poses as likely as each other by the stem's look; three features of known depth say which of
// them it was, and that is handed on.
TEST(Consensus, TellsThePoseThatTheVotesSay) {
  const PoseChange truth = known(0.05, 0.15);
  SharedErrors shared;
  shared.pose.draws = {{.flexion = 0.05, .rolled = 0.15, .probability = 0.5},
                       {.flexion = -0.05, .rolled = -0.15, .probability = 0.5}};
  shared.pose.about_draw(0, 0) = 1e-4;
  shared.pose.about_draw(3, 3) = 4e-4;
  shared.depths = depths(0.0, 0.1);
  shared.depths.mean_mm.setConstant(1.0);
  shared.depths.mean_mm(depth_index(kGreaterTrochanter)) = 14.0;
  std::vector<Opinion> votes;
  for (const char* feature : {kGreaterTrochanter, kLesserTrochanter, kMetaphysis}) {
    const double depth = shared.depths.mean_mm(depth_index(feature));
    votes.push_back(seen(feature, depth, truth, Vec2::Zero(), 0.01));
  }
  const auto told = consensus(votes, shared, plain(0.8));
  ASSERT_TRUE(told.has_value());
  EXPECT_NEAR(told->seen.rolled_mean, 0.15, 1e-3);
  EXPECT_NEAR(told->seen.flexion_mean, 0.05, 1e-3);
  EXPECT_NEAR(told->seen.rolled_square, 0.15 * 0.15 + 4e-4, 1e-3);
  EXPECT_NEAR(told->seen.flexion_square, 0.05 * 0.05 + 1e-4, 1e-3);
}

// Derived. Flexion 0.1 and rotation 0.2 rad, the stem not gone medially: a feature at depth d shows
// 0.2 d across, so what it shows along is 0.1 d beside the subsidence.
TEST(Consensus, WhatIsReadAcrossTellsTheDepths) {
  const PoseChange pose = known(0.1, 0.2);
  const Vec2 motion(0.0, 1.5);
  const auto c = consensus(
      {seen(kGreaterTrochanter, 8.0, pose, motion), seen(kMetaphysis, -4.0, pose, motion)},
      {pose, depths(0.0, 6.0), 0.0, 0.0}, plain(1e-4));
  ASSERT_TRUE(c.has_value());
  EXPECT_NEAR(c->mean, 1.5, 1e-3);
  EXPECT_NEAR(c->depths.mean_mm(depth_index(kGreaterTrochanter)), 8.0, 1e-2);
  EXPECT_NEAR(c->depths.mean_mm(depth_index(kMetaphysis)), -4.0, 1e-2);
  EXPECT_NEAR(c->depths.mean_mm(depth_index(kCalcar)), 0.0, 1e-9);  // not seen: as before
}

// Derived: a depth common to all features is told from the stem's medial shift only by what is
// known of that shift. Unknown: u of the subsidence is flexion times the depth's spread; known to
// 0.4 mm: the depth is then known to 1 / sqrt(1/16 + (0.2/0.4)^2) mm.
TEST(Consensus, ACommonDepthIsToldByTheStemsMedialShift) {
  const PoseChange pose = known(0.1, 0.2);
  const std::vector<Opinion> opinions = {seen(kGreaterTrochanter, 3.0, pose, {0.0, 0.0}),
                                         seen(kMetaphysis, 3.0, pose, {0.0, 0.0})};
  const SharedErrors shared{pose, depths(4.0, 1e-4), 0.0, 0.0};
  EXPECT_NEAR(std::sqrt(consensus(opinions, shared, plain(1e4))->variance), 0.1 * 4.0, 1e-3);
  EXPECT_NEAR(std::sqrt(consensus(opinions, shared, plain(0.4))->variance),
              0.1 / std::sqrt(1.0 / 16.0 + 0.25), 1e-3);
}

// Derived: a stem that went 5 mm medially is not taken for one that lies 25 mm before the shaft
// (rotation 0.2 rad) where a stem may have gone far, but is where it may not.
TEST(Consensus, AFarMedialShiftIsAStoryOfItsOwn) {
  const PoseChange pose = known(0.1, 0.2);
  const Vec2 motion(5.0, 1.0);
  const std::vector<Opinion> opinions = {seen(kGreaterTrochanter, 0.0, pose, motion, 0.01),
                                         seen(kShaft, 0.0, pose, motion, 0.01)};
  const SharedErrors shared{pose, depths(4.0, 1.0), 0.0, 0.0};
  Trust far = plain(0.8);
  far.medial_far = 0.1;
  far.medial_far_mm = 3.0;
  const auto with = consensus(opinions, shared, far);
  const auto without = consensus(opinions, shared, plain(0.8));
  EXPECT_LT(std::abs(with->mean - 1.0), std::abs(without->mean - 1.0));
  EXPECT_LT(std::abs(with->mean - 1.0), 2.0 * std::sqrt(with->variance));
}

// Derived: what Trust presumes of the medial shift serves the depths; of the shift that is told it
// is taken off again, so that a presumption of 0.8 mm and none at all tell the same. Two exact
// features in the stem's plane, rotation 0.2 rad, a depth common to both within 4 mm: 0.8 mm.
TEST(Consensus, TheMedialShiftIsThatOfTheReadingsAlone) {
  const PoseChange pose = known(0.1, 0.2);
  const std::vector<Opinion> opinions = {seen(kGreaterTrochanter, 0.0, pose, {2.4, 1.0}),
                                         seen(kMetaphysis, 0.0, pose, {2.4, 1.0})};
  const SharedErrors shared{pose, depths(4.0, 1e-4), 0.0, 0.0};
  for (const double presumed_mm : {0.8, 1e4}) {
    const auto c = consensus(opinions, shared, plain(presumed_mm));
    ASSERT_TRUE(c.has_value() && c->medial.has_value());
    EXPECT_NEAR(c->medial->mean, 2.4, 2e-3) << presumed_mm;
    EXPECT_NEAR(std::sqrt(c->medial->variance), 0.2 * 4.0, 2e-3) << presumed_mm;
  }
}

// JCGM 101:2008 in reverse: hips drawn from the model; the scatter of the answers must be what they
// say of themselves, within four standard errors of 600 draws (4 / sqrt(1200) = 0.12).
TEST(Consensus, UncertaintyIsTheScatterOfDrawnHips) {
  std::mt19937 random(20261128);  // NOLINT: the same draws every time
  std::normal_distribution<double> normal;
  constexpr int kDraws = 600;
  constexpr std::array kFeatures = {kGreaterTrochanter, kLesserTrochanter, kMetaphysis, kShaft};
  double sum = 0.0;
  double medial_sum = 0.0;
  for (int i = 0; i < kDraws; ++i) {
    const PoseChange pose = known(0.08 * normal(random), 0.15 * normal(random));
    const Vec2 motion(0.8 * normal(random), 2.0);
    const double common = 4.0 * normal(random);
    std::vector<Opinion> opinions;
    for (const char* feature : kFeatures) {
      Opinion o = seen(feature, common + 6.0 * normal(random), pose, motion, 0.04);
      o.along->value += 0.2 * normal(random);
      o.across->value += 0.2 * normal(random);
      opinions.push_back(o);
    }
    const auto c = consensus(opinions, {pose, depths(4.0, 6.0), 0.0, 0.0}, plain(0.8));
    sum += std::pow(c->mean - 2.0, 2) / c->variance;
    medial_sum += std::pow(c->medial->mean - motion.x(), 2) / c->medial->variance;
  }
  EXPECT_NEAR(std::sqrt(medial_sum / kDraws), 1.0, 0.12);
  EXPECT_NEAR(std::sqrt(sum / kDraws), 1.0, 0.12);
}

// A mixture of many poses, none of which has much probability of its own, tells what the one pose
// tells that all of them are.
TEST(Consensus, ManyUnlikelyPosesTellTheDepthsTogether) {
  const PoseChange one = known(0.1, 0.2);
  PoseChange many;
  many.draws.assign(2000, {.flexion = 0.1, .rolled = 0.2, .probability = 1.0 / 2000.0});
  const std::vector<Opinion> votes = {seen(kGreaterTrochanter, 8.0, one, {0.0, 1.5}, 0.01),
                                      seen(kMetaphysis, -4.0, one, {0.0, 1.5}, 0.01)};
  const auto by_one = consensus(votes, {one, depths(0.0, 6.0), 0.0, 0.0}, plain(0.1));
  const auto by_many = consensus(votes, {many, depths(0.0, 6.0), 0.0, 0.0}, plain(0.1));
  EXPECT_TRUE(by_many->depths.mean_mm.isApprox(by_one->depths.mean_mm, 1e-6));
  EXPECT_TRUE(by_many->depths.covariance.isApprox(by_one->depths.covariance, 1e-6));
}

// Derived (information adds): variance 16 before, 8 and a mean of 4 mm after another pair, whose
// information 1/8 - 1/16 at a mean of 8 mm counts by a third: variance 1 / (1/16 + 1/48), mean 2.
TEST(Depths, OtherPairsAddTheirInformation) {
  Depths before;
  before.covariance = 16.0 * DepthMatrix::Identity();
  Depths after = before;
  after.covariance(0, 0) = 8.0;
  after.mean_mm(0) = 4.0;
  const Depths both = with_others(before, {&after});
  EXPECT_NEAR(both.covariance(0, 0), 12.0, 1e-9);
  EXPECT_NEAR(both.mean_mm(0), 2.0, 1e-9);
  EXPECT_NEAR(both.covariance(1, 1), 16.0, 1e-9);
  const Depths none = with_others(before, {});
  EXPECT_TRUE(none.covariance.isApprox(before.covariance, 1e-12));
}

// Derived: of n readings that share half of their variance the mean has the information of
// 2 n / (n + 1); one of them is the pair's own.
TEST(Depths, WhatAllPairsShareIsCountedOnce) {
  Depths before;
  before.covariance = 16.0 * DepthMatrix::Identity();
  Depths after = before;
  after.covariance(0, 0) = 8.0;
  for (const std::size_t others : {1U, 5U, 11U}) {
    const auto told = with_others(before, std::vector<const Depths*>(others, &after));
    const double n = static_cast<double>(others) + 1.0;
    EXPECT_NEAR(1.0 / told.covariance(0, 0), 1.0 / 16.0 + (2.0 * n / (n + 1.0) - 1.0) / 16.0, 1e-9);
  }
}

// A pair that is less sure than before (its films contradict each other) takes nothing away, and
// moves nothing: neither the depth nor how well it is known.
TEST(Depths, NoPairTakesInformationAway) {
  Depths before;
  before.covariance = 16.0 * DepthMatrix::Identity();
  Depths after = before;
  after.covariance(0, 0) = 20.0;
  EXPECT_LE(with_others(before, {&after}).covariance(0, 0), 16.0 + 1e-9);
  after.mean_mm(0) = 10.0;
  EXPECT_NEAR(with_others(before, {&after}).mean_mm(0), 0.0, 1e-9);
  // Hardly surer: hardly moved.
  after.covariance(0, 0) = 15.99;
  EXPECT_NEAR(with_others(before, {&after}).mean_mm(0), 0.0, 0.2);
}

}  // namespace
}  // namespace tidemark::migration
