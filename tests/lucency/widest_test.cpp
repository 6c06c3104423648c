#include "../../modules/lucency/src/widest.h"

#include <gtest/gtest.h>

#include <vector>

namespace tidemark::lucency {
namespace {

std::vector<Measured<Millimetres>> widths_with(double width, const std::vector<double>& u) {
  std::vector<Measured<Millimetres>> out;
  for (const double one : u) out.push_back({{width}, {one}, {1.96 * one}});
  return out;
}

TEST(Widest, IsTheLargestMedianOverFourMillimetres) {
  auto widths = widths_with(1.0, std::vector<double>(20, 0.1));
  for (std::size_t i = 4; i < 12; ++i) widths[i].value = Millimetres{2.0};
  EXPECT_DOUBLE_EQ(widest(widths).value.value, 2.0);
  EXPECT_DOUBLE_EQ(widest(widths).u.value, 0.1);
}

TEST(Widest, AStretchThatIsKnownFarWorseDoesNotStandForTheLine) {
  auto widths = widths_with(1.0, std::vector<double>(20, 0.1));
  for (std::size_t i = 4; i < 12; ++i) widths[i] = {{3.0}, {1.0}, {1.96}};
  EXPECT_DOUBLE_EQ(widest(widths).value.value, 1.0);
}

// Of nine places each stretch of eight holds the four bad ones: mean u 0.3, above 2.5 times the
// usual 0.1. A line that is there has a width all the same.
TEST(Widest, WhereAllStretchesAreBadTheBestKnownOneStands) {
  const auto most = widest(widths_with(1.4, {0.1, 0.1, 0.1, 0.5, 0.5, 0.5, 0.5, 0.1, 0.1}));
  EXPECT_DOUBLE_EQ(most.value.value, 1.4);
  EXPECT_NEAR(most.u.value, 0.3, 1e-12);
  EXPECT_NEAR(most.u95.value, 1.96 * 0.3, 1e-12);
}

TEST(Widest, ShortLinesHaveOneStretch) {
  EXPECT_DOUBLE_EQ(widest(widths_with(0.8, {0.1, 0.4})).value.value, 0.8);
}

}  // namespace
}  // namespace tidemark::lucency
