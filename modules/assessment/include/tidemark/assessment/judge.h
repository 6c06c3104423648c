#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/criteria.h"
#include "tidemark/assessment/evidence.h"
#include "tidemark/core/units.h"

namespace tidemark::assessment {

/// What is said of one criterion. kCannotTell is an answer like the others.
enum class Verdict { kExceeds, kWithin, kCannotTell, kNotApplicable };
[[nodiscard]] std::string code_of(
    Verdict verdict);  ///< exceeds, within, cannot_tell, not_applicable

/// Why a verdict is what it is.
enum class Because {
  kDecided,          ///< probability beyond a guard band
  kGuardBand,        ///< value and threshold lie too close for the uncertainty
  kFinerThanFilm,    ///< the threshold is finer than the uncertainty allows
  kOutsideWindow,    ///< the film was not taken when the threshold holds
  kDateUnknown,      ///< a date that is needed is not known
  kGroupLevel,       ///< mean of a group: not judged for one hip
  kOtherFixation,    ///< the criterion is for other stems
  kFixationUnknown,  ///< it is not known how the stem is held
  kBaselineLate,     ///< the film it counts from hides what went before: nothing can be within
  kBaselineTooLate,  ///< the reference film shows late change only, and that passes no limit
  kNotMeasured,      ///< there is no value
  kNoThreshold,      ///< typical values, no limit
  kNoScale,          ///< lengths are in pixels
  kUnsure,           ///< the value of the criterion is too doubtful
  kRises,            ///< the stem would have risen, which stems do not do: nothing is within
  kFlagged,          ///< a flag says that the films may not show this (untrusted_flags)
};
[[nodiscard]] std::string code_of(Because because);

/// A verdict is given at this probability or more, and at its complement or less (JCGM 106:2012,
/// guarded acceptance and rejection with one-sided risk of 5 %; docs/design.md).
inline constexpr double kDecisive = 0.95;
/// Guard band in standard uncertainties: one-sided 95 % quantile of the normal distribution.
inline constexpr double kGuard = 1.6448536269514722;

/// A reference film later than this after surgery may hide early settling: it is said, and nothing
/// is called within (proposal for the limit; the consequence is a house choice).
inline constexpr int kBaselineLateDays = 14;

/// Whether the time at which a limit holds was over on that day; false where it has none.
[[nodiscard]] bool is_over(const Criterion& criterion, std::optional<int> days);

/// Value against threshold.
struct Conformity {
  Verdict verdict = Verdict::kCannotTell;
  Because because = Because::kGuardBand;
  double probability_exceeds = 0.5;
};

/// Decision rule of JCGM 106:2012: P(true value > threshold) for a normal distribution about the
/// measured value, kExceeds at kDecisive or more, kWithin at 1 - kDecisive or less, else
/// kCannotTell. With Sense::kEitherWay, P(|true value| > threshold).
///
/// The standard deviation is u, or u95 / 1.96 where that is more (few degrees of freedom, heavy
/// tails): on the safe side of Student's t at the guard band (derived).
///
/// A threshold below the guard band is always kCannotTell (kFinerThanFilm): even a value of 0 could
/// not be told to be within it.
[[nodiscard]] Conformity decide(const Measured<double>& measured, double threshold, Sense sense);

/// One criterion held against one comparison.
struct Finding {
  std::string criterion;       ///< its id
  std::size_t comparison = 0;  ///< index in HipEvidence::comparisons
  Quantity quantity = Quantity::kSubsidence;
  Point point = Point::kReference;           ///< of a subsidence: where on the stem it is read
  std::optional<Measured<double>> measured;  ///< in the quantity's unit
  std::optional<double> threshold;           ///< absent with typical values
  std::optional<double> typical;             ///< at the time of the film, where known
  std::optional<int> days;                   ///< from surgery, else from the reference film
  Verdict verdict = Verdict::kNotApplicable;
  Because because = Because::kNotMeasured;
  std::optional<double> probability_exceeds;  ///< when value and threshold could be compared
  /// A clause, where kBecause alone does not say it: why there is no value, which date is missing.
  std::string reason;
  std::string text;                 ///< one or two sentences for a person
  std::vector<std::string> doubts;  ///< sentences that hold for this finding
};

/// Holds one criterion against one comparison. Time windows count from surgery; where the date of
/// surgery is not known they count from the reference film, and a doubt says so. Where surgery is
/// dated and the reference film is not, nothing is called within (kDateUnknown).
[[nodiscard]] Finding judge(const HipEvidence& hip, std::size_t comparison,
                            const Criterion& criterion, const Course& course);

}  // namespace tidemark::assessment
