#pragma once

#include <Eigen/Core>
#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/assessment/evidence.h"
#include "tidemark/core/units.h"

namespace tidemark::assessment {

// The course of a hip over all its films.
//
// Each comparison i gives y_i = s(t_i) + e_i - e_0: every comparison holds the error e_0 of the one
// reference film. Errors of different films are independent, those of the stem's and the bone's
// shape that all films share are not modelled. The covariance of the y is
//   V = sigma_0^2 1 1' + diag(u_i^2 - sigma_0^2),
// and sigma_0^2, the reference film's share, is summed over the sources of the budget: of each,
// half of its smallest variance among the comparisons. Half, because pose, registration noise and
// scale of the two films of a pair come from one distribution; the smallest, because a comparison
// with a larger one has it from its follow-up film. (House choice; on simulated films the share is
// 0.67, 95 % interval 0.37 to 0.86. What a wrong share does: docs/assessment.md.)

/// Millimetres a year of 365.25 days.
using MillimetresPerYear = tidemark::Quantity<struct MillimetrePerYearUnit>;

/// A stem settles until here: films from here on tell of late change (three months; most
/// subsidence falls within 6 to 8 weeks, Arch Orthop Trauma Surg 2021,
/// doi:10.1007/s00402-021-03913-0; the limit is derived from several series, docs/assessment.md).
inline constexpr int kSettledDays = 91;
inline constexpr double kDaysPerYear = 365.25;

/// The shapes of a course.
enum class Pattern {
  kSettled,     ///< moved early, then stood still
  kContinuous,  ///< moved early and goes on
  kLate,        ///< stood still at first, then began to move
  kStable,      ///< no motion beyond the limit of relevance
  kCannotTell,
};
[[nodiscard]] std::string code_of(Pattern pattern);  ///< as in result.json

/// One measured comparison as a point of the course.
struct CoursePoint {
  std::size_t comparison = 0;  ///< index in HipEvidence::comparisons
  int days = 0;                ///< from surgery, else from the reference film
  int days_from_reference = 0;
  Measured<Millimetres> subsidence;  ///< since the reference film
};

/// What the stem sank after the settling window: between two follow-up films, where the error of
/// the reference film cancels; or since the reference film, where that one stands after the window.
struct LateChange {
  /// Index in HipEvidence::comparisons of the film it counts from; absent: the reference film.
  std::optional<std::size_t> from;
  std::size_t to = 0;
  int days = 0;  ///< between the two
  Measured<Millimetres> change;
  /// The film it counts from was taken more than eight months after surgery (half a year and what a
  /// visit may be late; house choice): the stem may have sunk before it unseen, so the change can
  /// be called more than a limit but never less.
  bool starts_late = false;
  /// Only where it starts late: since the last film of the settling window. It holds all of the
  /// late change, and some of the settling: what is less than a limit by it is so late as well.
  std::optional<Measured<Millimetres>> at_most;
};

/// Line through the films after the settling window.
struct LateRate {
  Measured<MillimetresPerYear> rate;
  int films = 0;
  int days = 0;  ///< from the first of these films to the last
  double chi2 = 0.0;
  int degrees_of_freedom = 0;
};

/// The fitted course at one time.
struct CourseBand {
  int days = 0;  ///< as CoursePoint::days
  Millimetres median;
  Millimetres low;  ///< ends of the 95 % interval
  Millimetres high;
};

/// All follow-ups of a hip taken together.
struct Course {
  std::vector<CoursePoint> points;  ///< by time
  Eigen::MatrixXd covariance;       ///< of the points' subsidence, mm^2
  Millimetres reference_share;      ///< sigma_0
  bool from_surgery = false;        ///< days count from surgery; else from the reference film
  Pattern pattern = Pattern::kCannotTell;
  /// Of kSettled, kContinuous, kLate, kStable; sum 1. Absent when no shape fits.
  std::optional<std::array<double, 4>> probabilities;
  std::optional<LateChange> late_change;  ///< to the last film
  std::optional<LateRate> late_rate;
  std::vector<CourseBand> fitted;  ///< for a curve; empty when no shape fits
  /// Comparisons that are no point, whose film is or may be later than the last point's: no number,
  /// or no date. With one of them no pattern is named.
  std::vector<std::size_t> left_out;
  /// Flags of the points' comparisons that forbid to trust them (trust.h). With one of them no stem
  /// is told to stand still: neither kSettled nor kStable.
  std::vector<std::string> untrusted;
  std::string text;  ///< one or two sentences for a person
};

/// A follow-up film on which the stem stands above where an earlier one has it, which stems do not
/// do: the films contradict one another.
struct Rise {
  std::size_t from = 0;          ///< index in HipEvidence::comparisons
  std::size_t to = 0;            ///< likewise, the later film
  Measured<Millimetres> change;  ///< of the subsidence: negative
};

/// The surest rise from one follow-up film to a later one, or nothing where each can be chance: of
/// an unmoved stem one hip in forty has one, all its pairs of films together (Bonferroni; house
/// choice, as for one pair in judge()).
[[nodiscard]] std::optional<Rise> rise_in(const Course& course);

/// Fits the course. Comparisons without date or number are left out.
[[nodiscard]] Course follow(const HipEvidence& hip);

/// Change of the subsidence from the first film after the settling window, be it the reference
/// film, to `comparison`; absent when there is no such pair.
[[nodiscard]] std::optional<LateChange> late_change(const Course& course, std::size_t comparison);

}  // namespace tidemark::assessment
