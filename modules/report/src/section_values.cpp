#include <array>

#include "sections.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using followup::ComparisonResult;
using followup::Lengths;

std::vector<Cell> row_of(const Source& from, const ComparisonResult& pair) {
  const followup::FilmResult& film = from.result.films[pair.follow_up];
  std::vector<Cell> row{
      {{film.date ? format_date(*film.date) : printable(film.file)}, CellRole::kWord},
      {{pair.days ? std::to_string(*pair.days) : from.say("none")}, CellRole::kValue}};
  if (!pair.migration) {
    row.push_back({{from.say("not_measured")}, CellRole::kOpen});
    row.resize(8, {{from.say("none")}, CellRole::kOpen});
    return row;
  }
  const migration::Migration& m = *pair.migration;
  const Lengths lengths = followup::lengths_of(from.result);
  row.push_back({{from.say.signed_number(m.subsidence, lengths.mm_per_unit)}, CellRole::kStrong});
  const std::array<std::optional<Measured<Millimetres>>, 4> all{
      m.subsidence_at_head_centre, m.subsidence_at_shoulder, m.subsidence_at_tip, m.medial};
  for (const auto& length : all) {
    row.push_back(
        length ? Cell{{from.say.signed_number(*length, lengths.mm_per_unit)}, CellRole::kValue}
               : Cell{{from.say("none")}, CellRole::kOpen});
  }
  row.push_back({{from.say.signed_number(m.tilt_change)}, CellRole::kStrong});
  return row;
}

/// What could not be measured, and why, for a radiographer to act on.
Items refusals_of(const Source& from) {
  Items out;
  for (const auto& film : from.result.films) {
    if (film.status == followup::Status::kMeasured) continue;
    out.items.push_back({printable(film.file), from.say.said(printable(film.reason))});
  }
  for (const ComparisonResult& pair : from.result.comparisons) {
    const auto& film = from.result.films[pair.follow_up];
    const auto& reference = from.result.films[pair.reference];
    if (pair.migration || film.status != followup::Status::kMeasured ||
        reference.status != followup::Status::kMeasured) {
      continue;
    }
    out.items.push_back({from.say("refusal.pair", {{"follow_up", printable(film.file)},
                                                   {"reference", printable(reference.file)}}),
                         from.say.said(printable(pair.reason))});
  }
  return out;
}

}  // namespace

Section values_section(const Source& from) {
  Section out{"values", from.say("values.heading"), {}};
  const std::string unit = followup::lengths_of(from.result).unit;
  if (!from.result.comparisons.empty()) {
    Table table{"values-table", from.say("values.caption"), {}, {}};
    table.columns = {from.say("column.film"),
                     from.say("column.day"),
                     from.say("column.subsidence", {{"unit", unit}}),
                     from.say("column.at_head", {{"unit", unit}}),
                     from.say("column.at_shoulder", {{"unit", unit}}),
                     from.say("column.at_tip", {{"unit", unit}}),
                     from.say("column.medial", {{"unit", unit}}),
                     from.say("column.tilt_change")};
    for (const ComparisonResult& pair : from.result.comparisons) {
      table.rows.push_back(row_of(from, pair));
    }
    out.blocks.emplace_back(std::move(table));
    out.blocks.emplace_back(Paragraph{{from.say("values.note")}, Tone::kNote});
  }
  Items refusals = refusals_of(from);
  if (!refusals.items.empty()) {
    out.blocks.emplace_back(Paragraph{{from.say("values.refused")}});
    out.blocks.emplace_back(std::move(refusals));
  }
  return out;
}

}  // namespace tidemark::report
