#include "tidemark/core/statistics.h"

#include <algorithm>
#include <cmath>

namespace tidemark {
namespace {

bool all_finite(std::span<const double> values) {
  return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

/// Sum of (x_i - m)^2, with the rounding error of m taken out again.
double sum_of_squares(std::span<const double> values, double centre) {
  double squares = 0.0;
  double rest = 0.0;
  for (const double v : values) {
    squares += (v - centre) * (v - centre);
    rest += v - centre;
  }
  return squares - rest * rest / static_cast<double>(values.size());
}

}  // namespace

std::optional<double> mean(std::span<const double> values) {
  if (values.empty() || !all_finite(values)) return std::nullopt;
  const auto n = static_cast<double>(values.size());
  double sum = 0.0;
  for (const double v : values) sum += v;
  const double first = sum / n;
  double rest = 0.0;
  for (const double v : values) rest += v - first;
  return first + rest / n;
}

std::optional<double> standard_deviation(std::span<const double> values) {
  if (values.size() < 2) return std::nullopt;
  const auto centre = mean(values);
  if (!centre) return std::nullopt;
  const double squares = sum_of_squares(values, *centre);
  return std::sqrt(std::max(0.0, squares) / static_cast<double>(values.size() - 1));
}

std::optional<double> lag1_autocorrelation(std::span<const double> values) {
  if (values.size() < 2) return std::nullopt;
  const auto centre = mean(values);
  if (!centre) return std::nullopt;
  const double squares = sum_of_squares(values, *centre);
  if (squares <= 0.0) return std::nullopt;
  double products = 0.0;
  for (std::size_t i = 1; i < values.size(); ++i) {
    products += (values[i - 1] - *centre) * (values[i] - *centre);
  }
  return products / squares;
}

}  // namespace tidemark
