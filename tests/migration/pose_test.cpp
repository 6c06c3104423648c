#include "tidemark/migration/pose.h"

#include <gtest/gtest.h>

#include <cmath>

#include "migration/by_hand.h"
#include "tidemark/core/monte_carlo.h"

namespace tidemark::migration {
namespace {

using by_hand::kDegree;

/// A stem in a pose, as the projection of three points shows it: x medial, s distal, d behind, the
/// leg first rotated about s, then flexed about x (rotation matrices written out; parallel beam
/// that meets the stem's length under `view`).
struct Posed {
  double flexion, rotation;
};
constexpr double kOffset = 40.0, kLength = 130.0, kHeadUp = -30.0;

StemLook look(const Posed& p, double version, double view) {
  StemLook out;
  out.head_medial_mm = kOffset * std::cos(version - p.rotation);
  out.length_mm = kLength * std::cos(p.flexion + view);
  out.length_u_mm = 0.3;
  out.head_from_shoulder_mm = kHeadUp;
  return out;
}

/// How far the head leads: its depth is -offset sin(version - rotation), times sin(flexion).
Measured<Millimetres> lead(const Posed& a, const Posed& b, double version, double view) {
  const auto depth = [&](const Posed& p) { return -kOffset * std::sin(version - p.rotation); };
  const double stretch = std::cos(b.flexion + view) / std::cos(a.flexion + view) - 1.0;
  const double value =
      -depth(b) * std::sin(b.flexion) + depth(a) * std::sin(a.flexion) + kHeadUp * stretch;
  return {{value}, {0.1}, {0.2}};
}

TEST(PoseChange, WithoutTheStemIsTheModel) {
  const PoseChange p = pose_change({.flexion = {4.6}, .rotation = {7.0}});
  EXPECT_EQ(p.flexion_rad, 0.0);
  EXPECT_NEAR(p.flexion_rms_rad(), 4.6 * kDegree, 1e-12);
  EXPECT_NEAR(p.rotation_rms_rad, 7.0 * kDegree, 1e-12);
}

// Poses drawn at random, shown without noise: the change of flexion comes back within its stated
// uncertainty (root mean square of error over u between 0.4 and 1.2), and less than half of
// the variance of the change is left.
TEST(PoseChange, TellsFlexionFromHeadAndLength) {
  Random random(5);
  constexpr int kDraws = 40;
  double pulls = 0.0;
  double errors = 0.0;
  double changes = 0.0;
  for (int i = 0; i < kDraws; ++i) {
    const double version = random.normal(12.0, 5.0) * kDegree;
    const double view = random.normal(5.0, 2.0) * kDegree;
    const auto any = [&] {
      return Posed{random.normal(0.0, 6.0) * kDegree, random.normal(0.0, 8.0) * kDegree};
    };
    const Posed a = any();
    const Posed b = any();
    const PoseChange p =
        pose_change({}, look(a, version, view), look(b, version, view), lead(a, b, version, view));
    const double truth =
        std::cos(b.rotation) * std::sin(b.flexion) - std::cos(a.rotation) * std::sin(a.flexion);
    pulls += std::pow((p.flexion_rad - truth), 2) / p.covariance(0, 0) / kDraws;
    errors += std::pow(p.flexion_rad - truth, 2);
    changes += truth * truth;
  }
  EXPECT_GT(std::sqrt(pulls), 0.4);
  EXPECT_LT(std::sqrt(pulls), 1.2);
  EXPECT_LT(errors, 0.5 * changes);
}

TEST(PoseChange, IsTheSameFromRunToRun) {
  const Posed a{0.02, 0.1};
  const Posed b{-0.12, -0.05};
  const auto once = pose_change({}, look(a, 0.2, 0.09), look(b, 0.2, 0.09), lead(a, b, 0.2, 0.09));
  const auto again = pose_change({}, look(a, 0.2, 0.09), look(b, 0.2, 0.09), lead(a, b, 0.2, 0.09));
  EXPECT_EQ(once.flexion_rad, again.flexion_rad);
  EXPECT_EQ(once.covariance, again.covariance);
}

TEST(PoseChange, OfAStemWithoutLengthIsTheModel) {
  const PoseChange p = pose_change({}, StemLook{}, StemLook{}, std::nullopt);
  EXPECT_NEAR(p.flexion_rms_rad(), 4.6 * kDegree, 1e-12);
}

TEST(StemLook, IsReadInTheStemsOwnAxes) {
  const auto film = by_hand::film({Vec2(90.0, 80.0), 7.0, 7.0});
  const StemLook l = stem_look(film.measured());
  EXPECT_NEAR(l.head_medial_mm, 35.0, 1e-9);
  EXPECT_NEAR(l.head_from_shoulder_mm, -25.0, 1e-9);
  EXPECT_NEAR(l.length_mm, 140.0, 1e-9);
}

}  // namespace
}  // namespace tidemark::migration
