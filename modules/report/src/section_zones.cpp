#include <algorithm>
#include <set>

#include "sections.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::report {
namespace {

using followup::ComparisonResult;
using followup::FilmResult;
using followup::ZoneResult;
using lucency::Answer;
using lucency::State;

/// A zone's interface, in the order of the table.
using Place = std::pair<int, lucency::Interface>;

std::vector<const FilmResult*> films_with_zones(const followup::Result& result) {
  std::vector<const FilmResult*> out;
  const auto add = [&](const FilmResult& film) {
    if (!film.zones.empty()) out.push_back(&film);
  };
  for (const FilmResult& film : result.films) {
    if (film.role == followup::Role::kReference) add(film);
  }
  for (const ComparisonResult& pair : result.comparisons) add(result.films[pair.follow_up]);
  return out;
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

Cell change_cell(const Source& from, const ComparisonResult* pair, const Place& place) {
  Cell none{{from.say("none")}, CellRole::kOpen};
  if (pair == nullptr) return none;
  const auto found = std::find_if(pair->zones.begin(), pair->zones.end(), [&](const auto& change) {
    return change.zone == place.first && change.interface == place.second;
  });
  if (found == pair->zones.end()) return none;
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

std::string column_of(const Source& from, const FilmResult& film) {
  const std::string date = film.date ? format_date(*film.date) : printable(film.file);
  return film.role == followup::Role::kReference ? from.say("zones.reference", {{"date", date}})
                                                 : date;
}

std::string name_of(const Source& from, const Place& place, bool several) {
  std::string name =
      from.say("zone.name", {{"number", std::to_string(place.first)},
                             {"where", from.say("zone.where." + std::to_string(place.first))}});
  if (several) name += ", " + from.say("interface." + lucency::code_of(place.second));
  return name;
}

Table zones_table(const Source& from, const std::vector<const FilmResult*>& films) {
  std::set<Place> places;
  std::set<lucency::Interface> interfaces;
  for (const FilmResult* film : films) {
    for (const ZoneResult& zone : film->zones) {
      places.emplace(zone.zone, zone.interface);
      interfaces.insert(zone.interface);
    }
  }
  const ComparisonResult* pair = nullptr;
  for (const ComparisonResult& one : from.result.comparisons) {
    if (!one.zones.empty()) pair = &one;
  }
  Table out{"zones-table", from.say("zones.caption"), {from.say("zones.zone")}, {}};
  for (const FilmResult* film : films) out.columns.push_back(column_of(from, *film));
  out.columns.push_back(from.say("zones.growth"));
  for (const Place& place : places) {
    std::vector<Cell> row{{{name_of(from, place, interfaces.size() > 1)}, CellRole::kWord}};
    for (const FilmResult* film : films) {
      row.push_back(state_cell(from, *film, zone_at(*film, place)));
    }
    row.push_back(change_cell(from, pair, place));
    // Beside every single statement, because tables are read line by line.
    for (std::size_t i = 1; i < row.size(); ++i) {
      if (row[i].role != CellRole::kOpen)
        row[i].phrase.text += kFixedSpace + from.say("zones.mark");
    }
    out.rows.push_back(std::move(row));
  }
  return out;
}

}  // namespace

Section zones_section(const Source& from) {
  Section out{"zones", from.say("zones.heading"), {}};
  const auto films = films_with_zones(from.result);
  if (films.empty()) return out;
  out.blocks.emplace_back(Paragraph{{from.say("zones.doubt")}, Tone::kDoubt});
  out.blocks.emplace_back(zones_table(from, films));
  out.blocks.emplace_back(Paragraph{{from.say("zones.note")}, Tone::kNote});
  return out;
}

}  // namespace tidemark::report
