#include "tidemark/registry/precision.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

#include "tidemark/core/statistics.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::registry {
namespace {

constexpr double kIsoLimit = 2.8;  // ISO 5725-6:1994, 4.1.4: rounded 1.96 sqrt(2)

double detectable(double sd) { return coverage_factor(kInfiniteFreedom) * std::sqrt(2.0) * sd; }

/// 95 % interval of a standard deviation with so many degrees of freedom.
Interval sd_interval(double sd, double freedom) {
  const boost::math::chi_squared distribution(freedom);
  return {sd * std::sqrt(freedom / boost::math::quantile(distribution, 0.975)),
          sd * std::sqrt(freedom / boost::math::quantile(distribution, 0.025))};
}

bool finite(std::span<const double> values) {
  return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

bool finite(std::span<const std::vector<double>> groups) {
  return std::all_of(groups.begin(), groups.end(), [](auto& group) { return finite(group); });
}

auto not_finite() {
  return fail(ErrorKind::kBadInput, "precision", "a value is not a finite number",
              "leave such examinations out");
}

double squares_about_mean(const std::vector<double>& group, double centre) {
  double sum = 0.0;
  for (const double value : group) sum += (value - centre) * (value - centre);
  return sum;
}

}  // namespace

Expected<Repeatability> repeatability(std::span<const std::vector<double>> groups) {
  if (!finite(groups)) return not_finite();
  Repeatability out;
  double squares = 0.0;
  for (const auto& group : groups) {
    if (group.size() < 2) continue;
    ++out.groups;
    out.examinations += group.size();
    squares += squares_about_mean(group, *mean(group));
  }
  if (out.groups == 0) {
    return fail(ErrorKind::kCannotTell, "repeatability", "nothing was examined twice");
  }
  out.degrees_of_freedom = static_cast<int>(out.examinations - out.groups);
  out.sd = std::sqrt(squares / out.degrees_of_freedom);
  out.sd_interval = sd_interval(out.sd, out.degrees_of_freedom);
  out.smallest_detectable_change = detectable(out.sd);
  return out;
}

Expected<Reproducibility> reproducibility(std::span<const std::vector<double>> groups) {
  const auto within = repeatability(groups);
  if (!within) return tl::unexpected(within.error());
  std::vector<double> all;
  double sum_of_squared_sizes = 0.0;
  std::size_t filled = 0;
  for (const auto& group : groups) {
    all.insert(all.end(), group.begin(), group.end());
    sum_of_squared_sizes += static_cast<double>(group.size() * group.size());
    filled += group.empty() ? 0U : 1U;
  }
  if (filled < 2) {
    return fail(ErrorKind::kCannotTell, "reproducibility", "there are not two groups to compare");
  }
  Reproducibility out;
  out.groups = filled;
  out.examinations = all.size();
  out.mean = *mean(all);
  double between = 0.0;
  for (const auto& group : groups) {
    if (group.empty()) continue;
    const double off = *mean(group) - out.mean;
    between += static_cast<double>(group.size()) * off * off;
  }
  const auto n = static_cast<double>(all.size());
  const double between_freedom = static_cast<double>(filled) - 1.0;
  const double mean_size = (n - sum_of_squared_sizes / n) / between_freedom;
  const double within_variance = within->sd * within->sd;
  const double between_variance =
      std::max(0.0, (between / between_freedom - within_variance) / mean_size);
  out.repeatability_sd = within->sd;
  out.between_sd = std::sqrt(between_variance);
  out.reproducibility_sd = std::sqrt(within_variance + between_variance);
  out.repeatability_limit = kIsoLimit * out.repeatability_sd;
  out.reproducibility_limit = kIsoLimit * out.reproducibility_sd;
  return out;
}

Expected<DoubleExaminations> double_examinations(std::span<const double> differences) {
  if (!finite(differences)) return not_finite();
  if (differences.size() < 2) {
    return fail(ErrorKind::kCannotTell, "double examinations", "there are fewer than two pairs");
  }
  const auto n = static_cast<double>(differences.size());
  double squares = 0.0;
  for (const double d : differences) squares += d * d;
  DoubleExaminations out;
  out.pairs = differences.size();
  const Location location = *location_of(differences);
  out.mean_difference = location.mean;
  out.mean_interval = *location.mean_interval;
  out.rms = std::sqrt(squares / n);
  out.rms_interval = sd_interval(out.rms, n);
  out.precision95 = coverage_factor(n) * out.rms;
  out.error_of_one = std::sqrt(squares / (2.0 * n));
  out.smallest_detectable_change = detectable(out.error_of_one);
  return out;
}

}  // namespace tidemark::registry
