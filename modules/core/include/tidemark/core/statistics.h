#pragma once

#include <optional>
#include <span>

namespace tidemark {

/// Arithmetic mean, in the unit of the values. Summed twice (the second pass over the deviations
/// from the first), so that a large common offset costs no digits.
/// @return absent when there is no value or one is not finite.
[[nodiscard]] std::optional<double> mean(std::span<const double> values);

/// Standard deviation of a sample, with n - 1 (GUM 4.2.2), in the unit of the values. Two passes.
/// @return absent with fewer than two values or when one is not finite.
[[nodiscard]] std::optional<double> standard_deviation(std::span<const double> values);

/// Correlation of each value with the next, -1 to 1: sum of (x_i - m)(x_{i+1} - m) over the sum of
/// (x_i - m)^2. Well above 0 for edge points closer than the blur: they are then worth fewer
/// independent ones. Definition: NIST/SEMATECH e-Handbook, section 1.3.5.12 (from memory).
/// @return absent with fewer than two values, when one is not finite or when all are equal.
[[nodiscard]] std::optional<double> lag1_autocorrelation(std::span<const double> values);

}  // namespace tidemark
