#include "tidemark/assessment/probability.h"

#include <gtest/gtest.h>

#include <string>

namespace tidemark::assessment {
namespace {

struct Row {
  double probability;
  std::string text;
};

// By hand: one decimal from 1 to 10 and from 90 to 99 %, towards 50 %. 0.9488 is 1.99 mm with u 0.3
// mm against 1.5 mm, Phi(1.633) (printed table of the normal distribution).
TEST(PercentText, WhatFallsShortOfAVerdictDoesNotReadAsEnough) {
  for (const Row& row :
       {Row{0.5, "50 %"}, Row{0.627, "63 %"}, Row{0.9488, "94.8 %"}, Row{0.94999, "94.9 %"},
        Row{0.95, "95.0 %"}, Row{0.0501, "5.1 %"}, Row{0.05, "5.0 %"}, Row{0.9897, "98.9 %"},
        Row{0.9901, "more than 99 %"}, Row{1.0, "more than 99 %"}, Row{0.0102, "1.1 %"},
        Row{0.0099, "less than 1 %"}, Row{0.0, "less than 1 %"}}) {
    EXPECT_EQ(percent_text(row.probability), row.text) << row.probability;
  }
}

TEST(ToldProbability, IsNeverCertainty) {
  EXPECT_EQ(told_probability(1.0 - 1e-6), 0.9999);
  EXPECT_EQ(told_probability(0.0), 0.0001);
  EXPECT_EQ(told_probability(0.3), 0.3);
}

}  // namespace
}  // namespace tidemark::assessment
