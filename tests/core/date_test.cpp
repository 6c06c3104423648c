#include "tidemark/core/date.h"

#include <gtest/gtest.h>

#include <string>

namespace tidemark {
namespace {

struct DateRow {
  std::string name;
  std::string text;
  std::string formatted;

  friend void PrintTo(const DateRow& row, std::ostream* os) { *os << row.text; }
};

class DateForms : public testing::TestWithParam<DateRow> {};

TEST_P(DateForms, AreRead) {
  const auto date = parse_date(GetParam().text);
  ASSERT_TRUE(date.has_value());
  EXPECT_EQ(format_date(*date), GetParam().formatted);
}

INSTANTIATE_TEST_SUITE_P(Rows, DateForms,
                         testing::Values(DateRow{"Iso", "2024-03-02", "2024-03-02"},
                                         DateRow{"Dicom", "20240302", "2024-03-02"},
                                         DateRow{"LeapDay", "2024-02-29", "2024-02-29"},
                                         DateRow{"CenturyLeapDay", "20000229", "2000-02-29"}),
                         [](const auto& row) { return row.param.name; });

class NoDate : public testing::TestWithParam<const char*> {};

TEST_P(NoDate, IsRefused) { EXPECT_FALSE(parse_date(GetParam()).has_value()) << GetParam(); }

INSTANTIATE_TEST_SUITE_P(Rows, NoDate,
                         testing::Values("", "2024", "2024-3-2", "2024-13-01", "2023-02-29",
                                         "1900-02-29", "20240230", "00000000", "2024/03/02",
                                         "2024-03-02 ", " 20240302", "2024030", "202403021",
                                         "-024-03-02", "2024-+3-02", "2024-03-0x", "2024.03.02"));

// Source: Meeus, Astronomical Algorithms, ch. 7 (from memory): Halley's comet passed its perihelion
// on 1910 April 20 and on 1986 February 9, 27 689 days apart; 1991 July 11 plus 10 000 days is
// 2018 November 26.
TEST(DaysBetween, MatchesPublishedExamples) {
  EXPECT_EQ(days_between(*parse_date("1910-04-20"), *parse_date("1986-02-09")), 27689);
  EXPECT_EQ(days_between(*parse_date("1991-07-11"), *parse_date("2018-11-26")), 10000);
}

TEST(DaysBetween, ChangesSignWithTheOrder) {
  EXPECT_EQ(days_between(*parse_date("2024-03-01"), *parse_date("2024-02-28")), -2);
  EXPECT_EQ(days_between(*parse_date("2024-03-01"), *parse_date("2024-03-01")), 0);
}

}  // namespace
}  // namespace tidemark
