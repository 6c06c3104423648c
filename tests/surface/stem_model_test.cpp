#include "tidemark/surface/stem_model.h"

#include <gtest/gtest.h>

#include <cmath>

#include "drawn_stem.h"

namespace tidemark::surface {
namespace {

using test::kDegree;

double angle_deg(const Vec3& a, const Vec3& b) {
  return std::atan2(a.cross(b).norm(), a.dot(b)) / kDegree;
}

/// Expected numbers: those the stem was drawn with (tests/surface/drawn_stem.h).
void expect_drawn(const StemModel& stem, const test::Drawn& d, double front) {
  EXPECT_NEAR(stem.tip.y(), d.length_mm, 0.5);
  EXPECT_NEAR(stem.shoulder.x(), -13.0, 0.5);
  ASSERT_TRUE(stem.neck.has_value());
  Vec3 way = d.neck_direction;
  EXPECT_LT(angle_deg(stem.neck->direction, way), 0.7);
  const Vec3 end = d.neck_root + d.neck_end_mm * d.neck_direction;
  EXPECT_LT((stem.neck->end - end).norm(), 1.5);
  EXPECT_NEAR(stem.front_back_mm, front, 0.3);
}

TEST(FindStem, FindsAxisNeckAndSideInAnyFrame) {
  const test::Drawn drawn;
  for (const double mirror : {1.0, -1.0}) {
    const auto stem = find_stem(test::elsewhere(test::drawn_mesh(drawn), mirror));
    ASSERT_TRUE(stem.has_value()) << stem.error().sentence();
    expect_drawn(*stem, drawn, 0.0);
    EXPECT_GT(signed_volume(stem->mesh), 0.0);
  }
}

TEST(FindStem, TellsFrontFromBack) {
  const test::Drawn bowed{.bow_mm = 5.0};
  const auto right = find_stem(test::elsewhere(test::drawn_mesh(bowed)));
  const auto left = find_stem(test::elsewhere(test::drawn_mesh(bowed), -1.0));
  ASSERT_TRUE(right && left);
  EXPECT_GT(right->front_back_mm, 0.5);
  const auto middle = [](const Mesh& mesh) {  // of the points near the shoulder
    Vec3 sum = Vec3::Zero();
    int n = 0;
    for (const Vec3& p : mesh.points) {
      if (p.y() < 5.0 || p.y() > 15.0 || p.x() > 10.0) continue;
      sum += p;
      ++n;
    }
    return Vec3(sum / n);
  };
  EXPECT_LT(middle(right->mesh).z(), -1.0);  // forward, as drawn
  EXPECT_GT(middle(left->mesh).z(), 1.0);
  EXPECT_NEAR(middle(mirrored(*left).mesh).z(), middle(right->mesh).z(), 1e-3);
}

TEST(FindStem, FindsTheBall) {
  const test::Drawn with_ball{.ball_radius_mm = 16.0};
  const auto stem = find_stem(test::elsewhere(test::drawn_mesh(with_ball)));
  ASSERT_TRUE(stem.has_value()) << stem.error().sentence();
  ASSERT_TRUE(stem->ball.has_value());
  EXPECT_NEAR(stem->ball->radius_mm, 16.0, 0.05);
  EXPECT_LT((stem->ball->centre - with_ball.head()).norm(), 0.5);
}

TEST(FindStem, StandsNoise) {
  const test::Drawn drawn;
  Mesh noisy = test::elsewhere(test::drawn_mesh(drawn));
  unsigned state = 1;
  for (Vec3& p : noisy.points) {
    for (int k = 0; k < 3; ++k) {
      state = state * 1664525U + 1013904223U;  // Numerical Recipes, from memory
      p(k) += 0.35 * (static_cast<double>(state >> 8U) / 16777216.0 - 0.5);  // SD 0.1 mm
    }
  }
  const auto stem = find_stem(noisy);
  ASSERT_TRUE(stem.has_value()) << stem.error().sentence();
  ASSERT_TRUE(stem->neck.has_value());
  EXPECT_LT(angle_deg(stem->neck->direction, drawn.neck_direction), 2.0);
}

// Where its head stands is not known of a stem whose neck is flat, so that it cannot be laid.
TEST(FindStem, RefusesAStemWithoutARoundNeckOrABall) {
  Mesh flat = test::drawn_mesh({});
  for (Vec3& p : flat.points) {
    if (p.x() > 18.0) p.z() *= 0.3;
  }
  const auto stem = find_stem(test::elsewhere(flat));
  ASSERT_FALSE(stem.has_value());
  EXPECT_NE(stem.error().wrong.find("round neck"), std::string::npos) << stem.error().sentence();
}

TEST(FindStem, RefusesWhatIsNoStem) {
  const auto ball = phantom::sphere_mesh(Vec3::Zero(), 40.0, 48);
  const auto rod =
      phantom::bar_mesh(std::vector<Vec3>{{0, 0, 0}, {0, 50, 0}, {0, 100, 0}}, 6.0, 40);
  for (const auto& mesh : {ball, rod}) {
    const auto stem = find_stem({mesh.points, mesh.triangles});
    ASSERT_FALSE(stem.has_value());
    EXPECT_EQ(stem.error().kind, ErrorKind::kBadInput);
  }
}

}  // namespace
}  // namespace tidemark::surface
