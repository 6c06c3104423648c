#include "tidemark/report/document.h"

#include <algorithm>
#include <cctype>

#include "sections.h"
#include "tidemark/assessment/probability.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using followup::ComparisonResult;
using followup::FilmResult;
using followup::Result;
using followup::Status;

const FilmResult* reference_of(const Result& result) {
  const auto found = std::find_if(result.films.begin(), result.films.end(), [](const auto& film) {
    return film.role == followup::Role::kReference;
  });
  return found == result.films.end() ? nullptr : &*found;
}

/// The newest frontal film, where it is later than all that were measured: it must not be
/// overlooked. Films that the sheet leaves out and lateral ones are not asked for motion.
const FilmResult* newest_unmeasured(const Result& result) {
  const ComparisonResult* last = latest(result);
  const FilmResult* out = nullptr;
  for (const ComparisonResult& pair : result.comparisons) {
    const FilmResult& film = result.films[pair.follow_up];
    if (!pair.migration && film.date && (out == nullptr || *film.date > *out->date)) out = &film;
  }
  if (out == nullptr || last == nullptr) return out;
  const auto& until = result.films[last->follow_up].date;
  return until && *out->date <= *until ? nullptr : out;
}

std::vector<Fact> facts_of(const Source& from) {
  const Result& result = from.result;
  std::vector<Fact> out;
  if (result.hip) out.push_back({from.say("fact.hip"), printable(*result.hip)});
  out.push_back({from.say("fact.side"), from.say(!result.side                   ? "side.unknown"
                                                 : *result.side == Side::kRight ? "side.right"
                                                                                : "side.left")});
  if (const FilmResult* film = reference_of(result)) {
    out.push_back({from.say("fact.reference"),
                   film->date ? format_date(*film->date) : printable(film->file)});
  }
  if (const ComparisonResult* pair = latest(result)) {
    out.push_back({from.say("fact.latest"), when(from, *pair)});
  }
  if (const FilmResult* film = newest_unmeasured(result)) {
    out.push_back({from.say("fact.newest"),
                   from.say("fact.newest_value", {{"date", format_date(*film->date)}})});
  }
  const auto measured =
      std::count_if(result.films.begin(), result.films.end(),
                    [](const auto& film) { return film.status == Status::kMeasured; });
  out.push_back({from.say("fact.films"),
                 from.say("fact.films_value", {{"measured", std::to_string(measured)},
                                               {"all", std::to_string(result.films.size())}})});
  return out;
}

/// Day of the latest film that has one.
std::optional<std::string> date_of(const Result& result) {
  std::optional<std::string> out;
  for (const FilmResult& film : result.films) {
    if (!film.date) continue;
    const std::string date = format_date(*film.date);
    if (!out || *out < date) out = date;
  }
  return out;
}

}  // namespace

const ComparisonResult* latest(const Result& result) {
  const ComparisonResult* out = nullptr;
  for (const ComparisonResult& pair : result.comparisons) {
    if (pair.migration) out = &pair;  // in order of time
  }
  return out;
}

std::string when(const Source& from, const ComparisonResult& pair) {
  const FilmResult& film = from.result.films[pair.follow_up];
  if (!film.date) return printable(film.file);
  std::string date = format_date(*film.date);
  if (!pair.days) return date;
  return from.say("when.dated", {{"date", date}, {"days", std::to_string(*pair.days)}});
}

Phrase phrase_of(const Source& from, const Flag& flag) {
  return from.say.said(Flag{flag.id, printable(flag.text)});
}

std::string percent_words(const Source& from, double probability) {
  std::string text = assessment::percent_text(probability);
  const auto said = [&](const std::string& english, const char* key) {
    if (!text.starts_with(english)) return false;
    text = from.say(key, {{"value", from.say.localised(text.substr(english.size()))}});
    return true;
  };
  if (said("more than ", "probability.most") || said("less than ", "probability.least")) {
    return text;
  }
  return from.say.localised(text);
}

std::string cited(const Source& from, const std::string& citation,
                  const std::optional<std::string>& doi, assessment::Certainty certainty) {
  return from.say.said(printable(citation)).text + (doi ? ", doi:" + printable(*doi) : "") + " (" +
         from.say("certainty." + assessment::code_of(certainty)) + ")";
}

std::string unit_of(const followup::Lengths& lengths) { return kFixedSpace + lengths.unit; }

bool is_flush_left(const Table& table, std::size_t column) {
  const auto is_word = [](const Cell& cell) {
    // What is strong may be a number or begin with a word: "line, 1.5 mm".
    const std::string& text = cell.phrase.text;
    const bool begins_with_letter =
        !text.empty() && std::isalpha(static_cast<unsigned char>(text.front())) != 0;
    return cell.role == CellRole::kWord || cell.role == CellRole::kCode ||
           (cell.role == CellRole::kStrong && begins_with_letter);
  };
  return column == 0 || std::any_of(table.rows.begin(), table.rows.end(),
                                    [&](const auto& row) { return is_word(row[column]); });
}

Document document_of(const Result& result, Language language) {
  const Texts say(language);
  const Source from{result, say};
  Document out;
  out.language = language;
  out.title = say("title");
  if (result.hip) out.hip = printable(*result.hip);
  out.facts = facts_of(from);
  out.headline = headline_of(from);
  out.caution = say("caution");
  out.date = date_of(result);
  out.tool = "Tidemark " + result.tool_version;
  for (Section section :
       {history_section(from), course_section(from), pair_section(from, out), zones_section(from),
        values_section(from), criteria_section(from), signs_section(from), seat_section(from, out),
        method_section(from), cautions_section(from)}) {
    if (!section.blocks.empty()) out.sections.push_back(std::move(section));
  }
  return out;
}

}  // namespace tidemark::report
