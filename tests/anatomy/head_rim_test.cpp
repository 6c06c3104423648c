#include "../../modules/anatomy/src/head_rim.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace tidemark::anatomy {
namespace {

constexpr double kMm = 0.12;
const Vec2 kNeck = Vec2(-1.0, 1.0).normalized();
const Circle2 kHead{{300.3, 299.6}, 150.0};  // 36 mm
const Circle2 kCup{{306.0, 294.0}, 210.0};

/// How far a point is inside of a shape, px, turned into a grey: white metal, an edge 2 px soft.
double metal(double inside) {
  return 100.0 + 900.0 * 0.5 * std::erfc(-inside / (2.0 * std::numbers::sqrt2));
}

/// A saturated head on its neck, in the shell of a cup that opens towards the neck.
cv::Mat1f film_of_head() {
  cv::Mat1f film(600, 600);
  for (int y = 0; y < film.rows; ++y) {
    for (int x = 0; x < film.cols; ++x) {
      const Vec2 p(x, y);
      const Vec2 q = p - kHead.centre;
      const double head = kHead.radius - q.norm();
      const double open = 40.0 - kNeck.dot(p - kCup.centre);
      const double cup = std::min(kCup.radius - (p - kCup.centre).norm(), open);
      const double along = kNeck.dot(q);
      const double neck = std::min(50.0 - std::abs(kNeck.x() * q.y() - kNeck.y() * q.x()), along);
      film(y, x) = static_cast<float>(metal(std::max({head, cup, neck})));
    }
  }
  return film;
}

// A circle through the head's rim on one side of the neck and the cup's border on the other.
TEST(HeadRim, TellsAHeadFromACircleThatLeansOnTheCup) {
  const cv::Mat1f film = film_of_head();
  EXPECT_GT(rim_beside_neck(film, kHead, kNeck, kMm), 0.8);
  EXPECT_LT(rim_beside_neck(film, {{322.0, 278.0}, 180.0}, kNeck, kMm), 0.3);
}

TEST(HeadRim, FindsTheHeadFromSuchACircle) {
  const auto found = circle_beside_neck(film_of_head(), {{322.0, 278.0}, 180.0}, kNeck, kMm);
  ASSERT_TRUE(found.has_value());
  EXPECT_LT((found->centre - kHead.centre).norm(), 1.0);
  EXPECT_NEAR(found->radius, kHead.radius, 1.0);
}

TEST(HeadRim, FindsNoneWhereNothingFalls) {
  const cv::Mat1f grey(600, 600, 500.0F);
  EXPECT_DOUBLE_EQ(rim_beside_neck(grey, kHead, kNeck, kMm), 0.0);
  EXPECT_FALSE(circle_beside_neck(grey, kHead, kNeck, kMm).has_value());
}

}  // namespace
}  // namespace tidemark::anatomy
