#include <algorithm>
#include <cmath>
#include <utility>

#include "sections.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using followup::ComparisonResult;
using followup::FilmResult;
using followup::Lengths;

std::string name_of(const FilmResult& film) {
  return film.date ? format_date(*film.date) : printable(film.file);
}

/// Rows in the order in which the sources first turn up; a film without one has none in its cell.
Table budget_table(const Source& from) {
  const Lengths lengths = followup::lengths_of(from.result);
  Table out{"budget-table", from.say("budget.caption"), {from.say("budget.source")}, {}};
  std::vector<const ComparisonResult*> pairs;
  std::vector<std::string> sources;
  for (const ComparisonResult& pair : from.result.comparisons) {
    if (!pair.migration) continue;
    pairs.push_back(&pair);
    out.columns.push_back(name_of(from.result.films[pair.follow_up]) + ", " + lengths.unit);
    for (const auto& item : pair.migration->budget) {
      if (std::find(sources.begin(), sources.end(), item.source) == sources.end()) {
        sources.push_back(item.source);
      }
    }
  }
  for (const std::string& source : sources) {
    std::vector<Cell> row{{from.say.or_english("budget." + source, source), CellRole::kWord}};
    for (const ComparisonResult* pair : pairs) {
      const auto& budget = pair->migration->budget;
      const auto item = std::find_if(budget.begin(), budget.end(),
                                     [&](const auto& one) { return one.source == source; });
      if (item == budget.end()) {
        row.push_back({{from.say("none")}, CellRole::kOpen});
        continue;
      }
      const double u = item->u.value / lengths.mm_per_unit;
      row.push_back({{from.say.plain(u, u)}, CellRole::kValue});
    }
    out.rows.push_back(std::move(row));
  }
  std::vector<Cell> sum{{{from.say("budget.combined")}, CellRole::kWord}};
  for (const ComparisonResult* pair : pairs) {
    const double u = pair->migration->subsidence.u.value / lengths.mm_per_unit;
    sum.push_back({{from.say.plain(u, u)}, CellRole::kStrong});
  }
  out.rows.push_back(std::move(sum));
  return out;
}

/// The key of what a film is in the series.
const char* role_of(const FilmResult& film) {
  if (film.excluded) return "role.left_out";
  if (film.days_from_surgery.value_or(0) < 0) return "role.before_surgery";
  if (film.view == View::kLateral) return "role.lateral";
  return film.role == followup::Role::kReference ? "role.reference" : "role.follow_up";
}

Table films_table(const Source& from) {
  Table out{"films-table", from.say("films.caption"), {}, {}};
  out.columns = {from.say("column.file"), from.say("column.role"), from.say("column.date"),
                 from.say("column.scale"), from.say("column.stem_tilt")};
  for (const FilmResult& film : from.result.films) {
    const Cell none{{from.say("none")}, CellRole::kOpen};
    std::vector<Cell> row{{{printable(film.file)}, CellRole::kCode}};
    row.push_back({{from.say(role_of(film))}, CellRole::kWord});
    row.push_back(film.date ? Cell{{format_date(*film.date)}, CellRole::kWord} : none);
    if (film.calibration) {
      // Scales are told in micrometres per pixel, so that the rule for digits fits them too.
      const auto& scale = film.calibration->mm_per_px;
      row.push_back(
          {{from.say("films.scale",
                     {{"scale", from.say.number(1e3 * scale.value.value, 1e3 * scale.u95.value)},
                      {"method", from.say("scale." + film.calibration->method)}})},
           CellRole::kWord});
    } else {
      row.push_back(none);
    }
    row.push_back(film.tilt ? Cell{{from.say.signed_number(*film.tilt)}, CellRole::kValue} : none);
    out.rows.push_back(std::move(row));
  }
  return out;
}

/// What the lateral films say of the stem, and what became of it.
std::vector<Paragraph> side_views(const Source& from) {
  std::vector<Paragraph> out;
  for (const FilmResult& film : from.result.films) {
    if (!film.side_view) continue;
    const Lengths lengths = followup::lengths_of(from.result, film);
    const auto& view = *film.side_view;
    out.push_back({{from.say(
        "films.side_view",
        {{"film", name_of(film)},
         {"depth", from.say.signed_number(view.stem_depth, lengths.mm_per_unit) + unit_of(lengths)},
         {"lean", from.say.signed_number(view.lean) + "°"}})}});
  }
  const bool used = !out.empty() && latest(from.result) != nullptr;
  if (used) out.push_back({{from.say("films.lean_used")}});
  return out;
}

bool is_without_pose(const FilmResult& film) {
  return std::any_of(film.flags.begin(), film.flags.end(),
                     [](const Flag& flag) { return flag.id == "surface_pose_missing"; });
}

/// Of each pair how the leg lay otherwise, by the stem's surface, or that the surface did not serve
/// it.
std::vector<Paragraph> surface_poses(const Source& from) {
  std::vector<Paragraph> out;
  for (const ComparisonResult& pair : from.result.comparisons) {
    if (!pair.migration) continue;
    const FilmResult& reference = from.result.films[pair.reference];
    const FilmResult& film = from.result.films[pair.follow_up];
    const auto& flexion = pair.migration->flexion_change;
    const auto& rotation = pair.migration->rotation_change;
    if (flexion && rotation) {
      out.push_back(
          {{from.say("pairs.surface", {{"film", name_of(film)},
                                       {"flexion", from.say.signed_number(*flexion) + "°"},
                                       {"rotation", from.say.signed_number(*rotation) + "°"}})}});
    } else if (is_without_pose(reference) || is_without_pose(film)) {
      out.push_back({{from.say("pairs.no_surface", {{"film", name_of(film)}})}});
    }
  }
  return out;
}

Items provenance_of(const Source& from) {
  Items out;
  out.items.push_back({from.say("provenance.program"), {"Tidemark " + from.result.tool_version}});
  out.items.push_back({from.say("provenance.options"), {from.result.options_sha256}});
  if (from.result.sheet_sha256) {
    out.items.push_back({from.say("provenance.sheet"), {*from.result.sheet_sha256}});
  }
  if (from.result.assessment) {
    const auto& set = from.result.assessment->criteria;
    out.items.push_back(
        {from.say("provenance.criteria", {{"id", printable(set.id)}}), {set.sha256}});
  }
  for (const FilmResult& film : from.result.films) {
    out.items.push_back(
        {printable(film.file), {film.sha256 ? *film.sha256 : from.say("provenance.unreadable")}});
  }
  return out;
}

}  // namespace

Section method_section(const Source& from) {
  Section out{"method", from.say("method.heading"), {}};
  for (const char* key : {"method.alignment", "method.motion", "method.uncertainty"}) {
    out.blocks.emplace_back(Paragraph{{from.say(key)}});
  }
  if (latest(from.result) != nullptr) out.blocks.emplace_back(budget_table(from));
  out.blocks.emplace_back(films_table(from));
  for (Paragraph& one : side_views(from)) out.blocks.emplace_back(std::move(one));
  for (Paragraph& one : surface_poses(from)) out.blocks.emplace_back(std::move(one));
  out.blocks.emplace_back(Paragraph{{from.say("provenance.note")}});
  out.blocks.emplace_back(provenance_of(from));
  return out;
}

}  // namespace tidemark::report
