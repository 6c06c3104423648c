#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/evidence.h"
#include "tidemark/assessment/sign_rule.h"

namespace tidemark::assessment {

/// An answer, and why where it cannot be told.
struct Told {
  lucency::Answer answer = lucency::Answer::kCannotTell;
  std::vector<std::string> open;  ///< clauses, each once; empty with yes and no
};

[[nodiscard]] Told yes();
[[nodiscard]] Told no();
[[nodiscard]] Told open_because(std::string reason);
[[nodiscard]] Told opposite(Told told);
/// Kleene's and, or.
[[nodiscard]] Told all_of(const std::vector<Told>& parts);
[[nodiscard]] Told any_of(const std::vector<Told>& parts);

/// One comparison as rules ask of it.
struct Facts {
  const HipEvidence& hip;          // NOLINT: views for the length of one call
  const ComparisonEvidence& pair;  // NOLINT
  const Course& course;            // NOLINT
  std::size_t comparison = 0;
};

[[nodiscard]] Told ask_measure(const Facts& facts, const MeasureRule& rule);
/// Whether any of the numbers lies farther from zero than the films' uncertainty lets it by chance:
/// 5 % for all of them together (Bonferroni).
[[nodiscard]] Told ask_moved(const Facts& facts, const std::vector<Measure>& measures);
[[nodiscard]] Told ask_lines(const Facts& facts, const LineRule& rule);

}  // namespace tidemark::assessment
