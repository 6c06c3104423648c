#pragma once

#include <cstdint>
#include <functional>
#include <random>

#include "tidemark/core/expected.h"

namespace tidemark {

// Propagation of distributions by the Monte Carlo method (JCGM 101:2008).
//
// Assumes nothing but that `draw` gives one value of the result from inputs drawn at random out of
// their distributions, each call independent of the last. Unit: that of the drawn value.

/// Source of random numbers. Everything comes from the seed; the same seed gives the same numbers
/// on every platform, up to the last digits of log, sqrt, sin and cos.
class Random {
 public:
  explicit Random(std::uint64_t seed) : engine_(seed) {}

  /// Uniform in [low, high).
  [[nodiscard]] double uniform(double low = 0.0, double high = 1.0);
  /// Normal, by the transform of Box and Muller, Ann Math Stat 29 (1958) 610-611,
  /// doi:10.1214/aoms/1177706645 (from memory).
  [[nodiscard]] double normal(double mean = 0.0, double sd = 1.0);

 private:
  std::mt19937_64 engine_;
  double spare_ = 0.0;
  bool has_spare_ = false;
};

/// How long and for what a simulation runs.
struct MonteCarloOptions {
  std::uint64_t seed = 1;
  double coverage = 0.95;      ///< of the interval, in (0, 1)
  int significant_digits = 2;  ///< of u that shall be right; JCGM 101, 7.9.2: 1 or 2
  int batch = 10'000;          ///< draws between two looks; raised to 100 / (1 - coverage)
  int max_batches = 500;       ///< house choice: 5 million draws, some seconds
};

/// What a simulation says of the result.
struct MonteCarloResult {
  double mean = 0.0;
  double u = 0.0;     ///< standard deviation of the draws
  double low = 0.0;   ///< ends of the probabilistically symmetric coverage interval:
  double high = 0.0;  ///< as much probability below `low` as above `high`
  std::int64_t draws = 0;
  double tolerance = 0.0;  ///< numerical tolerance that mean, u, low and high reached
};

/// Draws in batches until twice the standard deviation of the mean, over the batches, of each of
/// mean, u, low and high is below the numerical tolerance (half of the last digit of u wanted).
/// Adaptive procedure of JCGM 101, 7.9.
///
/// @return kBadInput     options out of range, or a draw that is not finite;
///         kNotConverged not stable within max_batches.
[[nodiscard]] Expected<MonteCarloResult> monte_carlo(const std::function<double(Random&)>& draw,
                                                     const MonteCarloOptions& options = {});

/// Numerical tolerance of a number with so many significant digits: half of its last digit. For
/// 0.0351 and 2 digits: 0.0005 (JCGM 101, 7.9.2). 0 for 0.
[[nodiscard]] double numerical_tolerance(double value, int significant_digits);

}  // namespace tidemark
