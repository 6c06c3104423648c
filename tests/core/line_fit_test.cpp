#include "tidemark/core/line_fit.h"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "core/simulated.h"
#include "testdata.h"
#include "tidemark/core/statistics.h"

namespace tidemark {
namespace {

/// x and y of Pearson's ten points (the weights of York do not apply: errors equal in x and y).
std::vector<Vec2> pearson_points() {
  std::ifstream in(tidemark::test::testdata().string() +
                   "/worked-examples/pearson-1901-york-1966.csv");
  std::string line;
  std::getline(in, line);  // names of the columns
  std::vector<Vec2> points;
  double x = 0.0;
  double y = 0.0;
  char comma = ' ';
  while (in >> x >> comma >> y && std::getline(in, line)) points.emplace_back(x, y);
  return points;
}

// Source: Pearson, Phil Mag 2 (1901) 559-572: best-fitting line y = 5.784 - 0.5456 x, mean square
// residual 0.2484 or 0.2487 (from memory); the further digits, and the uncertainties s / |along|
// and s / sqrt(n), by a singular value decomposition in NumPy (derived).
TEST(LineFit, MatchesPearson1901) {
  const auto points = pearson_points();
  ASSERT_EQ(points.size(), 10U);
  const auto fit = fit_line(points);
  ASSERT_TRUE(fit.has_value()) << fit.error().sentence();
  const double slope = fit->line.direction.y() / fit->line.direction.x();
  EXPECT_NEAR(slope, -0.5455611975209648, 1e-12);
  EXPECT_NEAR(fit->line.point.y() - slope * fit->line.point.x(), 5.784043774530086, 1e-12);
  EXPECT_NEAR(fit->rms_residual * fit->rms_residual * 10, 0.6185727594370456, 1e-12);
  EXPECT_NEAR(fit->direction_u_rad, 0.03254592542144467, 1e-12);
  EXPECT_NEAR(fit->offset_u, 0.08793269865620565, 1e-12);
  EXPECT_EQ(fit->degrees_of_freedom, 8);
  EXPECT_GT(fit->line.direction.y(), 0.0) << "the direction points distally";
}

// cv::fitLine with DIST_L2 is the same problem, solved in single precision.
TEST(LineFit, AgreesWithOpenCv) {
  Random random(3);
  for (int run = 0; run < 20; ++run) {
    const double angle = random.uniform(0.0, 3.1);
    const Line2 truth{{random.uniform(-50, 50), random.uniform(-50, 50)},
                      {std::cos(angle), std::sin(angle)}};
    const auto points = simulated::stretch(truth, 100.0, 50, 1.0, random);
    std::vector<cv::Point2f> same;
    for (const Vec2& p : points) same.emplace_back(float(p.x()), float(p.y()));
    cv::Vec4f theirs;
    cv::fitLine(same, theirs, cv::DIST_L2, 0, 1e-6, 1e-6);
    const auto fit = fit_line(points);
    ASSERT_TRUE(fit.has_value());
    const Vec2 direction(theirs[0], theirs[1]);
    EXPECT_NEAR(std::abs(direction.dot(fit->line.direction)), 1.0, 1e-5);
    EXPECT_NEAR(signed_distance(fit->line, {theirs[2], theirs[3]}), 0.0, 1e-3);
  }
}

// Derived: points at along = -3, -1, 1, 3 with offsets e, -e, -e, e keep the centroid and the
// direction: S = 20, SSR = 4 e^2, s^2 = 2 e^2.
TEST(LineFit, UncertaintyIsTheOneWorkedByHand) {
  const double e = 0.01;
  const Rigid2 film_from_line{0.3, Vec2(500, 700)};
  std::vector<Vec2> points;
  for (const Vec2& p : {Vec2(e, -3), Vec2(-e, -1), Vec2(-e, 1), Vec2(e, 3)}) {
    points.push_back(film_from_line.apply(p));
  }
  const auto fit = fit_line(points);
  ASSERT_TRUE(fit.has_value());
  EXPECT_LT((fit->line.direction - film_from_line.rotation() * Vec2::UnitY()).norm(), 1e-12);
  EXPECT_LT((fit->line.point - film_from_line.translation).norm(), 1e-9);
  const double s = std::sqrt(2.0) * e;
  EXPECT_NEAR(fit->sigma, s, 1e-12);
  EXPECT_NEAR(fit->direction_u_rad, s / std::sqrt(20.0), 1e-12);
  EXPECT_NEAR(fit->offset_u, s / 2.0, 1e-12);
  EXPECT_NEAR(fit->offset_u_at(10.0), std::hypot(s / 2.0, 10.0 * s / std::sqrt(20.0)), 1e-12);
}

struct Coverage {
  double direction_scatter, direction_u, offset_scatter, offset_u, direction_bias;
};

/// 400 fits: scatter and stated u of the direction, and of the place 80 px beyond the centroid.
Coverage coverage(Loss loss, int strays) {
  const Line2 truth{{800.0, 900.0}, Vec2(0.1, 1.0).normalized()};
  std::vector<double> direction;
  std::vector<double> direction_u;
  std::vector<double> offset;
  std::vector<double> offset_u;
  Random random(77);
  for (int run = 0; run < 400; ++run) {
    auto points = simulated::stretch(truth, 200.0, 60, 0.5, random);
    for (int k = 0; k < strays; ++k) {
      points[static_cast<std::size_t>(k)].x() += random.uniform(6, 30);
    }
    const auto fit = fit_line(points, {.loss = loss});
    if (!fit) continue;
    direction.push_back(angle_between(truth.direction, fit->line.direction));
    direction_u.push_back(fit->direction_u_rad);
    const Vec2 place = truth.point + 80.0 * truth.direction;
    offset.push_back(signed_distance(fit->line, place));
    offset_u.push_back(fit->offset_u_at(along(fit->line, place)));
  }
  EXPECT_EQ(direction.size(), 400U);
  return {standard_deviation(direction).value(), mean(direction_u).value(),
          standard_deviation(offset).value(), mean(offset_u).value(), mean(direction).value()};
}

// Scatter of 400 known to 3.5 %; four times that is allowed (derived).
TEST(LineFit, StatedUncertaintyIsTheScatterOfManyFits) {
  for (const Loss loss : {Loss::kSquared, Loss::kHuber, Loss::kTukey}) {
    const Coverage found = coverage(loss, 0);
    EXPECT_NEAR(found.direction_u / found.direction_scatter, 1.0, 0.14);
    EXPECT_NEAR(found.offset_u / found.offset_scatter, 1.0, 0.14);
  }
}

// Ten strays at one end, on one side: the worst case for a direction.
TEST(LineFit, BisquareIgnoresStrayPoints) {
  const Coverage tukey = coverage(Loss::kTukey, 10);
  EXPECT_LT(std::abs(tukey.direction_bias), 4 * tukey.direction_scatter / 20.0);
  EXPECT_NEAR(tukey.direction_u / tukey.direction_scatter, 1.0, 0.14);
  EXPECT_NEAR(tukey.offset_u / tukey.offset_scatter, 1.0, 0.14);
  const Coverage squared = coverage(Loss::kSquared, 10);
  EXPECT_GT(std::abs(squared.direction_bias), 10 * tukey.direction_scatter);
}

TEST(LineFit, LevelLinesPointRight) {
  const auto fit = fit_line(std::vector<Vec2>{{3, 5}, {2, 5}, {0, 5}, {1, 5}});
  ASSERT_TRUE(fit.has_value()) << fit.error().sentence();
  EXPECT_NEAR(fit->line.direction.x(), 1.0, 1e-12);
  EXPECT_NEAR(fit->direction_u_rad, 0.0, 1e-12);
}

TEST(LineFit, SaysWhyItCannot) {
  using Points = std::vector<Vec2>;
  EXPECT_EQ(fit_line(Points{{0, 0}, {1, 1}}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(fit_line(Points{{0, 0}, {1, 1}, {2, NAN}}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(fit_line(Points{{4, 4}, {4, 4}, {4, 4}}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(fit_line(Points{{0, 0}, {1, 0}, {0, 1}, {1, 1}}).error().kind, ErrorKind::kCannotTell);
}

}  // namespace
}  // namespace tidemark
