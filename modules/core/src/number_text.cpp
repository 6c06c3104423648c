#include "tidemark/core/number_text.h"

#include <array>
#include <charconv>
#include <cmath>

namespace tidemark {

std::string fixed_text(double value, int decimals) {
  // Room for the largest double; to_chars knows no locale.
  std::array<char, 400> text{};
  const auto end =
      std::to_chars(text.begin(), text.end(), value, std::chars_format::fixed, decimals);
  std::string out(text.begin(), end.ptr);
  const bool is_zero = out.find_first_of("123456789") == std::string::npos;
  return is_zero && out.starts_with('-') ? out.substr(1) : out;
}

std::string signed_text(double value, int decimals) {
  const std::string text = fixed_text(value, decimals);
  return text.starts_with('-') ? text : "+" + text;
}

int decimals_borne_by(double u95) {
  int decimals = 2;
  while (decimals > 0 && u95 * std::pow(10.0, decimals) >= 99.5) --decimals;
  return decimals;
}

std::string with_uncertainty(double value, double u95) {
  const int decimals = decimals_borne_by(u95);
  return signed_text(value, decimals) + " ± " + fixed_text(u95, decimals);
}

}  // namespace tidemark
