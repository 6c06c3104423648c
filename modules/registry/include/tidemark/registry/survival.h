#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/estimates.h"

namespace tidemark::registry {

// Time to a first event when not all hips have had it yet.
//
// Assumes that the end of a hip's follow-up tells nothing of its event (independent censoring), and
// takes an event to happen when it is seen. What is seen at visits only needs one time for all hips
// of a visit (criterion_survival): the risk set of an event is then all that were looked at.

enum class Outcome { kEvent, kCensored };

/// One hip: the event was first seen at `time`, or had not been seen when the hip was last judged.
struct TimeToEvent {
  double time = 0.0;  ///< any unit, >= 0
  Outcome outcome = Outcome::kCensored;
};

/// The curve from `time` on.
struct SurvivalStep {
  double time = 0.0;
  std::size_t at_risk = 0;  ///< just before `time`
  std::size_t events = 0;
  std::size_t censored = 0;
  double survival = 1.0;
  std::optional<double> standard_error;  ///< Greenwood; absent where the curve has come to 0
  /// Survival +- 1.96 standard errors, cut to 0 to 1; absent where the curve is 1 or 0.
  std::optional<Interval> plain;
  std::optional<Interval> log_log;  ///< absent where the curve is 1 or 0: not defined there
  /// Only where the curve is 1: none of the hips at risk has had the event (Clopper and Pearson). A
  /// normal interval would have no width there and pass for certainty.
  std::optional<Interval> exact;
  double cumulative_hazard = 0.0;  ///< Nelson-Aalen
};

struct SurvivalCurve {
  std::size_t hips = 0;
  std::size_t events = 0;
  std::vector<SurvivalStep> steps;   ///< one for each time at which anything happens
  std::optional<double> median;      ///< absent when the curve does not come down to one half
  std::optional<double> median_low;  ///< where the limits of the log-log interval do
  std::optional<double> median_high;
};

/// Product-limit estimate; events come before censorings at the same time.
///
/// Sources: Kaplan and Meier, J Am Stat Assoc 53 (1958) 457; Greenwood (1926) variance; log-log
/// interval and rule for the median (a flat stretch at exactly one half gives its middle): as in
/// R's survival package, documentation of survfit.
/// @return kBadInput without hips, or when a time is negative or not finite.
[[nodiscard]] Expected<SurvivalCurve> kaplan_meier(std::span<const TimeToEvent> hips);

/// Hips still at risk just before `time`.
[[nodiscard]] std::size_t at_risk(std::span<const TimeToEvent> hips, double time);

/// The curve's step that holds at `time`; null before the first one, where the curve is 1.
[[nodiscard]] const SurvivalStep* step_at(const SurvivalCurve& curve, double time);

struct LogRank {
  std::vector<double> observed;  ///< events by group
  std::vector<double> expected;  ///< events by group if all had one hazard
  double chi_square = 0.0;
  int degrees_of_freedom = 0;
  double p = 1.0;
};

/// Log-rank test of k groups, with the hypergeometric variance (Mantel, Cancer Chemother Rep 50
/// (1966) 163; Peto and Peto, J R Stat Soc A 135 (1972) 185).
/// @return kBadInput as kaplan_meier; kCannotTell with fewer than two groups that were ever at risk
///         at an event, or no event.
[[nodiscard]] Expected<LogRank> log_rank(std::span<const std::vector<TimeToEvent>> groups);

}  // namespace tidemark::registry
