#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/estimates.h"

namespace tidemark::registry {

// Precision from repeated examinations: how far apart are results for one and the same thing?
//
// Assumes errors of equal size in all groups, independent within a group. All in the unit of the
// values.

/// Repeatability: the scatter of results of one thing under the same conditions.
struct Repeatability {
  std::size_t groups = 0;        ///< things examined at least twice
  std::size_t examinations = 0;  ///< in those groups
  int degrees_of_freedom = 0;
  double sd = 0.0;       ///< s_r, pooled within groups
  Interval sd_interval;  ///< from chi-square
  /// What two results of one thing differ by in at most 5 of 100 pairs, 1.96 sqrt(2) s_r: the
  /// smallest change of one thing that can be told from error (smallest detectable change).
  double smallest_detectable_change = 0.0;
};

/// Within-group standard deviation of one-way analysis of variance; groups with one value are
/// passed over. Source: ISO 5725-2:1994, 7.4; interval: textbook.
/// @return kCannotTell when no group has two values; kBadInput when a value is not finite.
[[nodiscard]] Expected<Repeatability> repeatability(std::span<const std::vector<double>> groups);

/// Precision when something changes between groups (laboratory, reader, day, device).
struct Reproducibility {
  std::size_t groups = 0;
  std::size_t examinations = 0;
  double mean = 0.0;
  double repeatability_sd = 0.0;     ///< s_r
  double between_sd = 0.0;           ///< s_L; 0 when the groups differ by no more than s_r explains
  double reproducibility_sd = 0.0;   ///< s_R = sqrt(s_r^2 + s_L^2)
  double repeatability_limit = 0.0;  ///< r = 2.8 s_r
  double reproducibility_limit = 0.0;  ///< R = 2.8 s_R
};

/// One level of the basic method of ISO 5725-2:1994, 7.4; the groups are its laboratories. With
/// another reader, day or device in place of the laboratory s_R is an intermediate precision (ISO
/// 5725-3).
/// @return kCannotTell with fewer than two groups or no group of two values; kBadInput when a value
///         is not finite.
[[nodiscard]] Expected<Reproducibility> reproducibility(
    std::span<const std::vector<double>> groups);

/// Two examinations of each of several things between which nothing moved: differences about zero.
struct DoubleExaminations {
  std::size_t pairs = 0;
  double mean_difference = 0.0;  ///< second less first
  Interval mean_interval;        ///< Student's t: does it hold zero?
  double rms = 0.0;              ///< sqrt(sum d^2 / n): SD about zero, n degrees of freedom
  Interval rms_interval;         ///< from chi-square
  double precision95 = 0.0;      ///< t(0.975, n) rms: 95 of 100 differences about zero
  double error_of_one = 0.0;     ///< Dahlberg's sqrt(sum d^2 / 2n)
  double smallest_detectable_change = 0.0;  ///< 1.96 sqrt(2) error_of_one
};

/// Source: as radiostereometry states its precision (ISO 16087:2013, by the double examinations);
/// Dahlberg 1940.
/// @return kCannotTell with fewer than two pairs; kBadInput when a value is not finite.
[[nodiscard]] Expected<DoubleExaminations> double_examinations(std::span<const double> differences);

}  // namespace tidemark::registry
