#include "tidemark/core/robust.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <vector>

namespace tidemark {
namespace {

bool all_finite(std::span<const double> values) {
  return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

}  // namespace

std::optional<double> median(std::span<const double> values) {
  if (values.empty() || !all_finite(values)) return std::nullopt;
  std::vector<double> sorted(values.begin(), values.end());
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
  std::nth_element(sorted.begin(), middle, sorted.end());
  if (sorted.size() % 2 == 1) return *middle;
  return std::midpoint(*std::max_element(sorted.begin(), middle), *middle);
}

std::optional<double> median_absolute_deviation(std::span<const double> values) {
  const auto centre = median(values);
  if (!centre) return std::nullopt;
  std::vector<double> distances;
  distances.reserve(values.size());
  for (const double v : values) distances.push_back(std::abs(v - *centre));
  return median(distances);
}

std::optional<double> weighted_median(std::span<const double> values,
                                      std::span<const double> weights) {
  if (values.size() != weights.size() || !all_finite(values) || !all_finite(weights)) {
    return std::nullopt;
  }
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (weights[i] < 0.0) return std::nullopt;
    if (weights[i] > 0.0) order.push_back(i);
  }
  if (order.empty()) return std::nullopt;
  std::sort(order.begin(), order.end(),
            [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
  const double total = std::accumulate(order.begin(), order.end(), 0.0,
                                       [&](double sum, std::size_t i) { return sum + weights[i]; });
  double below = 0.0;
  for (std::size_t k = 0; k + 1 < order.size(); ++k) {
    below += weights[order[k]];
    if (2.0 * below > total) return values[order[k]];
    if (2.0 * below == total) return std::midpoint(values[order[k]], values[order[k + 1]]);
  }
  return values[order.back()];
}

double robust_weight(Loss loss, double residual_in_sigma) {
  const double r = std::abs(residual_in_sigma);
  switch (loss) {
    case Loss::kSquared:
      return 1.0;
    case Loss::kHuber:
      return r <= kHuberTuning ? 1.0 : kHuberTuning / r;
    case Loss::kTukey: {
      const double t = r / kTukeyTuning;
      return t >= 1.0 ? 0.0 : (1.0 - t * t) * (1.0 - t * t);
    }
  }
  return 1.0;
}

}  // namespace tidemark
