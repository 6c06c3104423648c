#include "help_parts.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "document_parts.h"
#include "overlay.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"

namespace tidemark::view {

std::string told(const Measured<Millimetres>& value, const followup::Lengths& unit) {
  return with_uncertainty(value.value.value / unit.mm_per_unit,
                          value.u95.value / unit.mm_per_unit) +
         " " + unit.unit;
}

std::string told(const Measured<Degrees>& value) {
  return with_uncertainty(value.value.value, value.u95.value) + "°";
}

std::string told_width(const Measured<Millimetres>& value, const followup::Lengths& unit) {
  std::string out = told(value, unit);
  if (out.front() == '+') out.erase(0, 1);
  return out;
}

std::string interval_of(double value, double u, double u95, const std::string& unit) {
  const int decimals = decimals_borne_by(u95);
  return "standard uncertainty " + fixed_text(u, decimals_borne_by(u)) + unit + ", 95 % interval " +
         signed_text(value - u95, decimals) + " to " + signed_text(value + u95, decimals) + unit;
}

std::string told(Source source) {
  return source == Source::kGiven ? "put there by hand" : "found by the program";
}

std::string percent(double share) {
  const double whole = 100.0 * share;
  if (whole < 0.5) return "less than 1 %";
  if (whole > 99.5) return "more than 99 %";
  return fixed_text(whole, 0) + " %";
}

void add_flags(Help& to, const std::string& about, const std::vector<Flag>& flags) {
  for (const Flag& flag : flags) {
    to.facts.push_back((about.empty() ? "" : about + ": ") + printable(flag.text));
  }
}

void add_by_hand(Help& to, const followup::FilmResult& film) {
  std::string names;
  const auto add = [&](bool by_hand, const std::string& name) {
    if (by_hand) names += (names.empty() ? "" : ", ") + name;
  };
  const auto given = [](const auto& found) { return found && found->source == Source::kGiven; };
  add(given(film.head), "head");
  if (film.stem) {
    add(given(film.stem->tip), "tip");
    add(film.stem->shoulder.source == Source::kGiven, "shoulder");
    add(film.stem->axis.source == Source::kGiven, "stem axis");
  }
  add(given(film.shaft_axis), "shaft axis");
  add(given(film.lesser_trochanter), "lesser trochanter");
  add(given(film.greater_trochanter), "greater trochanter");
  for (std::size_t i = 0; i < std::min(film.zone_borders.size(), kZoneBorderGrips.size()); ++i) {
    add(film.zone_borders[i].source == Source::kGiven, words_of(kZoneBorderGrips.at(i)));
  }
  if (!names.empty()) {
    to.facts.push_back("Put there by hand on " + printable(film.file) + ": " + names + ".");
  }
}

std::string scale_of(const HelpFrom& from, std::size_t film) {
  constexpr std::size_t kScale = 3;  // column of the report's table of films
  const auto* table = table_of(section_of(from.document, "method"), "films-table");
  const bool known = table != nullptr && film < table->rows.size() &&
                     from.result.films[film].calibration.has_value();
  return known ? table->rows[film][kScale].phrase.text : "none";
}

std::vector<std::string> paragraphs_of(const HelpFrom& from, const std::string& section,
                                       report::Tone tone) {
  std::vector<std::string> out;
  const report::Section* found = section_of(from.document, section);
  if (found == nullptr) return out;
  for (const report::Block& block : found->blocks) {
    const auto* paragraph = std::get_if<report::Paragraph>(&block);
    if (paragraph != nullptr && paragraph->tone == tone) out.push_back(paragraph->phrase.text);
  }
  return out;
}

void append(std::vector<std::string>& to, std::vector<std::string> more) {
  for (std::string& one : more) to.push_back(std::move(one));
}

std::string source_of_criterion(const HelpFrom& from, const std::string& id) {
  const report::Section* criteria = section_of(from.document, "criteria");
  if (criteria == nullptr) return {};
  for (const report::Block& block : criteria->blocks) {
    const auto* table = std::get_if<report::Table>(&block);
    if (table == nullptr) continue;
    for (const auto& row : table->rows) {
      if (row.front().phrase.text == printable(id)) return row.back().phrase.text;
    }
  }
  return {};
}

}  // namespace tidemark::view
