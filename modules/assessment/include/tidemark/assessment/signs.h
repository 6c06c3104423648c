#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/assessment/criteria.h"
#include "tidemark/assessment/evidence.h"

namespace tidemark::assessment {

// Signs of fixation and loosening as decision tables in data (docs/schemas/signs-1.json). A sign is
// a rule over what was measured, in three-valued logic: it is present, absent, or cannot be told
// because an input cannot. What the program does not look at is never taken for absent.

/// One choice between authors who disagree, as it was made.
struct SwitchSetting {
  std::string id;
  std::string chosen;
  std::string text;                 ///< one sentence: what the choice means
  std::vector<std::string> others;  ///< ids of the choices that were not made
};

/// What a sign or an explanation rests on.
enum class Basis {
  kMotion,   ///< of the stem against the bone
  kLines,    ///< radiolucent lines, alone or with others: not validated on patients' films
  kBone,     ///< cortex, calcar or pedestal
  kNothing,  ///< the program does not look for it
};

/// One sign of one comparison.
struct SignFinding {
  std::string id;
  std::string title;
  std::string part;  ///< "fixation", "stability", "class" or "grade"
  lucency::Answer answer = lucency::Answer::kCannotTell;
  std::optional<double> points;  ///< in the table's score; 0 when it cannot be told
  Basis basis = Basis::kNothing;
  std::string text;  ///< one sentence: what the answer means, or why there is none
  std::string citation;
  Certainty certainty = Certainty::kSecondHand;
};

/// Something the findings would fit, worded as what to look at next. Never a diagnosis.
struct Explanation {
  std::string id;
  Basis basis = Basis::kMotion;
  std::string text;
  std::string citation;
  Certainty certainty = Certainty::kSecondHand;
};

/// The signs of one comparison.
struct SignReport {
  std::string table;           ///< id of the decision table
  std::size_t comparison = 0;  ///< index in HipEvidence::comparisons
  std::vector<SwitchSetting> switches;
  std::vector<SignFinding> signs;
  /// Sum of the points; absent when the table has no score or more than half of its signs cannot be
  /// told.
  std::optional<double> score;
  std::string score_text;  ///< what the score means, or why there is none; may be empty
  std::vector<Explanation> explanations;
  std::vector<std::string> doubts;  ///< sentences that hold for the whole report
};

}  // namespace tidemark::assessment
