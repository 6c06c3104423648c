#pragma once

#include <string>

namespace tidemark {

/// A number with so many decimals and a point, whatever the locale says; no minus before a zero.
[[nodiscard]] std::string fixed_text(double value, int decimals);

/// As fixed_text, the sign always printed.
[[nodiscard]] std::string signed_text(double value, int decimals);

/// Decimals that a number bears whose 95 % interval is u95 to either side: two significant digits
/// of u95, at most two decimals (JCGM 100, 7.2.6: u needs at most two).
[[nodiscard]] int decimals_borne_by(double u95);

/// "value ± u95" with the decimals that u95 bears. The sign is always printed.
[[nodiscard]] std::string with_uncertainty(double value, double u95);

}  // namespace tidemark
