#pragma once

#include <optional>
#include <string>

#include "texts.h"
#include "tidemark/assessment/criteria.h"
#include "tidemark/report/document.h"

namespace tidemark::report {

// The parts of a document, in their order on the page. Each is absent from the page when it comes
// back without blocks.

/// What every part is made from.
struct Source {
  const followup::Result& result;  // NOLINT: a view for the length of one call
  const Texts& say;                // NOLINT
};

[[nodiscard]] Headline headline_of(const Source& from);
/// What changed since the last report.
[[nodiscard]] Section history_section(const Source& from);
[[nodiscard]] Section course_section(const Source& from);
/// Fills the plates of `document`.
[[nodiscard]] Section pair_section(const Source& from, Document& document);
[[nodiscard]] Section zones_section(const Source& from);
[[nodiscard]] Section values_section(const Source& from);
/// Of each comparison: every criterion with its verdict.
[[nodiscard]] Section criteria_section(const Source& from);
/// Signs of fixation and loosening on the last film, and what they would fit.
[[nodiscard]] Section signs_section(const Source& from);
/// How the stem was seated, on the reference film.
/// Its picture is the first plate of `document`, where there is one.
[[nodiscard]] Section seat_section(const Source& from, const Document& document);
[[nodiscard]] Section method_section(const Source& from);
[[nodiscard]] Section cautions_section(const Source& from);

/// The measured comparison that was made last; null when there is none.
[[nodiscard]] const followup::ComparisonResult* latest(const followup::Result& result);
/// "2024-06-03 (day 93)", else what is known, at least the name of the file.
[[nodiscard]] std::string when(const Source& from, const followup::ComparisonResult& pair);
/// A flag's sentence in the language of the page, else in English.
[[nodiscard]] Phrase phrase_of(const Source& from, const Flag& flag);
/// A probability in per cent that never reads as certain, nor as a verdict where it falls short.
[[nodiscard]] std::string percent_words(const Source& from, double probability);
/// "Author, Journal (year), doi:... (read in the source)". A citation stays in the language of its
/// source; what only describes one has a translation.
[[nodiscard]] std::string cited(const Source& from, const std::string& citation,
                                const std::optional<std::string>& doi,
                                assessment::Certainty certainty);
/// "mm" or "px", with the fixed space before it.
[[nodiscard]] std::string unit_of(const followup::Lengths& lengths);

}  // namespace tidemark::report
