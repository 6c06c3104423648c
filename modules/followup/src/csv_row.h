#pragma once

#include <array>
#include <charconv>
#include <cmath>
#include <optional>
#include <string>

#include "tidemark/core/csv.h"
#include "tidemark/core/date.h"
#include "tidemark/core/units.h"

namespace tidemark::followup {

/// One line of cells, quoted where RFC 4180 asks for it. Absent values are empty cells.
class Row {
 public:
  void text(const std::string& value) { add(csv_text(value)); }
  void number(double value) {
    std::array<char, 32> digits{};
    const double r = std::round(value * 1e4) / 1e4;
    const auto end = std::to_chars(digits.begin(), digits.end(), r == 0.0 ? 0.0 : r);
    add(std::string(digits.data(), end.ptr));
  }
  void count(std::size_t value) { add(std::to_string(value)); }
  void days(const std::optional<int>& value) { add(value ? std::to_string(*value) : ""); }
  void date(const std::optional<Date>& value) { add(value ? format_date(*value) : ""); }
  void empty(std::size_t cells) {
    for (std::size_t i = 0; i < cells; ++i) add("");
  }
  template <class Q>
  void measured(const Measured<Q>& m, double unit = 1.0) {
    number(m.value.value / unit);
    number(m.u.value / unit);
    number(m.u95.value / unit);
  }
  [[nodiscard]] std::string line() const { return line_ + "\r\n"; }

 private:
  void add(const std::string& cell) {
    if (cells_++ > 0) line_ += ',';
    line_ += cell;
  }
  std::string line_;
  std::size_t cells_ = 0;
};

}  // namespace tidemark::followup
