#include "tidemark/core/circle_fit.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "core/simulated.h"
#include "tidemark/core/statistics.h"

namespace tidemark {
namespace {

struct FitRow {
  std::string name;
  std::string source;
  std::vector<Vec2> points;
  double x, y, radius, sum_of_squares, tolerance;

  friend void PrintTo(const FitRow& row, std::ostream* os) { *os << row.source; }
};

class CircleFitTable : public testing::TestWithParam<FitRow> {};

TEST_P(CircleFitTable, MatchesSource) {
  const FitRow& row = GetParam();
  const auto fit = fit_circle(row.points);
  ASSERT_TRUE(fit.has_value()) << fit.error().sentence();
  EXPECT_NEAR(fit->circle.centre.x(), row.x, row.tolerance);
  EXPECT_NEAR(fit->circle.centre.y(), row.y, row.tolerance);
  EXPECT_NEAR(fit->circle.radius, row.radius, row.tolerance);
  const auto n = static_cast<double>(row.points.size());
  EXPECT_NEAR(fit->rms_residual * fit->rms_residual * n, row.sum_of_squares, row.tolerance);
  EXPECT_EQ(fit->points, static_cast<int>(row.points.size()));
  EXPECT_EQ(fit->degrees_of_freedom, fit->points - 3);
}

const std::vector<Vec2> kPublished{{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}};
const std::vector<Vec2> kSecondSet{{0.7, 4},    {3.3, 4.7}, {5.6, 4},    {7.5, 1.3},
                                   {6.4, -1.1}, {4.4, -3},  {0.3, -2.5}, {-1.1, 1.3}};

INSTANTIATE_TEST_SUITE_P(
    Sources, CircleFitTable,
    testing::Values(
        FitRow{"GanderGolubStrebel1994",
               "Gander, Golub, Strebel, BIT 34 (1994) 558, geometric fit (printed to 4 decimals; "
               "more digits by a second computation)",
               kPublished, 4.739782, 2.983533, 4.714226, 1.227599, 5e-7},
        FitRow{"EightPoints", "second set, geometric fit, computed independently (derived)",
               kSecondSet, 3.043238, 0.745678, 4.105856, 0.295948, 5e-7},
        FitRow{"IntegerPointsOnCircle",
               "derived: 3-4-5 triangles about (10, -20), far from the origin",
               {{13, -16}, {7, -16}, {10, -25}, {15, -20}},
               10,
               -20,
               5,
               0,
               1e-9}),
    [](const auto& row) { return row.param.name; });

// Derived: moving, turning and scaling the points does the same to circle and covariance.
TEST(CircleFit, FollowsASimilarity) {
  const Rigid2 b_from_a{0.7, Vec2(1000.0, -2000.0)};
  const double scale = 30.0;
  std::vector<Vec2> moved;
  for (const Vec2& p : kPublished) moved.push_back(b_from_a.apply(scale * p));
  const auto plain = fit_circle(kPublished);
  const auto fit = fit_circle(moved);
  ASSERT_TRUE(plain.has_value() && fit.has_value());
  EXPECT_LT((fit->circle.centre - b_from_a.apply(scale * plain->circle.centre)).norm(), 1e-8);
  EXPECT_NEAR(fit->circle.radius, scale * plain->circle.radius, 1e-8);
  Eigen::Matrix3d turn = Eigen::Matrix3d::Identity();
  turn.topLeftCorner<2, 2>() = b_from_a.rotation();
  const Eigen::Matrix3d expected = scale * scale * turn * plain->covariance * turn.transpose();
  EXPECT_TRUE(fit->covariance.isApprox(expected, 1e-6));
}

// Derived: at these four points J'J = diag(2, 2, 4) and s = 2e, whatever the radius.
TEST(CircleFit, UncertaintyIsTheOneWorkedByHand) {
  const double e = 0.1;
  const std::vector<Vec2> points{{5 + e, 0}, {-5 - e, 0}, {0, 5 - e}, {0, e - 5}};
  const auto fit = fit_circle(points);
  ASSERT_TRUE(fit.has_value());
  EXPECT_NEAR(fit->sigma, 2 * e, 1e-9);
  EXPECT_NEAR(fit->u()(0), std::sqrt(2.0) * e, 1e-9);
  EXPECT_NEAR(fit->u()(2), e, 1e-9);
}

// With the radius of the free fit given, its centre is the minimum of the smaller problem too, and
// the centre is known better (or equally well).
TEST(CircleFitWithRadius, FindsTheSameCentreForTheFittedRadius) {
  const auto free = fit_circle(kPublished);
  ASSERT_TRUE(free.has_value());
  const auto fixed = fit_circle_with_radius(kPublished, free->circle.radius);
  ASSERT_TRUE(fixed.has_value());
  EXPECT_LT((fixed->circle.centre - free->circle.centre).norm(), 1e-6);
  EXPECT_EQ(fixed->circle.radius, free->circle.radius);
  EXPECT_EQ(fixed->degrees_of_freedom, 4);
  EXPECT_EQ(fixed->u()(2), 0.0);
  EXPECT_LT(fixed->u()(1), free->u()(1));
}

// Derived: four points on the axes at 5 + e: J'J = diag(2, 2), SSR = 4 e^2, two degrees of freedom.
TEST(CircleFitWithRadius, UncertaintyIsTheOneWorkedByHand) {
  const double e = 0.1;
  const std::vector<Vec2> points{{5 + e, 0}, {-5 - e, 0}, {0, 5 + e}, {0, -e - 5}};
  const auto fit = fit_circle_with_radius(points, 5.0);
  ASSERT_TRUE(fit.has_value());
  EXPECT_LT(fit->circle.centre.norm(), 1e-9);
  EXPECT_NEAR(fit->u()(0), e, 1e-9);
}

TEST(CircleFitWithRadius, FindsTheCentreOfAShortArc) {
  Random random(11);
  const Circle2 truth{{900.0, 600.0}, 110.0};
  const auto points = simulated::arc(truth, 25.0, 60, 0.3, random);
  const auto fit = fit_circle_with_radius(points, truth.radius);
  ASSERT_TRUE(fit.has_value());
  EXPECT_LT(std::abs(fit->circle.centre.x() - truth.centre.x()), 4 * fit->u()(0));
  EXPECT_LT(std::abs(fit->circle.centre.y() - truth.centre.y()), 4 * fit->u()(1));
}

/// Many fits of simulated arcs: mean error and scatter of the radius, and mean stated u.
struct Coverage {
  double bias = 0.0, scatter = 0.0, stated_u = 0.0;
};

Coverage radius_coverage(double degrees, const CircleFitOptions& options, int strays) {
  constexpr int kRuns = 400;
  const Circle2 truth{{1000.0, 650.0}, 113.0};
  std::vector<double> radius;
  std::vector<double> u;
  Random random(20240302);
  for (int run = 0; run < kRuns; ++run) {
    auto points = simulated::arc(truth, degrees, 120, 0.5, random);
    for (int k = 0; k < strays; ++k) {
      points[static_cast<std::size_t>(7 * k)] += Vec2(random.uniform(8, 40), random.uniform(8, 40));
    }
    const auto fit = fit_circle(points, options);
    if (!fit) continue;
    radius.push_back(fit->circle.radius);
    u.push_back(fit->u()(2));
  }
  EXPECT_EQ(radius.size(), static_cast<std::size_t>(kRuns));
  return {mean(radius).value() - truth.radius, standard_deviation(radius).value(), mean(u).value()};
}

// The scatter of 400 fits is itself known to 1 / sqrt(2 * 399) = 3.5 %: four times that is allowed,
// and the bias may be four standard errors of the mean (derived).
TEST(CircleFit, StatedUncertaintyIsTheScatterOfManyFits) {
  for (const double degrees : {360.0, 180.0, 90.0}) {
    for (const Loss loss : {Loss::kSquared, Loss::kHuber, Loss::kTukey}) {
      const Coverage found = radius_coverage(degrees, {.loss = loss}, 0);
      EXPECT_NEAR(found.stated_u / found.scatter, 1.0, 0.14) << degrees;
      EXPECT_LT(std::abs(found.bias), 4 * found.scatter / 20.0) << degrees;
    }
  }
}

// Strays lie on one side only, the worst case. The bisquare is as good as without them; Huber's
// loss is pulled a little (up to about one sigma of a point here), least squares is useless.
TEST(CircleFit, BisquareIgnoresStrayPoints) {
  const Coverage tukey = radius_coverage(240.0, {.loss = Loss::kTukey}, 12);
  EXPECT_LT(std::abs(tukey.bias), 4 * tukey.scatter / 20.0);
  EXPECT_NEAR(tukey.stated_u / tukey.scatter, 1.0, 0.14);
  EXPECT_GT(std::abs(radius_coverage(240.0, {.loss = Loss::kSquared}, 12).bias),
            10 * tukey.scatter);
}

TEST(CircleFit, WeightsNameTheStrayPoints) {
  Random random(5);
  auto points = simulated::arc({{0, 0}, 50.0}, 300.0, 80, 0.2, random);
  points[10] += Vec2(15, 0);
  const auto fit = fit_circle(points, {.loss = Loss::kTukey});
  ASSERT_TRUE(fit.has_value());
  ASSERT_EQ(fit->weights.size(), points.size());
  EXPECT_EQ(fit->weights[10], 0.0);
  EXPECT_GT(*std::max_element(fit->weights.begin(), fit->weights.end()), 0.9);
}

// Derived: points on a circle but for one: the bisquare leaves the one out and the fit is exact.
TEST(CircleFit, ExactPointsWithOneStrayGiveTheExactCircle) {
  std::vector<Vec2> points;
  for (int i = 0; i < 12; ++i) points.emplace_back(3 + 5 * std::cos(i), 4 + 5 * std::sin(i));
  points.emplace_back(20, 4);
  const auto fit = fit_circle(points, {.loss = Loss::kTukey});
  ASSERT_TRUE(fit.has_value()) << fit.error().sentence();
  EXPECT_LT((fit->circle.centre - Vec2(3, 4)).norm(), 1e-8);
  EXPECT_NEAR(fit->circle.radius, 5.0, 1e-8);
}

TEST(CircleFit, AStartNearTheAnswerSavesAHalfSpoiltSet) {
  Random random(6);
  const Circle2 truth{{100, 200}, 60.0};
  auto points = simulated::arc(truth, 180.0, 60, 0.3, random);
  const auto other = simulated::arc({{100, 200}, 85.0}, 100.0, 25, 0.3, random);
  points.insert(points.end(), other.begin(), other.end());
  const auto fit = fit_circle(points, {.loss = Loss::kTukey, .start = Circle2{{101, 199}, 59.0}});
  ASSERT_TRUE(fit.has_value()) << fit.error().sentence();
  EXPECT_NEAR(fit->circle.radius, 60.0, 5 * fit->u()(2));
}

struct RefusalRow {
  std::string name;
  std::vector<Vec2> points;
  ErrorKind kind;

  friend void PrintTo(const RefusalRow& row, std::ostream* os) { *os << row.name; }
};

class CircleFitRefusal : public testing::TestWithParam<RefusalRow> {};

TEST_P(CircleFitRefusal, SaysWhy) {
  const auto fit = fit_circle(GetParam().points);
  ASSERT_FALSE(fit.has_value());
  EXPECT_EQ(fit.error().kind, GetParam().kind) << fit.error().sentence();
  EXPECT_FALSE(fit.error().remedy.empty());
}

INSTANTIATE_TEST_SUITE_P(
    Rows, CircleFitRefusal,
    testing::Values(
        RefusalRow{"ThreePoints", {{0, 0}, {1, 0}, {0, 1}}, ErrorKind::kBadInput},
        RefusalRow{"NotFinite", {{0, 0}, {1, 0}, {0, 1}, {NAN, 1}}, ErrorKind::kBadInput},
        RefusalRow{"OnALine", {{0, 0}, {1, 1}, {2, 2}, {3, 3}}, ErrorKind::kCannotTell},
        RefusalRow{"AllTheSame", {{2, 2}, {2, 2}, {2, 2}, {2, 2}}, ErrorKind::kCannotTell},
        RefusalRow{"NearlyALine",
                   {{0, 0.01}, {1, -0.01}, {2, 0.012}, {3, -0.011}, {4, 0.008}, {5, 0.002}},
                   ErrorKind::kCannotTell}),
    [](const auto& row) { return row.param.name; });

TEST(CircleFitWithRadius, RefusesARadiusThatIsNotPositive) {
  for (const double radius : {0.0, -5.0, std::numeric_limits<double>::quiet_NaN(),
                              std::numeric_limits<double>::infinity()}) {
    const auto fit = fit_circle_with_radius(kPublished, radius);
    ASSERT_FALSE(fit.has_value());
    EXPECT_EQ(fit.error().kind, ErrorKind::kBadInput);
  }
}

}  // namespace
}  // namespace tidemark
