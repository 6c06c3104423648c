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

/// Limits on one comparison, by the ids of their criteria.
struct LimitsOfFilm {
  std::size_t comparison = 0;  ///< index in HipEvidence::comparisons
  std::vector<std::string> criteria;
};

/// A limit whose number is surely passed, with the probability of that.
struct PassedNumber {
  std::string criterion;
  double probability = 0.0;
};

/// Which parts of the last motion have a 95 % interval that leaves zero out.
struct Moved {
  bool along = false;  ///< subsidence, up or down
  bool across = false;
  bool tilt = false;
  /// The head's centre along the stem, where the reference point is not: of a stem that tilts.
  bool at_head = false;

  [[nodiscard]] bool any() const { return along || across || tilt || at_head; }
};

/// What a reader sees first: one sentence, and one for its doubt.
struct Headline {
  /// kExceeds when any criterion was exceeded on any film, kWithin when a limit of subsidence is
  /// kept on the last film and nothing is open: not there, not on a film that is or may be later,
  /// no film lies above the number of a limit that holds later or contradicts another, and the
  /// stem did not move late; else kCannotTell. Not a vote: the findings say which.
  Verdict verdict = Verdict::kCannotTell;
  std::optional<std::size_t> comparison;  ///< the last one that was measured
  /// Comparisons that could not be measured and whose film is later than that, or may be because a
  /// date is missing: a stem that moved much is hard to measure.
  std::vector<std::size_t> unmeasured_since;

  // What `sentence` is made of, so that other languages can say the same.
  Moved moved;
  std::vector<std::string> above;   ///< criteria that `comparison` passes
  std::vector<std::string> within;  ///< keeps
  std::vector<std::string> open;    ///< cannot tell
  /// Of `open`, those that are finer than the films allow and whose number is passed at kDecisive.
  std::vector<PassedNumber> finer_passed;
  bool subsidence_judged = false;          ///< some limit of subsidence holds for `comparison`
  std::vector<std::string> early;          ///< above the number of these, which hold later
  std::vector<std::string> past;           ///< likewise, which held earlier
  std::vector<LimitsOfFilm> above_before;  ///< other films that pass a limit
  /// Other films that lie above the number of a limit which holds later, or whose time is not
  /// known.
  std::vector<LimitsOfFilm> beyond_elsewhere;
  std::vector<LimitsOfFilm> open_undated;  ///< films without a date, which may be later
  std::optional<Rise> rise;                ///< two films that contradict one another
  /// kContinuous or kLate, where the course is one: late motion tells more than a limit of the
  /// whole (docs/assessment.md; that it speaks against kWithin is a house choice).
  std::optional<Pattern> still_moving;

  std::string sentence;
  std::vector<std::string> doubts;  ///< sentences against it; flags apart
  std::string doubt;                ///< all of them, and every flag's, in one text
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
