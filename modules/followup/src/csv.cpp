#include <cstddef>

#include "csv_row.h"
#include "tidemark/followup/doubts.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

constexpr std::size_t kCellsEach = 3;  // value, u, u95
constexpr std::size_t kMeasuredCells = 8 * kCellsEach;

void header_of(Row& row, const std::string& unit) {
  for (const char* name : {"hip", "side", "reference_file", "follow_up_file", "reference_date",
                           "follow_up_date", "days", "status", "reason"}) {
    row.text(name);
  }
  for (const std::string& name :
       {"subsidence" + unit, "subsidence_at_head_centre" + unit, "subsidence_at_shoulder" + unit,
        "subsidence_at_tip" + unit, "medial" + unit, std::string("tilt_change_deg"),
        std::string("flexion_change_deg"), std::string("rotation_change_deg")}) {
    const auto cut = name.rfind('_');
    row.text(name);
    row.text(std::string(name).insert(cut, "_u"));
    row.text(std::string(name).insert(cut, "_u95"));
  }
  row.text("flags");
  row.text("tool_version");
}

std::string flag_ids(const Result& result, const ComparisonResult& comparison) {
  std::string ids;
  const auto append = [&ids](const std::vector<Flag>& flags) {
    for (const Flag& flag : flags) ids += (ids.empty() ? "" : " ") + flag.id;
  };
  append(comparison.flags);
  append(result.films[comparison.reference].flags);
  append(result.films[comparison.follow_up].flags);
  for (const FilmDoubt& doubt : film_doubts(result, comparison)) {
    const bool listed = doubt.film == comparison.reference || doubt.film == comparison.follow_up;
    if (!listed) append({doubt.flag});
  }
  append(result.flags);
  return ids;
}

void fill(Row& row, const Result& result, const ComparisonResult& comparison, double unit) {
  const FilmResult& reference = result.films[comparison.reference];
  const FilmResult& follow_up = result.films[comparison.follow_up];
  row.text(result.hip.value_or(""));
  row.text(!result.side ? "" : *result.side == Side::kRight ? "R" : "L");
  row.text(reference.file);
  row.text(follow_up.file);
  row.date(reference.date);
  row.date(follow_up.date);
  row.days(comparison.days);
  row.text(comparison.status == Status::kMeasured ? "measured" : "not_measured");
  row.text(comparison.reason);
  if (const auto& m = comparison.migration) {
    row.measured(m->subsidence, unit);
    row.measured(m->subsidence_at_head_centre, unit);
    row.measured(m->subsidence_at_shoulder, unit);
    m->subsidence_at_tip ? row.measured(*m->subsidence_at_tip, unit) : row.empty(kCellsEach);
    row.measured(m->medial, unit);
    row.measured(m->tilt_change);
    for (const auto& by_surface : {m->flexion_change, m->rotation_change}) {
      by_surface ? row.measured(*by_surface) : row.empty(kCellsEach);
    }
  } else {
    row.empty(kMeasuredCells);
  }
  row.text(flag_ids(result, comparison));
  row.text(result.tool_version);
}

}  // namespace

std::string to_csv(const Result& result) {
  const bool pixels = result.length_unit == LengthUnit::kReferencePixels;
  const double unit = pixels && result.reference_scale ? result.reference_scale->value : 1.0;
  Row header;
  header_of(header, pixels ? "_px" : "_mm");
  std::string out = header.line();
  for (const ComparisonResult& comparison : result.comparisons) {
    Row row;
    fill(row, result, comparison, unit);
    out += row.line();
  }
  return out;
}

}  // namespace tidemark::followup
