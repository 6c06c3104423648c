#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/cohort.h"
#include "tidemark/registry/estimates.h"

namespace tidemark::registry {

/// A milestone that follow-up visits cluster at, and the days that are counted to it.
struct Visit {
  std::string name;  ///< "6 weeks"
  int days = 0;
  int from = 0;  ///< first day that belongs to it
  int to = 0;    ///< first day that does not any more
};

/// 2 weeks, 6 weeks, 3, 6, 12, 24 months, then yearly to 30 years. Milestones: common practice;
/// borders half-way between two (house choice). Days before 1 belong to none.
[[nodiscard]] const std::vector<Visit>& visits();

/// Index of the visit that a day belongs to; absent when it belongs to none.
[[nodiscard]] std::optional<std::size_t> visit_of(int days);

/// Quantities of a comparison that are followed over time.
enum class Quantity { kSubsidence, kMedial, kTiltChange };
inline constexpr Quantity kQuantities[] = {Quantity::kSubsidence, Quantity::kMedial,
                                           Quantity::kTiltChange};

/// "subsidence_mm", "medial_mm", "tilt_change_deg"
[[nodiscard]] std::string name_of(Quantity quantity);
/// "mm" or "deg"
[[nodiscard]] std::string unit_of(Quantity quantity);
[[nodiscard]] const std::optional<Measured<double>>& value_of(const CohortComparison& comparison,
                                                              Quantity quantity);

/// What the day of its reference film makes of a hip. It is known before any outcome is.
enum class Entry {
  kEarly,  ///< up to two weeks after surgery
  /// Later, or not known: what is beyond is so, what is within may not be. Surgery without a date
  /// is not known either: whether the sheet named the reference film stands in no database.
  kHides,
  kTooLate  ///< later than three months: what is beyond is so, all else is not judged
};
[[nodiscard]] Entry entry_of(const CohortHip& hip);

/// Whether a film is later than the reference film, so that it can show what the stem has done
/// since. So it is taken where the day of one of them is not known.
[[nodiscard]] bool is_after_reference(const CohortHip& hip, const CohortComparison& comparison);

/// One hip at one visit: its film nearest to the milestone (first examination, after the reference
/// film).
[[nodiscard]] const CohortComparison* nearest_to(const CohortHip& hip, const Visit& visit);

/// A group at a visit. One value a hip. Of hips that are not of Entry::kEarly only their number
/// stands here: their values count from a film that hides what the others show, or may.
struct CourseAtVisit {
  std::string group;
  std::size_t visit = 0;
  Quantity quantity = Quantity::kSubsidence;
  std::optional<Location> location;  ///< absent when no hip has a value
  double mean_u = 0.0;               ///< root mean square of the standard uncertainties
  std::size_t not_measured = 0;      ///< hips with a film at this visit that could not be measured
  std::size_t without_scale = 0;   ///< hips whose film was measured, but without a scale: no length
  std::size_t late_reference = 0;  ///< hips with a film here, left out: Entry::kTooLate
  std::size_t hidden_settling = 0;  ///< hips with a film here, left out: Entry::kHides
};

/// All groups, visits and quantities for which there is a film.
[[nodiscard]] std::vector<CourseAtVisit> course_of(const Cohort& cohort);

/// An estimate of the model with Student's t interval. Degrees of freedom (house choice): hips less
/// fixed effects; where a later rate has a part in it, hips with two films or more, one of them
/// late, less the later rates.
struct ModelEstimate {
  double value = 0.0;
  double standard_error = 0.0;
  Interval interval;
};

struct GroupModel {
  std::string group;
  std::size_t hips = 0;
  std::size_t late_hips = 0;                         ///< with a film from three months on
  std::optional<ModelEstimate> settling;             ///< mm or deg, reached in the first weeks
  std::optional<ModelEstimate> later_rate;           ///< per year, from three months on
  std::optional<ModelEstimate> settling_difference;  ///< less that of the first group
  std::optional<ModelEstimate> later_rate_difference;
  std::vector<std::pair<double, ModelEstimate>> curve;  ///< (days, mean of the group)
};

/// Linear mixed model of the course: value(t) = a s(t) + r l(t) with s = 1 - exp(-t / 30 d) and l =
/// years beyond three months (the shape by which single hips are judged, docs/assessment.md), both
/// less their value at the reference film; a and r have a mean for each group and vary from hip to
/// hip (random settling and random rate, correlated), REML. The measurement's own covariance is
/// known: u^2 of each film, of which the reference film's share is common to a hip's films. What is
/// left over is the residual. Where too few hips show how the rate varies there is no rate at all:
/// its error would be that of the films alone. Hips take no part where it is not known how long
/// after surgery the reference film was taken, be it that film or surgery that has no date. Those
/// with a late reference film do: their shape begins at that film, so
/// that they tell of the later rate and next to nothing of the settling.
struct CourseModel {
  Quantity quantity = Quantity::kSubsidence;
  std::size_t hips = 0, comparisons = 0;
  std::vector<GroupModel> groups;
  double settling_sd = 0.0;             ///< between hips
  std::optional<double> later_rate_sd;  ///< absent when too few hips have late films
  /// Of both. Absent where one does not vary, or where the fit ends at a bound (-1 or 1).
  std::optional<double> correlation;
  double residual_sd = 0.0;
  double restricted_log_likelihood = 0.0;
};

/// @return kCannotTell when fewer than three hips have two dated comparisons, or as
///         fit_mixed_model.
[[nodiscard]] Expected<CourseModel> model_of(const Cohort& cohort, Quantity quantity);

}  // namespace tidemark::registry
