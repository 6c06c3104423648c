#pragma once

#include <string>

namespace tidemark {

/// A number with so many decimals and a point, whatever the locale says; no minus before a zero.
[[nodiscard]] std::string fixed_text(double value, int decimals);

/// As fixed_text, the sign always printed.
[[nodiscard]] std::string signed_text(double value, int decimals);

/// "value ± u95" with no more digits than u95 bears: two significant digits of u95, at most two
/// decimals (JCGM 100, 7.2.6: u needs at most two). The sign is always printed.
[[nodiscard]] std::string with_uncertainty(double value, double u95);

}  // namespace tidemark
