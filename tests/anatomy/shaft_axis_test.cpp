#include "../../modules/anatomy/src/shaft_axis.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <numbers>

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

struct Cortices {
  StemFrame frame;
  EdgePath lateral;
  EdgePath medial;
};

/// Two cortices 28 mm apart from s = 0 to `to_s` about a middle x(s), every row an edge.
Cortices cortices(const std::function<double(double)>& middle, double to_s = 160.0) {
  Cortices c;
  c.frame.s_first = -20.0;
  c.frame.x_first = -60.0;
  c.frame.mm_per_px = 0.2;
  for (int r = c.frame.row(0.0); r <= c.frame.row(to_s); ++r) {
    const double s = c.frame.s_at(r);
    for (EdgePath* path : {&c.lateral, &c.medial}) {
      if (path->column.empty()) path->first_row = r;
      const double x = middle(s) + (path == &c.lateral ? -14.0 : 14.0);
      path->column.push_back((x - c.frame.x_first) / c.frame.mm);
      path->evidence.push_back(0.9);
    }
  }
  return c;
}

double degrees_of(const Shaft& shaft) {
  return std::atan2(shaft.line_px.direction.x(), shaft.line_px.direction.y()) / kDegree;
}

TEST(FitShaft, IsTheLineThroughTheMiddles) {
  const Cortices c = cortices([](double s) { return 3.0 + 0.02 * s; });
  const auto shaft = fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 2.0});
  ASSERT_TRUE(shaft.has_value());
  EXPECT_NEAR(degrees_of(*shaft), std::atan(0.02) / kDegree, 1e-3);
  EXPECT_LT(shaft->direction_u_rad / kDegree, 0.05);  // a straight shaft does not care where
}

// Derived: of x = c (s - s0)^2 the least-squares line over a stretch has the slope at its middle,
// 2 c (middle - s0), and turns by 2 c a millimetre.
constexpr double kBow = 4e-4;  // 1/mm: 0.5 mm over 70 mm, as real femora have
double bowed(double s) { return kBow * (s - 60.0) * (s - 60.0); }

TEST(FitShaft, ABowedShaftHasTheDirectionOfTheMiddleOfTheStretch) {
  const Cortices c = cortices(bowed);
  const auto shaft = fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 0.0});
  ASSERT_TRUE(shaft.has_value());
  EXPECT_NEAR(degrees_of(*shaft), std::atan(2.0 * kBow * 15.0) / kDegree, 0.01);
}

TEST(FitShaft, WhereTheFilmEndsEarlyTheBowIsCarriedOn) {
  const Cortices c = cortices(bowed, 90.0);  // 20 mm of the stretch are missing
  const auto shaft = fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 0.0});
  ASSERT_TRUE(shaft.has_value());
  EXPECT_NEAR(degrees_of(*shaft), std::atan(2.0 * kBow * 15.0) / kDegree, 0.05);
  // Half of what was carried on, 10 mm, counts: 2 c x 5 mm = 0.23 degrees.
  EXPECT_GT(shaft->direction_u_rad / kDegree, 0.2);
}

TEST(FitShaft, NotKnowingTheStretchCostsWhatTheBowTurns) {
  const Cortices c = cortices(bowed);
  const auto known = fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 0.0});
  const auto vague = fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 8.0});
  ASSERT_TRUE(known.has_value() && vague.has_value());
  const double costs =
      std::sqrt(std::pow(vague->direction_u_rad, 2) - std::pow(known->direction_u_rad, 2));
  EXPECT_NEAR(costs, 2.0 * kBow * 8.0, 0.1 * 2.0 * kBow * 8.0);
}

TEST(FitShaft, APathThatLeavesTheCortexForAStretchIsLeftOut) {
  Cortices c = cortices([](double) { return 0.0; });
  for (int r = c.frame.row(60.0); r < c.frame.row(72.0); ++r) {
    c.medial.column[static_cast<std::size_t>(r - c.medial.first_row)] += 10.0;  // 4 mm
  }
  const auto shaft = fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 2.0});
  ASSERT_TRUE(shaft.has_value());
  EXPECT_NEAR(degrees_of(*shaft), 0.0, 0.02);
}

// An S-shaped middle, as soft parts and metal draw it: the scatter about a line does not show it as
// doubt (rows repeat each other), the cubic's own direction does.
TEST(FitShaft, AnSShapedCourseIsLessSure) {
  const auto s_shaped = [](double s) { return 0.15 * std::sin((s - 75.0) / 35.0 * 3.14159); };
  const Cortices c = cortices(s_shaped);
  const Cortices straight = cortices([](double) { return 0.0; });
  const auto shaft = fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 2.0});
  const auto plain =
      fit_shaft(straight.frame, straight.lateral, straight.medial, {40.0, 110.0, 2.0});
  ASSERT_TRUE(shaft.has_value() && plain.has_value());
  EXPECT_LT(std::abs(degrees_of(*shaft)), 2.0 * shaft->direction_u_rad / kDegree);
  EXPECT_GT(shaft->direction_u_rad, 5.0 * plain->direction_u_rad);
}

TEST(FitShaft, TooLittleOfItGivesNone) {
  const Cortices c = cortices([](double) { return 0.0; }, 62.0);
  EXPECT_FALSE(fit_shaft(c.frame, c.lateral, c.medial, {40.0, 110.0, 2.0}).has_value());
}

}  // namespace
}  // namespace tidemark::anatomy
