#pragma once

#include <optional>
#include <string>
#include <vector>

#include "help_text.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"

namespace tidemark::view {

// What several explanations say alike.

inline constexpr const char* kHouseChoice = "House choice.";
inline constexpr const char* kNoSource = "Common practice, no source.";
inline constexpr const char* kGum = "Uncertainty: GUM (JCGM 100:2008).";
inline constexpr const char* kJudgedBy = "Decision rule: JCGM 106:2012.";
inline constexpr const char* kOnSimulatedFilms =
    "How far it can be believed was measured on simulated films only (docs/accuracy.md).";

/// "+2.10 ± 0.40 mm" in the unit of the comparisons.
[[nodiscard]] std::string told(const Measured<Millimetres>& value, const followup::Lengths& unit);
/// "+0.35 ± 0.18°"
[[nodiscard]] std::string told(const Measured<Degrees>& value);
/// Likewise without the sign: of a width.
[[nodiscard]] std::string told_width(const Measured<Millimetres>& value,
                                     const followup::Lengths& unit);
/// "standard uncertainty 0.21 mm, 95 % interval +1.7 to +2.5 mm"
[[nodiscard]] std::string interval_of(double value, double u, double u95, const std::string& unit);
/// "on the film", "by hand"
[[nodiscard]] std::string told(Source source);
/// "98 %"
[[nodiscard]] std::string percent(double share);

/// The sentences of the flags, each with what it is about.
void add_flags(Help& to, const std::string& about, const std::vector<Flag>& flags);
/// What was put right by hand on a film; nothing when nothing was.
void add_by_hand(Help& to, const followup::FilmResult& film);
/// The film's scale as the report has it; "none".
[[nodiscard]] std::string scale_of(const HelpFrom& from, std::size_t film);

/// The paragraphs of a section of the report, in their order, of one tone.
[[nodiscard]] std::vector<std::string> paragraphs_of(const HelpFrom& from,
                                                     const std::string& section, report::Tone tone);
void append(std::vector<std::string>& to, std::vector<std::string> more);
/// Where a criterion comes from and how sure its value is, as the report says it; empty: it says
/// nothing of it.
[[nodiscard]] std::string source_of_criterion(const HelpFrom& from, const std::string& id);

}  // namespace tidemark::view
