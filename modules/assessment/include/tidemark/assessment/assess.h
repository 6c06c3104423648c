#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/criteria.h"
#include "tidemark/assessment/evidence.h"
#include "tidemark/assessment/judge.h"
#include "tidemark/assessment/signs.h"

namespace tidemark::assessment {

/// What a reader sees first: one sentence, and one for its doubt.
struct Headline {
  /// kExceeds when any criterion was exceeded on any film, kWithin when a limit of subsidence is
  /// kept on the last film, nothing is open there and no later film failed, else kCannotTell. Not a
  /// vote: the findings say which.
  Verdict verdict = Verdict::kCannotTell;
  std::optional<std::size_t> comparison;  ///< the last one that was measured
  /// Comparisons that could not be measured and whose film is later than that, or may be because a
  /// date is missing: a stem that moved much is hard to measure.
  std::vector<std::size_t> unmeasured_since;
  std::string sentence;
  std::string doubt;
};

/// What the measurements of one hip mean, as far as published criteria tell. Decision support,
/// never a diagnosis: nothing here says that a stem is loose or has failed.
struct Assessment {
  CriteriaSet criteria;  ///< those that were applied
  Headline headline;
  std::vector<Finding> findings;  ///< by comparison, then in the order of the set
  Course course;
  SignAssessment signs;               ///< decision tables of fixation and loosening
  std::vector<std::string> cautions;  ///< sentences to be printed with the result
};

/// Judges one hip: course over time, every criterion on every comparison, signs. A pure function.
/// @param signs the decision table to read; null: none
[[nodiscard]] Assessment assess(const HipEvidence& hip, const CriteriaSet& criteria,
                                const SignTable* signs);
/// As above, with the built-in decision table for the stem.
[[nodiscard]] Assessment assess(const HipEvidence& hip, const CriteriaSet& criteria);

}  // namespace tidemark::assessment
