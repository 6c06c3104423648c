#include "tidemark/core/date.h"

#include <charconv>
#include <cstdio>

namespace tidemark {
namespace {

/// Digits only: from_chars alone would take a minus sign.
std::optional<unsigned> number(std::string_view digits) {
  if (digits.find_first_not_of("0123456789") != std::string_view::npos) return std::nullopt;
  unsigned value = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
  if (error != std::errc{} || end != digits.data() + digits.size()) return std::nullopt;
  return value;
}

}  // namespace

std::optional<Date> parse_date(std::string_view text) {
  const bool is_iso = text.size() == 10 && text[4] == '-' && text[7] == '-';
  if (!is_iso && text.size() != 8) return std::nullopt;
  const auto year = number(text.substr(0, 4));
  const auto month = number(text.substr(is_iso ? 5 : 4, 2));
  const auto day = number(text.substr(is_iso ? 8 : 6, 2));
  if (!year || !month || !day) return std::nullopt;
  const Date date{std::chrono::year{static_cast<int>(*year)}, std::chrono::month{*month},
                  std::chrono::day{*day}};
  if (!date.ok()) return std::nullopt;
  return date;
}

std::string format_date(Date date) {
  char text[32];
  const int length =
      std::snprintf(text, sizeof text, "%04d-%02u-%02u", static_cast<int>(date.year()),
                    static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
  return {text, static_cast<std::size_t>(length)};
}

int days_between(Date from, Date to) {
  return static_cast<int>((std::chrono::sys_days{to} - std::chrono::sys_days{from}).count());
}

}  // namespace tidemark
