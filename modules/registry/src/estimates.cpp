#include "tidemark/registry/estimates.h"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <vector>

#include "tidemark/core/statistics.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::registry {
namespace {

/// Quantile of sorted values, linear between the order statistics.
double quantile(const std::vector<double>& sorted, double p) {
  const double place = p * static_cast<double>(sorted.size() - 1);
  const auto below = static_cast<std::size_t>(place);
  const auto above = std::min(below + 1, sorted.size() - 1);
  return sorted[below] + (place - static_cast<double>(below)) * (sorted[above] - sorted[below]);
}

std::optional<Interval> median_interval(const std::vector<double>& sorted) {
  const auto n = sorted.size();
  const boost::math::binomial half(static_cast<double>(n), 0.5);
  std::size_t k = 0;
  while (k < n / 2 && boost::math::cdf(half, static_cast<double>(k)) <= 0.025) ++k;
  if (k == 0) return std::nullopt;
  return Interval{sorted[k - 1], sorted[n - k]};
}

}  // namespace

std::optional<Location> location_of(std::span<const double> values) {
  const auto middle = mean(values);
  if (!middle) return std::nullopt;
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  Location out;
  out.n = sorted.size();
  out.mean = *middle;
  out.sd = standard_deviation(values);
  if (out.sd) {
    const auto n = static_cast<double>(out.n);
    const double half = coverage_factor(n - 1.0) * *out.sd / std::sqrt(n);
    out.mean_interval = Interval{out.mean - half, out.mean + half};
  }
  out.median = quantile(sorted, 0.5);
  out.median_interval = median_interval(sorted);
  out.lower_quartile = quantile(sorted, 0.25);
  out.upper_quartile = quantile(sorted, 0.75);
  return out;
}

std::optional<Share> share_of(std::size_t count, std::size_t of) {
  if (of == 0 || count > of) return std::nullopt;
  using Binomial = boost::math::binomial;
  const auto n = static_cast<double>(of);
  const auto k = static_cast<double>(count);
  const double low = count == 0 ? 0.0 : Binomial::find_lower_bound_on_p(n, k, 0.025);
  const double high = count == of ? 1.0 : Binomial::find_upper_bound_on_p(n, k, 0.025);
  return Share{count, of, k / n, {low, high}};
}

}  // namespace tidemark::registry
