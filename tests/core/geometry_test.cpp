#include "tidemark/core/geometry.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace tidemark {
namespace {

constexpr double kPi = std::numbers::pi;

// Derived: with x to the right and y down, a quarter turn carries right to down: clockwise as seen.
TEST(Rigid2, APositiveAngleTurnsClockwiseOnTheFilm) {
  const Rigid2 quarter{kPi / 2, Vec2(10, 20)};
  EXPECT_LT((quarter.apply({1, 0}) - Vec2(10, 21)).norm(), 1e-14);
  EXPECT_LT((quarter.apply({0, 1}) - Vec2(9, 20)).norm(), 1e-14);
}

// Worked by hand: +2 degrees about the origin, then (0.4, 1.5), of the tip of a stem.
TEST(Rigid2, MovesAPointAsWorkedByHand) {
  const Rigid2 motion{2.0 * kPi / 180.0, Vec2(0.4, 1.5)};
  EXPECT_LT((motion.apply({8, 130}) - Vec2(3.8582, 131.7000)).norm(), 1e-4);
}

TEST(Rigid2, InverseAndProductKeepTheirPromises) {
  const Rigid2 b_from_a{0.4, Vec2(3, -7)};
  const Rigid2 c_from_b{-1.1, Vec2(-20, 5)};
  const Vec2 p_in_a(12.5, -4.25);
  EXPECT_LT((b_from_a.inverse().apply(b_from_a.apply(p_in_a)) - p_in_a).norm(), 1e-13);
  const Rigid2 c_from_a = c_from_b.after(b_from_a);
  EXPECT_LT((c_from_a.apply(p_in_a) - c_from_b.apply(b_from_a.apply(p_in_a))).norm(), 1e-13);
}

TEST(Affine2, InverseAndProductKeepTheirPromises) {
  const Affine2 b_from_a{(Eigen::Matrix2d() << -1.0, 0.2, 0.0, 1.5).finished(), Vec2(100, 3)};
  const Affine2 c_from_b{(Eigen::Matrix2d() << 2.0, 0.0, -0.5, 1.0).finished(), Vec2(-1, 0)};
  const Vec2 p_in_a(12.5, -4.25);
  EXPECT_LT((b_from_a.inverse().apply(b_from_a.apply(p_in_a)) - p_in_a).norm(), 1e-13);
  const Affine2 c_from_a = c_from_b.after(b_from_a);
  EXPECT_LT((c_from_a.apply(p_in_a) - c_from_b.apply(b_from_a.apply(p_in_a))).norm(), 1e-13);
}

// Derived: a line straight down through (5, 0); its positive side is (-direction.y, direction.x),
// the left of the film.
TEST(Line2, DistanceAndPlaceHaveTheirSigns) {
  const Line2 down{Vec2(5, 0), Vec2::UnitY()};
  EXPECT_DOUBLE_EQ(signed_distance(down, {2, 40}), 3.0);
  EXPECT_DOUBLE_EQ(signed_distance(down, {9, -7}), -4.0);
  EXPECT_DOUBLE_EQ(along(down, {2, 40}), 40.0);
  EXPECT_DOUBLE_EQ(along(down, {9, -7}), -7.0);
}

TEST(AngleBetween, IsPositiveClockwiseOnTheFilm) {
  EXPECT_NEAR(angle_between({1, 0}, {0, 1}), kPi / 2, 1e-15);
  EXPECT_NEAR(angle_between({0, 1}, {1, 0}), -kPi / 2, 1e-15);
  EXPECT_NEAR(angle_between({2, 0}, {-3, 0}), kPi, 1e-15);
  // A turn of a rigid motion is the angle between a direction and its image.
  const Rigid2 motion{0.3, Vec2::Zero()};
  EXPECT_NEAR(angle_between({1, 2}, motion.apply({1, 2})), 0.3, 1e-15);
}

}  // namespace
}  // namespace tidemark
