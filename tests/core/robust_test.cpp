#include "tidemark/core/robust.h"

#include <gtest/gtest.h>

#include <boost/math/distributions/normal.hpp>
#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <cmath>
#include <limits>
#include <vector>

namespace tidemark {
namespace {

TEST(Median, IsTheMiddleOne) {
  EXPECT_EQ(median(std::vector{3.0}), 3.0);
  EXPECT_EQ(median(std::vector{3.0, 1.0, 2.0}), 2.0);
  EXPECT_EQ(median(std::vector{4.0, 1.0, 3.0, 2.0}), 2.5);
  EXPECT_FALSE(median({}).has_value());
  EXPECT_FALSE(median(std::vector{1.0, std::nan("")}).has_value());
}

// Derived: 1, 1, 2, 2, 4, 6, 9 have the median 2, distances 1, 1, 0, 0, 2, 4, 7, median 1.
TEST(MedianAbsoluteDeviation, MatchesTheOneWorkedByHand) {
  EXPECT_EQ(median_absolute_deviation(std::vector{1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0}), 1.0);
}

TEST(MedianAbsoluteDeviation, TimesItsConstantIsSigmaOfANormalDistribution) {
  EXPECT_NEAR(kSigmaPerMad, 1.0 / quantile(boost::math::normal(), 0.75), 1e-14);
}

TEST(WeightedMedian, HasHalfOfTheWeightOnEitherSide) {
  EXPECT_EQ(weighted_median(std::vector{1.0, 2.0, 3.0}, std::vector{1.0, 1.0, 5.0}), 3.0);
  EXPECT_EQ(weighted_median(std::vector{3.0, 1.0, 2.0}, std::vector{1.0, 3.0, 1.0}), 1.0);
  // Derived: 0.25 + 0.25 is exactly half, so it lies between 2 and 7; zero weights do not count.
  EXPECT_EQ(weighted_median(std::vector{7.0, 1.0, 2.0, 5.0}, std::vector{0.5, 0.25, 0.25, 0.0}),
            4.5);
}

TEST(WeightedMedian, WithEqualWeightsIsTheMedian) {
  const std::vector odd{5.0, 2.0, 9.0, 4.0, 7.0};
  const std::vector even{5.0, 2.0, 9.0, 4.0};
  EXPECT_EQ(weighted_median(odd, std::vector(5, 0.5)), median(odd));
  EXPECT_EQ(weighted_median(even, std::vector(4, 0.5)), median(even));
}

TEST(WeightedMedian, IsAbsentWithoutUsableWeights) {
  EXPECT_FALSE(weighted_median(std::vector{1.0}, {}).has_value());
  EXPECT_FALSE(weighted_median(std::vector{1.0}, std::vector{0.0}).has_value());
  EXPECT_FALSE(weighted_median(std::vector{1.0, 2.0}, std::vector{1.0, -1.0}).has_value());
  EXPECT_FALSE(weighted_median(std::vector{std::nan("")}, std::vector{1.0}).has_value());
}

/// Asymptotic efficiency of a location estimate under N(0, 1): (E psi')^2 / E psi^2, where psi is
/// residual times weight. psi' by central difference.
double efficiency(Loss loss) {
  const boost::math::normal standard;
  const auto psi = [&](double r) { return r * robust_weight(loss, r); };
  const auto expectation = [&](auto f) {
    using boost::math::quadrature::gauss_kronrod;
    double sum = 0.0;
    for (double at = -8.0; at < 8.0; at += 0.005) {  // pieces, because psi has corners
      sum += gauss_kronrod<double, 15>::integrate([&](double r) { return f(r) * pdf(standard, r); },
                                                  at, at + 0.005, 0);
    }
    return sum;
  };
  const double h = 1e-5;
  const double slope = expectation([&](double r) { return (psi(r + h) - psi(r - h)) / (2 * h); });
  return slope * slope / expectation([&](double r) { return psi(r) * psi(r); });
}

// Holland and Welsch 1977: both constants are those of 95 % efficiency, printed to 3 decimals.
TEST(RobustWeight, TuningGives95PercentEfficiency) {
  EXPECT_NEAR(efficiency(Loss::kHuber), 0.95, 2e-4);
  EXPECT_NEAR(efficiency(Loss::kTukey), 0.95, 2e-4);
  EXPECT_NEAR(efficiency(Loss::kSquared), 1.0, 1e-6);
}

TEST(RobustWeight, IsOneInTheMiddleAndFallsOutwards) {
  for (const Loss loss : {Loss::kSquared, Loss::kHuber, Loss::kTukey}) {
    EXPECT_EQ(robust_weight(loss, 0.0), 1.0);
    EXPECT_EQ(robust_weight(loss, -2.0), robust_weight(loss, 2.0));
    EXPECT_LE(robust_weight(loss, 3.0), robust_weight(loss, 2.0));
  }
  EXPECT_EQ(robust_weight(Loss::kTukey, 4.7), 0.0);
  EXPECT_EQ(robust_weight(Loss::kTukey, std::numeric_limits<double>::infinity()), 0.0);
  EXPECT_NEAR(robust_weight(Loss::kHuber, 2.69), 0.5, 1e-12);
}

}  // namespace
}  // namespace tidemark
