#include "../../modules/archive/src/item.h"

#include <gtest/gtest.h>

#include <cmath>

namespace tidemark::archive {
namespace {

struct Row {
  double value;
  double u95;
  const char* text;
  const char* source;
};

TEST(NumberText, HasTheDigitsThatTheIntervalBears) {
  const Row rows[] = {
      {2.0963, 0.41, "2.10", "two digits of u: JCGM 100, 7.2.6"},
      {0.9, 1.3, "0.9", "as above"},
      {443.7, 14.2, "444", "as above"},
      {1234.5, 230.0, "1234", "whole numbers are not rounded to tens; ties to even"},
      {0.118213, 0.00171, "0.1182", "as above"},
      {1.0, 0.0995, "1.00", "0.0995 has two digits as 0.10"},
      {-0.04, 0.31, "-0.04", "as above"},
      {-0.001, 0.31, "0.00", "no minus before a zero"},
      {0.5, 0.0, "0.5000", "no interval: as result.json"},
      {1.0, 1e-12, "1.000000", "at most six decimals"},
  };
  for (const Row& row : rows) EXPECT_EQ(number_text(row.value, row.u95), row.text) << row.source;
}

TEST(NumberText, FitsIntoADecimalString) {
  // Value representation DS: 16 characters (PS3.5, 6.2).
  EXPECT_LE(number_text(-12345.678901, 1e-9).size(), 16U);
}

}  // namespace
}  // namespace tidemark::archive
