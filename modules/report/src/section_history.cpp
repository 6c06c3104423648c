#include <cmath>

#include "sections.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using followup::Change;
using followup::ChangeKind;
using followup::History;

std::string film_of(const Change& change) {
  return printable(change.film) + (change.date ? " (" + format_date(*change.date) + ")" : "");
}

std::string quantity_of(const Source& from, const Change& change) {
  if (change.what.starts_with("subsidence")) return from.say("quantity.subsidence");
  return from.say(change.what.starts_with("medial") ? "quantity.medial" : "quantity.tilt_change");
}

/// "+0.31 mm" with the digits that the new value bears.
std::string difference_of(const Source& from, const Change& change, const std::string& unit) {
  const int decimals = decimals_borne_by(change.value_after->u95);
  return from.say.localised(signed_text(*change.difference, decimals)) + unit;
}

std::string values_of(const Source& from, const Change& change) {
  const std::string unit = kFixedSpace + (change.unit == "deg" ? std::string("°") : change.unit);
  const auto shown = [&](const Measured<double>& value) {
    return from.say.signed_number(value.value, value.u95) + unit;
  };
  const bool latest = change.kind == ChangeKind::kLatestValue;
  const bool has_u = change.difference_u.has_value();
  const double u = has_u ? *change.difference_u : change.value_before->u;
  std::string out =
      from.say(latest ? has_u ? "history.latest_value_u" : "history.latest_value" : "history.value",
               {{"film", film_of(change)},
                {"quantity", quantity_of(from, change)},
                {"before", shown(*change.value_before)},
                {"after", shown(*change.value_after)},
                {"difference", difference_of(from, change, unit)},
                {"u", from.say.localised(fixed_text(u, 2)) + unit}});
  if (change.value_told) {
    out += " " + from.say("history.told", {{"told", shown(*change.value_told)}});
  }
  return out;
}

/// "zone 3, stem_bone" in the language of the page.
std::string zone_of(const Source& from, const std::string& what) {
  const std::size_t comma = what.find(", ");
  if (comma == std::string::npos || comma < 5) return what;
  return from.say("zones.zone") + " " + what.substr(5, comma - 5) + ", " +
         from.say("interface." + what.substr(comma + 2));
}

std::string codes_of(const Source& from, const Change& change, const std::string& group) {
  const auto word = [&](const std::string& code) { return from.say(group + code); };
  return from.say("history." + followup::code_of(change.kind),
                  {{"film", film_of(change)},
                   {"what", change.kind == ChangeKind::kLine ? zone_of(from, change.what)
                                                             : printable(change.what)},
                   {"before", word(change.before)},
                   {"after", word(change.after)}});
}

std::string sentence_of(const Source& from, const Change& change) {
  switch (change.kind) {
    case ChangeKind::kLatestValue:
    case ChangeKind::kValue:
      return values_of(from, change);
    case ChangeKind::kLine:
      return codes_of(from, change, "zone.");
    case ChangeKind::kVerdict:
    case ChangeKind::kHeadline:
      return codes_of(from, change, "verdict.");
    case ChangeKind::kPattern:
      return codes_of(from, change, "pattern.");
    default:
      return from.say("history." + followup::code_of(change.kind),
                      {{"film", film_of(change)},
                       {"before", printable(change.before)},
                       {"after", printable(change.after)}});
  }
}

std::string since(const Source& from, const followup::EarlierReport& report) {
  return from.say(report.latest ? "history.since_dated" : "history.since",
                  {{"films", std::to_string(report.films)},
                   {"date", report.latest ? format_date(*report.latest) : ""},
                   {"version", printable(report.version)}});
}

}  // namespace

Section history_section(const Source& from) {
  Section out{"history", from.say("history.heading"), {}};
  if (!from.result.history) return out;
  const History& history = *from.result.history;
  if (history.earlier) {
    out.blocks.emplace_back(Paragraph{{since(from, *history.earlier)}});
    Items changes;
    for (const Change& change : history.changes) {
      changes.items.push_back({"", {sentence_of(from, change)}});
    }
    if (changes.items.empty()) changes.items.push_back({"", {from.say("history.nothing")}});
    out.blocks.emplace_back(std::move(changes));
  }
  if (!history.note.empty()) {
    out.blocks.emplace_back(Paragraph{from.say.said(printable(history.note)), Tone::kNote});
  }
  if (!history.reused_films.empty() || !history.reused_comparisons.empty()) {
    out.blocks.emplace_back(
        Paragraph{{from.say("history.reused",
                            {{"films", std::to_string(history.reused_films.size())},
                             {"all_films", std::to_string(from.result.films.size())},
                             {"pairs", std::to_string(history.reused_comparisons.size())},
                             {"all_pairs", std::to_string(from.result.comparisons.size())}})},
                  Tone::kNote});
  }
  return out;
}

}  // namespace tidemark::report
