#include "tidemark/core/monte_carlo.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "tidemark/core/statistics.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark {
namespace {

const double kHalfWidth = std::sqrt(3.0);  // a rectangle of this half-width has u = 1

struct AdditiveRow {
  std::string name;
  std::function<double(Random&)> draw;
  double u, half_interval;
  std::string source;
  friend void PrintTo(const AdditiveRow& row, std::ostream* os) { *os << row.source; }
};

class AdditiveModel : public testing::TestWithParam<AdditiveRow> {};

TEST_P(AdditiveModel, MatchesJcgm101) {
  const AdditiveRow& row = GetParam();
  const auto result = monte_carlo(row.draw, {.seed = 2024, .significant_digits = 3});
  ASSERT_TRUE(result.has_value()) << result.error().sentence();
  // The procedure promises its own tolerance at about two standard deviations: twice that here.
  const double allowed = 2 * result->tolerance;
  EXPECT_LE(allowed, 0.11);
  EXPECT_NEAR(result->mean, 0.0, allowed);
  EXPECT_NEAR(result->u, row.u, allowed);
  EXPECT_NEAR(result->low, -row.half_interval, allowed);
  EXPECT_NEAR(result->high, row.half_interval, allowed);
}

double rectangular(Random& random, double u) {
  return random.uniform(-u * kHalfWidth, u * kHalfWidth);
}

INSTANTIATE_TEST_SUITE_P(
    Cases, AdditiveModel,
    testing::Values(
        AdditiveRow{"FourNormal",
                    [](Random& r) { return r.normal() + r.normal() + r.normal() + r.normal(); },
                    2.0, 3.9199, "JCGM 101:2008, 9.2.2, four normal inputs (digits derived)"},
        AdditiveRow{"FourRectangular",
                    [](Random& r) {
                      double sum = 0.0;
                      for (int i = 0; i < 4; ++i) sum += rectangular(r, 1.0);
                      return sum;
                    },
                    2.0, 3.8794, "JCGM 101:2008, 9.2.3, four rectangular inputs (digits derived)"},
        AdditiveRow{"OneDominates",
                    [](Random& r) {
                      double sum = rectangular(r, 10.0);
                      for (int i = 0; i < 3; ++i) sum += rectangular(r, 1.0);
                      return sum;
                    },
                    10.1489, 17.02, "JCGM 101:2008, 9.2.4, one input dominates"}),
    [](const auto& row) { return row.param.name; });

// JCGM 101:2008, 9.2.4: with one dominant rectangular input the GUM's normal interval, 19.9, is
// wider than the true one by more than the numerical tolerance: the GUM is not validated.
TEST(MonteCarlo, ShowsWhereTheGumIntervalFails) {
  const std::vector<Contribution> inputs{{1, 1}, {1, 1}, {1, 1}, {1, 10}};
  const double gum = measured(0.0, combine(inputs).u).u95;
  EXPECT_NEAR(gum, 19.9, 0.05);
}

TEST(MonteCarlo, TheSameSeedGivesTheSameResult) {
  const auto draw = [](Random& random) { return std::exp(random.normal()); };
  const auto first = monte_carlo(draw, {.seed = 5});
  const auto again = monte_carlo(draw, {.seed = 5});
  const auto other = monte_carlo(draw, {.seed = 6});
  ASSERT_TRUE(first && again && other);
  EXPECT_EQ(first->mean, again->mean);
  EXPECT_EQ(first->high, again->high);
  EXPECT_EQ(first->draws, again->draws);
  EXPECT_NE(first->mean, other->mean);
}

TEST(MonteCarlo, AConstantIsExactAfterTwoBatches) {
  const auto result = monte_carlo([](Random&) { return 4.5; });
  ASSERT_TRUE(result.has_value());
  EXPECT_EQ(result->mean, 4.5);
  EXPECT_EQ(result->u, 0.0);
  EXPECT_EQ(result->draws, 20'000);
}

TEST(MonteCarlo, SaysWhyItCannot) {
  const auto draw = [](Random& random) { return random.uniform(); };
  EXPECT_EQ(monte_carlo(draw, {.coverage = 1.0}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(monte_carlo(draw, {.max_batches = 1}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(monte_carlo([](Random&) { return NAN; }).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(monte_carlo(draw, {.significant_digits = 6, .max_batches = 3}).error().kind,
            ErrorKind::kNotConverged);
}

// JCGM 101:2008, 7.9.2, examples: 0.035 g with 2 digits = 35e-3 -> 0.0005; 2 K with 1 digit -> 0.5.
TEST(NumericalTolerance, IsHalfOfTheLastDigit) {
  EXPECT_NEAR(numerical_tolerance(0.0351, 2), 0.0005, 1e-15);
  EXPECT_NEAR(numerical_tolerance(2.0, 1), 0.5, 1e-15);
  EXPECT_NEAR(numerical_tolerance(-123.0, 2), 5.0, 1e-12);
  EXPECT_EQ(numerical_tolerance(0.0, 2), 0.0);
}

// C++ standard, [rand.predef]: the 10000th number of a default mt19937_64 (seed 5489) is
// 9981545732273789042; the uniform number is its upper 53 bits.
TEST(Random, UniformNumbersAreThoseOfTheStandardEngine) {
  Random random(5489);
  double last = 0.0;
  for (int i = 0; i < 10'000; ++i) last = random.uniform();
  EXPECT_EQ(last, static_cast<double>(9981545732273789042ULL >> 11U) * 0x1.0p-53);
}

// Moments of N(0, 1): mean 0, sd 1, skewness 0, kurtosis 3; four standard errors of 200,000 draws
// (1, 1 / sqrt(2), sqrt(6), sqrt(24), each over sqrt(n)). Successive numbers are uncorrelated.
TEST(Random, NormalNumbersHaveTheMomentsOfTheNormalDistribution) {
  Random random(1);
  std::vector<double> draws(200'000);
  for (double& value : draws) value = random.normal();
  const double error = 4.0 / std::sqrt(static_cast<double>(draws.size()));
  EXPECT_NEAR(mean(draws).value(), 0.0, error);
  EXPECT_NEAR(standard_deviation(draws).value(), 1.0, error / std::sqrt(2.0));
  double third = 0.0;
  double fourth = 0.0;
  for (const double v : draws) {
    third += v * v * v / static_cast<double>(draws.size());
    fourth += v * v * v * v / static_cast<double>(draws.size());
  }
  EXPECT_NEAR(third, 0.0, error * std::sqrt(15.0));   // variance of x^3 is 15
  EXPECT_NEAR(fourth, 3.0, error * std::sqrt(96.0));  // variance of x^4 is 105 - 9
  EXPECT_NEAR(lag1_autocorrelation(draws).value(), 0.0, error);
  EXPECT_EQ(Random(3).normal(10.0, 0.0), 10.0);
}

}  // namespace
}  // namespace tidemark
