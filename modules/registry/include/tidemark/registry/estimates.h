#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace tidemark::registry {

// Location and shares of a sample with their 95 % intervals. What the data cannot bear is absent.
// Assumes independent values: one value for each hip, not several of one hip.

/// Ends of a 95 % interval, in the unit of the value, low <= high.
struct Interval {
  double low;
  double high;
};

/// Mean and median of a sample. Interval of the mean: Student's t. Interval of the median: order
/// statistics x(k) to x(n+1-k) with the largest k for which a binomial(n, 1/2) count lies below k
/// with a probability of at most 0.025, so that 95 % hold whatever the distribution (Conover,
/// Practical Nonparametric Statistics, 1999, section 3.2; from memory).
struct Location {
  std::size_t n = 0;
  double mean = 0.0;
  std::optional<double> sd;               ///< with n - 1; from two values on
  std::optional<Interval> mean_interval;  ///< from two values on
  double median = 0.0;
  std::optional<Interval> median_interval;  ///< from six values on: five bear no 95 %
  double lower_quartile = 0.0;  ///< linear between order statistics (Hyndman and Fan 1996, type 7)
  double upper_quartile = 0.0;
};

/// @return absent when there is no value or one is not finite.
[[nodiscard]] std::optional<Location> location_of(std::span<const double> values);

/// `count` of `of`, with the exact binomial interval (Clopper and Pearson, Biometrika 26 (1934)
/// 404).
struct Share {
  std::size_t count = 0;
  std::size_t of = 0;
  double share = 0.0;
  Interval interval{0.0, 1.0};
};

/// @return absent when `of` is 0 or less than `count`: a share of nothing is not zero.
[[nodiscard]] std::optional<Share> share_of(std::size_t count, std::size_t of);

}  // namespace tidemark::registry
