#include "tidemark/core/statistics.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "core/nist.h"

namespace tidemark {
namespace {

struct UnivariateRow {
  std::string name;
  std::size_t count;
  double mean_digits, sd_digits, autocorrelation_digits;  // demanded agreement
  std::string reason;

  friend void PrintTo(const UnivariateRow& row, std::ostream* os) { *os << row.name; }
};

class NistUnivariate : public testing::TestWithParam<UnivariateRow> {};

TEST_P(NistUnivariate, AgreesWithTheCertifiedValues) {
  const UnivariateRow& row = GetParam();
  const nist::Univariate set = nist::read_univariate(row.name);
  ASSERT_EQ(set.values.size(), row.count) << "the reader lost data";
  ASSERT_NE(set.sd, 0.0) << "the reader lost a certified value";
  const double mean_digits = nist::digits(mean(set.values).value(), set.mean);
  const double sd_digits = nist::digits(standard_deviation(set.values).value(), set.sd);
  const double r_digits =
      nist::digits(lag1_autocorrelation(set.values).value(), set.autocorrelation);
  RecordProperty("digits", std::to_string(mean_digits) + " " + std::to_string(sd_digits) + " " +
                               std::to_string(r_digits));
  EXPECT_GE(mean_digits, row.mean_digits) << row.reason;
  EXPECT_GE(sd_digits, row.sd_digits) << row.reason;
  EXPECT_GE(r_digits, row.autocorrelation_digits) << row.reason;
}

// The data are decimal fractions; a double holds them to 1.1e-16 of their size, so deviations from
// the mean carry an error of 1.1e-16 |mean| / sd. That bounds the digits of sd and r (derived).
INSTANTIATE_TEST_SUITE_P(
    Sets, NistUnivariate,
    testing::Values(UnivariateRow{"Lew", 200, 14, 14, 14, "printed digits"},
                    UnivariateRow{"Lottery", 218, 14, 14, 14, "printed digits"},
                    UnivariateRow{"Mavro", 50, 14, 12, 12, "mean / sd = 5e3"},
                    UnivariateRow{"Michelso", 100, 14, 12, 12, "mean / sd = 4e3"},
                    UnivariateRow{"NumAcc1", 3, 15, 15, 15, "whole numbers"},
                    UnivariateRow{"NumAcc2", 1001, 14, 14, 14, "mean / sd = 12"},
                    UnivariateRow{"NumAcc3", 1001, 15, 9, 9, "mean / sd = 1e7"},
                    UnivariateRow{"NumAcc4", 1001, 15, 8, 8, "mean / sd = 1e8"}),
    [](const auto& row) { return row.param.name; });

TEST(Statistics, AreAbsentWhereTheyHaveNoMeaning) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  EXPECT_FALSE(mean({}).has_value());
  EXPECT_FALSE(mean(std::vector{1.0, nan}).has_value());
  EXPECT_FALSE(standard_deviation(std::vector{1.0}).has_value());
  EXPECT_FALSE(standard_deviation(std::vector{1.0, nan}).has_value());
  EXPECT_FALSE(lag1_autocorrelation(std::vector{1.0}).has_value());
  EXPECT_FALSE(lag1_autocorrelation(std::vector{2.0, 2.0, 2.0}).has_value());
}

}  // namespace
}  // namespace tidemark
