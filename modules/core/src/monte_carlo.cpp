#include "tidemark/core/monte_carlo.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

#include "tidemark/core/statistics.h"

namespace tidemark {
namespace {

/// mean, u, low and high of one batch.
using Figures = std::array<double, 4>;

tl::unexpected<Error> refuse(ErrorKind kind, std::string wrong, std::string remedy) {
  return fail(kind, "Monte Carlo", std::move(wrong), std::move(remedy));
}

/// Ends of the symmetric interval of sorted draws: JCGM 101, 7.7.2.
std::pair<double, double> symmetric_interval(const std::vector<double>& sorted, double coverage) {
  const auto m = static_cast<double>(sorted.size());
  const auto q = static_cast<std::size_t>(std::floor(coverage * m + 0.5));
  const std::size_t r = (sorted.size() - q + 1) / 2;
  const std::size_t first = std::max<std::size_t>(r, 1) - 1;
  return {sorted[first], sorted[std::min(first + q, sorted.size() - 1)]};
}

Figures figures_of(std::vector<double>& draws, double coverage) {
  std::sort(draws.begin(), draws.end());
  const auto [low, high] = symmetric_interval(draws, coverage);
  return {mean(draws).value_or(0.0), standard_deviation(draws).value_or(0.0), low, high};
}

/// The k-th figure of each batch.
std::vector<double> column(const std::vector<Figures>& batches, std::size_t k) {
  std::vector<double> values;
  values.reserve(batches.size());
  for (const Figures& batch : batches) values.push_back(batch.at(k));
  return values;
}

/// Twice the standard deviation of the mean over the batches, of the worst of the four figures.
double spread_of(const std::vector<Figures>& batches) {
  double worst = 0.0;
  for (std::size_t k = 0; k < 4; ++k) {
    const double sd = standard_deviation(column(batches, k)).value_or(0.0);
    worst = std::max(worst, 2.0 * sd / std::sqrt(static_cast<double>(batches.size())));
  }
  return worst;
}

}  // namespace

double Random::uniform(double low, double high) {
  // The upper 53 bits fill a double's mantissa evenly; std::uniform_real_distribution may differ
  // between libraries.
  constexpr double kStep = 0x1.0p-53;
  return low + (high - low) * (static_cast<double>(engine_() >> 11U) * kStep);
}

double Random::normal(double mean, double sd) {
  if (has_spare_) {
    has_spare_ = false;
    return mean + sd * spare_;
  }
  const double radius = std::sqrt(-2.0 * std::log(1.0 - uniform()));  // 1 - u is never 0
  const double angle = 2.0 * std::numbers::pi * uniform();
  spare_ = radius * std::sin(angle);
  has_spare_ = true;
  return mean + sd * radius * std::cos(angle);
}

double numerical_tolerance(double value, int significant_digits) {
  if (value == 0.0) return 0.0;
  const double exponent = std::floor(std::log10(std::abs(value))) - (significant_digits - 1);
  return 0.5 * std::pow(10.0, exponent);
}

Expected<MonteCarloResult> monte_carlo(const std::function<double(Random&)>& draw,
                                       const MonteCarloOptions& options) {
  const bool sound = options.coverage > 0.0 && options.coverage < 1.0 && options.batch > 1 &&
                     options.max_batches > 1 && options.significant_digits > 0;
  if (!sound) return refuse(ErrorKind::kBadInput, "an option is out of range", "see its limits");
  const auto batch_size = static_cast<std::size_t>(
      std::max(static_cast<double>(options.batch), std::ceil(100.0 / (1.0 - options.coverage))));
  Random random(options.seed);
  std::vector<double> all;
  std::vector<Figures> batches;
  while (static_cast<int>(batches.size()) < options.max_batches) {
    std::vector<double> draws(batch_size);
    for (double& value : draws) value = draw(random);
    if (!std::all_of(draws.begin(), draws.end(), [](double v) { return std::isfinite(v); })) {
      return refuse(ErrorKind::kBadInput, "a drawn value is not finite", "check the formula");
    }
    all.insert(all.end(), draws.begin(), draws.end());
    batches.push_back(figures_of(draws, options.coverage));
    if (batches.size() < 2) continue;
    const double u = mean(column(batches, 1)).value_or(0.0);
    const double tolerance = numerical_tolerance(u, options.significant_digits);
    if (spread_of(batches) > tolerance) continue;
    const auto draws_made = static_cast<std::int64_t>(all.size());
    const Figures end = figures_of(all, options.coverage);
    return MonteCarloResult{end[0], end[1], end[2], end[3], draws_made, tolerance};
  }
  return refuse(ErrorKind::kNotConverged, "the figures are not stable yet",
                "allow more draws or fewer digits");
}

}  // namespace tidemark
