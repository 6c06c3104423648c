#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/criteria.h"
#include "tidemark/assessment/evidence.h"
#include "tidemark/assessment/sign_rule.h"
#include "tidemark/core/expected.h"

namespace tidemark::assessment {

// Signs of fixation and loosening as decision tables in data (docs/schemas/signs-1.json). A sign is
// present, absent, or cannot be told because an input cannot. What the program does not look at is
// never taken for absent. Sources: docs/assessment.md.

/// Where a rule or a choice comes from.
struct Citation {
  std::string text;
  std::optional<std::string> doi;
  Certainty certainty = Certainty::kSecondHand;
};

/// One way to read a table where authors disagree, or a fact that only the user knows.
struct SwitchChoice {
  std::string id;
  std::string text;  ///< one sentence: what it means
  std::optional<Citation> source;
};

/// A question that authors answer differently.
struct SignSwitch {
  std::string id;
  std::string question;
  std::string chosen;  ///< id of a choice
  std::vector<SwitchChoice> choices;
};

/// One sign of a table.
struct Sign {
  std::string id;
  std::string title;
  std::string part;  ///< "fixation", "stability", "motion", "lines", "class" or "grade"
  Rule present;
  Rule absent;  ///< where the table gives none: not `present`
  std::string says_present;
  std::string says_absent;
  std::optional<double> points_present;
  std::optional<double> points_absent;
  Citation source;
  std::string note;  ///< may be empty
};

/// What a sum of points means from `at_least` on.
struct ScoreReading {
  std::optional<double> at_least;  ///< absent: anything
  std::string says;
};

/// The score of a table.
struct SignScore {
  std::string title;
  std::vector<ScoreReading> readings;  ///< the highest first
  Citation source;
};

/// One part of an explanation.
struct ExplanationClause {
  std::string says;
  Rule when;
};

/// What findings together would fit, and what to look at next.
struct ExplanationRule {
  std::string id;
  std::string title;
  std::vector<ExplanationClause> clauses;  ///< all of them
  std::string next;                        ///< what to look at next
  Citation source;
};

/// A decision table.
struct SignTable {
  std::string id;  ///< with its version, e.g. "uncemented-signs/1"
  std::string title;
  Scope fixation = Scope::kUncemented;
  std::string note;  ///< may be empty
  std::vector<SignSwitch> switches;
  std::vector<Sign> signs;
  std::optional<SignScore> score;
  std::vector<ExplanationRule> explanations;
  std::string sha256;  ///< of the file's bytes
};

/// Reads a decision table. One that `extends` a built-in table holds its switches, signs and
/// explanations too, those with an id of its own replaced; `choose` sets switches.
/// @return kBadInput with one sentence that names the place.
[[nodiscard]] Expected<SignTable> parse_signs(std::string_view text, const std::string& name);

/// The tables that come with the program, by id. They are compiled in.
[[nodiscard]] const std::vector<SignTable>& built_in_signs();

/// A built-in table by its id, or the table in a file. Errors as parse_signs.
[[nodiscard]] Expected<SignTable> find_signs(const std::string& id_or_file);

/// The built-in table for a stem; null where its fixation is not known.
[[nodiscard]] const SignTable* default_signs(const StemHold& stem);

/// The table with switches set, each {switch, choice}.
/// @return kUsage when there is no such switch or choice; names the nearest.
[[nodiscard]] Expected<SignTable> with_switches(
    SignTable table, const std::vector<std::pair<std::string, std::string>>& choices);

/// One choice between authors who disagree, as it was made.
struct SwitchSetting {
  std::string id;
  std::string chosen;
  std::string text;                 ///< one sentence: what the choice means
  std::vector<std::string> others;  ///< ids of the choices that were not made
};

/// What a sign or an explanation rests on, the most doubtful of it.
enum class Basis {
  kMotion,   ///< of the stem against the bone
  kBone,     ///< cortex, calcar or pedestal
  kLines,    ///< radiolucent lines, alone or with others: not validated on patients' films
  kNothing,  ///< the program does not look for it
};
[[nodiscard]] std::string code_of(Basis basis);  ///< motion, bone, lines, nothing

/// One sign of one comparison.
struct SignFinding {
  std::string id;
  std::string title;
  std::string part;  ///< as Sign::part
  lucency::Answer answer = lucency::Answer::kCannotTell;
  std::optional<double> points;  ///< in the table's score; 0 when it cannot be told
  Basis basis = Basis::kNothing;
  std::string text;  ///< one sentence: what the answer means, or why there is none
  std::string citation;
  std::optional<std::string> doi;
  Certainty certainty = Certainty::kSecondHand;
};

/// One part of an explanation, answered.
struct ClauseFinding {
  std::string text;
  lucency::Answer answer = lucency::Answer::kCannotTell;
};

/// Something the findings would or would not fit, worded as what to look at next. Never a
/// diagnosis.
struct Explanation {
  std::string id;
  std::string title;
  lucency::Answer answer = lucency::Answer::kCannotTell;  ///< whether all clauses hold
  std::vector<ClauseFinding> clauses;
  std::string next;
  Basis basis = Basis::kMotion;
  std::string citation;
  std::optional<std::string> doi;
  Certainty certainty = Certainty::kSecondHand;
};

/// A sum of points.
struct SignSum {
  /// Absent when more than half of the scored signs cannot be told (proposal).
  std::optional<double> total;
  double low = 0.0;   ///< with all that cannot be told at its worst
  double high = 0.0;  ///< and at its best
  int told = 0;
  int signs = 0;     ///< that have points
  std::string text;  ///< what the total means, or why there is none
};

/// The signs of one comparison.
struct SignReport {
  std::size_t comparison = 0;  ///< index in HipEvidence::comparisons
  std::vector<SignFinding> signs;
  std::optional<SignSum> score;           ///< absent when the table has none
  std::vector<Explanation> explanations;  ///< all of the table, in its order
  std::vector<std::string> doubts;        ///< sentences that hold for the whole report
};

/// The signs of one hip.
struct SignAssessment {
  std::string table;  ///< id; empty when no table was read
  std::string title;
  std::string sha256;
  std::string reason;  ///< one sentence when no table was read
  std::string note;    ///< the table's; may be empty
  std::vector<SwitchSetting> switches;
  std::vector<SignReport> reports;  ///< one for each comparison, in their order
};

/// Reads a table on every comparison of a hip. A pure function.
/// @param table null: none fits the stem
[[nodiscard]] SignAssessment read_table(const HipEvidence& hip, const Course& course,
                                        const SignTable* table);

/// Sum of the points of signs that were read, with what it means (SignScore).
[[nodiscard]] SignSum sum_of(const SignTable& table,
                             const std::vector<std::pair<std::string, lucency::Answer>>& answers);

}  // namespace tidemark::assessment
