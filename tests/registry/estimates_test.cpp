#include "tidemark/registry/estimates.h"

#include <gtest/gtest.h>

#include <limits>
#include <vector>

#include "registry/reference_values.h"

namespace tidemark::registry {
namespace {

TEST(Location, AgreesWithR) {
  std::vector<double> values;
  for (const auto& row : read_table("statistics/sample.csv"))
    values.push_back(std::stod(row.at("value")));
  const auto location = location_of(values);
  ASSERT_TRUE(location);
  EXPECT_EQ(location->n, 23U);
  expect_digits(location->mean, reference("sample.mean"), 9, "mean");
  expect_digits(*location->sd, reference("sample.sd"), 9, "sd");
  expect_digits(location->mean_interval->low, reference("sample.mean_interval.0"), 9, "t.test");
  expect_digits(location->mean_interval->high, reference("sample.mean_interval.1"), 9, "t.test");
  expect_digits(location->median, reference("sample.median"), 9, "median");
  expect_digits(location->median_interval->low, reference("sample.median_interval.0"), 9, "qbinom");
  expect_digits(location->median_interval->high, reference("sample.median_interval.1"), 9,
                "qbinom");
  expect_digits(location->lower_quartile, reference("sample.quartiles.0"), 9, "quantile type 7");
  expect_digits(location->upper_quartile, reference("sample.quartiles.1"), 9, "quantile type 7");
}

// Order statistics of the 95 % interval of a median, as in handbook tables of the sign test (n 6: 1
// and 6; 10: 2 and 9; 20: 6 and 15; 50: 18 and 33; from memory, confirmed with R's qbinom).
TEST(Location, MedianIntervalTakesTheTabledOrderStatistics) {
  const std::vector<std::pair<int, std::pair<double, double>>> table{
      {6, {1, 6}}, {10, {2, 9}}, {20, {6, 15}}, {50, {18, 33}}};
  for (const auto& [n, ends] : table) {
    std::vector<double> ranks;
    for (int i = n; i >= 1; --i) ranks.push_back(i);
    const auto location = location_of(ranks);
    ASSERT_TRUE(location && location->median_interval) << n;
    EXPECT_EQ(location->median_interval->low, ends.first) << n;
    EXPECT_EQ(location->median_interval->high, ends.second) << n;
  }
}

TEST(Location, SaysNothingThatTheDataDoNotBear) {
  EXPECT_FALSE(location_of({}));
  EXPECT_FALSE(location_of(std::vector{1.0, std::numeric_limits<double>::quiet_NaN()}));
  const auto one = location_of(std::vector{1.5});
  ASSERT_TRUE(one);
  EXPECT_EQ(one->median, 1.5);
  EXPECT_FALSE(one->sd);
  EXPECT_FALSE(one->mean_interval);
  EXPECT_FALSE(one->median_interval);
  EXPECT_FALSE(location_of(std::vector{1.0, 2.0, 3.0, 4.0, 5.0})->median_interval);
}

TEST(Share, AgreesWithBinomTestOfR) {
  for (const auto& [count, of] :
       std::vector<std::pair<std::size_t, std::size_t>>{{0, 10}, {3, 17}, {17, 17}, {250, 1000}}) {
    const auto share = share_of(count, of);
    ASSERT_TRUE(share);
    const std::string name = "share." + std::to_string(count) + "." + std::to_string(of);
    EXPECT_NEAR(share->interval.low, reference(name + ".0"), 1e-9) << name;
    EXPECT_NEAR(share->interval.high, reference(name + ".1"), 1e-9) << name;
  }
}

TEST(Share, OfNothingIsAbsentNotZero) {
  EXPECT_FALSE(share_of(0, 0));
  EXPECT_FALSE(share_of(3, 2));
}

}  // namespace
}  // namespace tidemark::registry
