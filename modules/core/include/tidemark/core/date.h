#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace tidemark {

/// A day of the proleptic Gregorian calendar. No time of day and no time zone: films carry none
/// that can be trusted.
using Date = std::chrono::year_month_day;

/// Reads "YYYY-MM-DD" (ISO 8601) or "YYYYMMDD" (DICOM value representation DA, PS3.5 6.2). Nothing
/// may stand before or after, spaces included.
/// @return absent when the text has another form or names no day of the calendar (30 February).
[[nodiscard]] std::optional<Date> parse_date(std::string_view text);

/// "YYYY-MM-DD". `date` must be a day of the calendar with a year of four digits.
[[nodiscard]] std::string format_date(Date date);

/// Whole days from one date to another, negative when `to` is the earlier one.
[[nodiscard]] int days_between(Date from, Date to);

}  // namespace tidemark
