#include "../../modules/anatomy/src/faint_head.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

namespace tidemark::anatomy {
namespace {

const Vec2 kNeck = Vec2(-1.0, 1.2).normalized();
const Circle2 kHead{{300.3, 319.6}, 105.0};
const Circle2 kCup{{303.0, 314.0}, 190.0};
constexpr double kNeckPx = 72.0;

double soft(double inside) { return 0.5 * std::erfc(-inside / (2.0 * std::numbers::sqrt2)); }

/// A steep shell whose mouth covers the head: all of it bright, the head by `head` brighter, grain
/// of 12.
cv::Mat1f film_of_cup(double head, unsigned seed) {
  std::mt19937 generator(seed);
  std::normal_distribution<double> grain(0.0, 12.0);
  cv::Mat1f film(640, 640);
  for (int y = 0; y < film.rows; ++y) {
    for (int x = 0; x < film.cols; ++x) {
      const Vec2 p(x, y);
      const Vec2 q = p - kHead.centre;
      const double along = kNeck.dot(q);
      const double aside = std::abs(kNeck.x() * q.y() - kNeck.y() * q.x());
      const double metal = std::max(kCup.radius - (p - kCup.centre).norm(),
                                    std::min({0.5 * kNeckPx - aside, along, 330.0 - along}));
      const double grey =
          100.0 + 800.0 * soft(metal) + head * soft(kHead.radius - q.norm()) + grain(generator);
      film(y, x) = static_cast<float>(grey);
    }
  }
  return film;
}

const Line2 kNeckLine{kHead.centre + 250.0 * kNeck, kNeck};

TEST(FaintHead, IsFoundWithinTheShadowOfItsCup) {
  for (const unsigned seed : {1U, 2U, 3U}) {
    const auto found = faint_head(film_of_cup(30.0, seed), kCup, kNeckLine, kNeckPx);
    ASSERT_TRUE(found.has_value());
    EXPECT_GT(found->score, 1.4);
    EXPECT_LT((found->circle.centre - kHead.centre).norm(), 3.0);
    EXPECT_NEAR(found->circle.radius, kHead.radius, 3.0);
  }
}

TEST(FaintHead, IsNotFoundWhereNoneIsSeen) {
  for (const unsigned seed : {1U, 2U, 3U}) {
    const auto found = faint_head(film_of_cup(0.0, seed), kCup, kNeckLine, kNeckPx);
    EXPECT_TRUE(!found || found->score < 1.0) << found->score;
  }
}

TEST(FaintHead, IsNotFoundInOneGrey) {
  EXPECT_FALSE(faint_head(cv::Mat1f(640, 640, 500.0F), kCup, kNeckLine, kNeckPx).has_value());
}

}  // namespace
}  // namespace tidemark::anatomy
