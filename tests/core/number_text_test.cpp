#include "tidemark/core/number_text.h"

#include <gtest/gtest.h>

namespace tidemark {
namespace {

struct DigitsRow {
  double value, u95;
  std::string text;
};

// Rule of the header: two significant digits of u95, at most two decimals. Worked by hand.
TEST(Text, NumbersHaveNoMoreDigitsThanTheirUncertaintyBears) {
  for (const auto& row :
       {DigitsRow{2.104, 0.412, "+2.10 ± 0.41"}, DigitsRow{-2.104, 0.04, "-2.10 ± 0.04"},
        DigitsRow{2.16, 1.34, "+2.2 ± 1.3"}, DigitsRow{2.16, 12.4, "+2 ± 12"},
        DigitsRow{212.6, 130.4, "+213 ± 130"}, DigitsRow{-0.001, 0.41, "+0.00 ± 0.41"},
        DigitsRow{0.0, 0.0, "+0.00 ± 0.00"}, DigitsRow{1.0, 0.994, "+1.00 ± 0.99"},
        DigitsRow{1.0, 0.996, "+1.0 ± 1.0"}, DigitsRow{-0.4, 99.6, "+0 ± 100"}}) {
    EXPECT_EQ(with_uncertainty(row.value, row.u95), row.text);
  }
}

// By hand. Halves that binary fractions hold exactly go to the even digit (IEEE 754).
TEST(Text, FixedTextHasNoNegativeZeroAndManyDigits) {
  EXPECT_EQ(fixed_text(-0.04, 1), "0.0");
  EXPECT_EQ(fixed_text(1234567.0, 2), "1234567.00");
  EXPECT_EQ(fixed_text(0.125, 2), "0.12");
  EXPECT_EQ(signed_text(0.0, 0), "+0");
  EXPECT_EQ(signed_text(-0.4, 1), "-0.4");
}

}  // namespace
}  // namespace tidemark
