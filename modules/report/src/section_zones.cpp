#include <algorithm>
#include <optional>
#include <set>

#include "sections.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::report {
namespace {

using followup::FilmResult;
using followup::ZoneResult;
using lucency::Answer;
using lucency::State;

/// A zone's interface, in the order of the table.
using Place = std::pair<int, lucency::Interface>;

/// Films of one kind, past to present, and what became of their lines.
struct Kind {
  std::string id;
  std::string caption;
  std::vector<const FilmResult*> films;
  std::optional<std::size_t> first;  ///< what the others were compared with; index in Result::films
  std::optional<std::size_t> last;   ///< the newest follow-up film, compared with it or not
};

template <class Pairs>
Kind kind_of(const Source& from, const std::string& id, const std::string& caption,
             std::optional<std::size_t> first, const Pairs& pairs) {
  const followup::Result& result = from.result;
  Kind out{id, from.say(caption), {}, first, {}};
  const auto add = [&](std::size_t film) {
    if (!result.films[film].zones.empty()) out.films.push_back(&result.films[film]);
  };
  if (first) add(*first);
  for (const auto& pair : pairs) {
    add(pair.follow_up);
    if (!result.films[pair.follow_up].zones.empty()) out.last = pair.follow_up;
  }
  return out;
}

Kind frontal_films(const Source& from) {
  const auto& films = from.result.films;
  std::optional<std::size_t> first;
  for (std::size_t i = 0; i < films.size() && !first; ++i) {
    if (films[i].role == followup::Role::kReference) first = i;
  }
  return kind_of(from, "zones-table", "zones.caption", first, from.result.comparisons);
}

/// A lateral film alone has lines, too.
Kind lateral_films(const Source& from) {
  const auto& films = from.result.films;
  const auto& pairs = from.result.lateral_comparisons;
  std::optional<std::size_t> first;
  if (!pairs.empty()) first = pairs.front().reference;
  for (std::size_t i = 0; i < films.size() && !first; ++i) {
    if (films[i].view == View::kLateral && !films[i].zones.empty()) first = i;
  }
  return kind_of(from, "zones-table-lateral", "zones.caption.lateral", first, pairs);
}

const ZoneResult* zone_at(const FilmResult& film, const Place& place) {
  const auto found = std::find_if(film.zones.begin(), film.zones.end(), [&](const auto& zone) {
    return zone.zone == place.first && zone.interface == place.second;
  });
  return found == film.zones.end() ? nullptr : &*found;
}

Cell state_cell(const Source& from, const FilmResult& film, const ZoneResult* zone) {
  if (zone == nullptr) return {{from.say("none")}, CellRole::kOpen};
  const std::string state = from.say("zone." + lucency::code_of(zone->state));
  if (zone->state == State::kCannotTell || zone->state == State::kNotSeen) {
    return {{state}, CellRole::kOpen};
  }
  if (zone->state == State::kAbsent || !zone->max) return {{state}, CellRole::kWord};
  const followup::Lengths lengths = followup::lengths_of(from.result, film);
  const std::string width = from.say.number(*zone->max, lengths.mm_per_unit) + unit_of(lengths);
  return {{from.say("zone.width", {{"width", width}})}, CellRole::kStrong};
}

Cell change_cell(const Source& from, const Kind& kind, const Place& place) {
  Cell none{{from.say("none")}, CellRole::kOpen};
  if (!kind.last) return none;
  const auto since = followup::lines_since(from.result, *kind.last);
  // The newest film shows lines that were not held against the reference film's.
  if (!since) return {{from.say("growth.cannot_tell")}, CellRole::kOpen};
  const auto* found = lucency::change_at(since->zones, place.first, place.second);
  if (found == nullptr) return none;
  const std::string answer = from.say("growth." + lucency::code_of(found->progressive));
  const CellRole role = found->progressive == Answer::kYes  ? CellRole::kStrong
                        : found->progressive == Answer::kNo ? CellRole::kWord
                                                            : CellRole::kOpen;
  if (!found->change) return {{answer}, role};
  const followup::Lengths lengths = followup::lengths_of(from.result);
  return {{answer + ", " + from.say.signed_number(*found->change, lengths.mm_per_unit) +
           unit_of(lengths)},
          role};
}

std::string column_of(const Source& from, const Kind& kind, const FilmResult& film) {
  const std::string date = film.date ? format_date(*film.date) : printable(film.file);
  const bool first = kind.first && &film == &from.result.films[*kind.first];
  return first ? from.say("zones.reference", {{"date", date}}) : date;
}

/// Names the film that the answers belong to.
std::string growth_column(const Source& from, const Kind& kind) {
  if (!kind.last) return from.say("zones.growth");
  const FilmResult& film = from.result.films[*kind.last];
  return from.say("zones.growth_on",
                  {{"date", film.date ? format_date(*film.date) : printable(film.file)}});
}

std::string name_of(const Source& from, const Place& place, bool several) {
  std::string name =
      from.say("zone.name", {{"number", std::to_string(place.first)},
                             {"where", from.say("zone.where." + std::to_string(place.first))}});
  if (several) name += ", " + from.say("interface." + lucency::code_of(place.second));
  return name;
}

Table zones_table(const Source& from, const Kind& kind) {
  std::set<Place> places;
  std::set<lucency::Interface> interfaces;
  for (const FilmResult* film : kind.films) {
    for (const ZoneResult& zone : film->zones) {
      places.emplace(zone.zone, zone.interface);
      interfaces.insert(zone.interface);
    }
  }
  Table out{kind.id, kind.caption, {from.say("zones.zone")}, {}};
  for (const FilmResult* film : kind.films) out.columns.push_back(column_of(from, kind, *film));
  out.columns.push_back(growth_column(from, kind));
  for (const Place& place : places) {
    std::vector<Cell> row{{{name_of(from, place, interfaces.size() > 1)}, CellRole::kWord}};
    for (const FilmResult* film : kind.films) {
      row.push_back(state_cell(from, *film, zone_at(*film, place)));
    }
    row.push_back(change_cell(from, kind, place));
    // Beside every single statement, because tables are read line by line.
    for (std::size_t i = 1; i < row.size(); ++i) {
      if (row[i].role != CellRole::kOpen)
        row[i].phrase.text += kFixedSpace + from.say("zones.mark");
    }
    out.rows.push_back(std::move(row));
  }
  return out;
}

/// Why zones of the newest film cannot be told, and what became of their lines, each reason once
/// with its zones.
Items reasons_of(const Source& from, const Kind& kind) {
  std::vector<std::pair<std::string, std::string>> found;  // reason, zones
  const auto add = [&](const std::string& reason, int zone) {
    if (reason.empty()) return;
    auto at = std::find_if(found.begin(), found.end(),
                           [&](const auto& one) { return one.first == reason; });
    if (at == found.end()) at = found.insert(found.end(), {reason, {}});
    const std::string number = std::to_string(zone);
    if (!at->second.ends_with(number)) at->second += (at->second.empty() ? "" : ", ") + number;
  };
  if (!kind.last) return {};
  for (const ZoneResult& zone : from.result.films[*kind.last].zones) add(zone.reason, zone.zone);
  if (const auto since = followup::lines_since(from.result, *kind.last)) {
    for (const lucency::ZoneChange& change : since->zones) {
      if (change.progressive == Answer::kCannotTell) add(change.reason, change.zone);
    }
  }
  Items out;
  for (const auto& [reason, zones] : found) {
    const char* key = zones.find(',') == std::string::npos ? "zones.of_one" : "zones.of";
    out.items.push_back({from.say(key, {{"zones", zones}}), from.say.said(printable(reason))});
  }
  return out;
}

/// What the last measured pair says of focal loss of bone.
std::optional<Table> lysis_table(const Source& from) {
  const followup::ComparisonResult* pair = latest(from.result);
  if (pair == nullptr || !pair->signs || pair->signs->lysis.empty()) return {};
  Table out{"lysis-table",
            from.say("lysis.caption", {{"when", when(from, *pair)}}),
            {from.say("zones.zone"), from.say("lysis.state"), from.say("lysis.area")},
            {}};
  const followup::Lengths lengths = followup::lengths_of(from.result);
  const double unit = lengths.mm_per_unit * lengths.mm_per_unit;
  for (const lucency::ZoneLysis& one : pair->signs->lysis) {
    const bool present = one.state == State::kPresent;
    const bool told = present || one.state == State::kAbsent;
    const std::string mark = told ? kFixedSpace + from.say("zones.mark") : std::string();
    Cell area{{from.say("none")}, CellRole::kOpen};
    if (one.area) {
      area = {{from.say.number(*one.area, unit) + unit_of(lengths) + "\xC2\xB2"},
              CellRole::kStrong};
    }
    out.rows.push_back(
        {{{name_of(from, {one.zone, lucency::Interface::kStemBone}, false)}, CellRole::kWord},
         {{from.say("lysis." + lucency::code_of(one.state)) + mark},
          present ? CellRole::kStrong : (told ? CellRole::kWord : CellRole::kOpen)},
         std::move(area)});
  }
  return out;
}

}  // namespace

Section zones_section(const Source& from) {
  Section out{"zones", from.say("zones.heading"), {}};
  const Kind frontal = frontal_films(from);
  const Kind lateral = lateral_films(from);
  if (frontal.films.empty() && lateral.films.empty()) return out;
  out.blocks.emplace_back(Paragraph{{from.say("zones.doubt")}, Tone::kDoubt});
  for (const Kind* kind : {&frontal, &lateral}) {
    if (kind->films.empty()) continue;
    out.blocks.emplace_back(zones_table(from, *kind));
    if (Items reasons = reasons_of(from, *kind); !reasons.items.empty()) {
      out.blocks.emplace_back(Paragraph{{from.say("zones.why")}});
      out.blocks.emplace_back(std::move(reasons));
    }
  }
  out.blocks.emplace_back(Paragraph{{from.say("zones.note")}, Tone::kNote});
  if (auto lysis = lysis_table(from)) {
    out.blocks.emplace_back(std::move(*lysis));
    out.blocks.emplace_back(Paragraph{{from.say("lysis.note")}, Tone::kNote});
  }
  return out;
}

}  // namespace tidemark::report
