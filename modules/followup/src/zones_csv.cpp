#include <cstddef>

#include "csv_row.h"
#include "tidemark/followup/write.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::followup {
namespace {

/// Columns of a measured quantity: its value, its u and its u95.
void measured_header(Row& row, const std::string& name, const std::string& unit) {
  for (const char* part : {"", "_u", "_u95"}) row.text(std::string(name).append(part).append(unit));
}

void header_of(Row& row, const std::string& unit) {
  for (const char* name : {"hip", "side", "file", "role", "date", "days_from_surgery", "zone",
                           "interface", "state", "reason"}) {
    row.text(name);
  }
  row.text("zone_length" + unit);
  row.text("seen_fraction");
  row.text("extent_fraction");
  for (const char* name : {"max", "mean", "length"}) measured_header(row, name, unit);
  measured_header(row, "depth", "");
  row.text("sclerotic_rim");
  for (const char* name : {"change", "change_mean", "change_length"}) {
    measured_header(row, name, unit);
  }
  for (const char* name : {"compared_fraction", "progressive", "change_reason", "tool_version"}) {
    row.text(name);
  }
}

template <class Q>
void maybe(Row& row, const std::optional<Measured<Q>>& m, double unit) {
  m ? row.measured(*m, unit) : row.empty(3);
}

void maybe(Row& row, const std::optional<Measured<double>>& m) {
  if (!m) return row.empty(3);
  row.number(m->value);
  row.number(m->u);
  row.number(m->u95);
}

const lucency::ZoneChange* change_of(const Result& result, std::size_t film,
                                     const ZoneResult& zone) {
  const auto since = lines_since(result, film);
  return since ? lucency::change_at(since->zones, zone.zone, zone.interface) : nullptr;
}

void fill_change(Row& row, const lucency::ZoneChange* change, double unit) {
  if (change == nullptr) return row.empty(12);
  maybe(row, change->change, unit);
  maybe(row, change->change_mean, unit);
  maybe(row, change->change_length, unit);
  row.number(change->compared);
  row.text(code_of(change->progressive));
  row.text(change->reason);
}

/// Units of the two kinds of lengths: of the film, and of its change against the reference film.
struct LengthUnits {
  double film = 1.0;
  double change = 1.0;
};

LengthUnits units_of(const Result& result, const FilmResult& film) {
  if (result.length_unit == LengthUnit::kMillimetres) return {};
  const double reference = result.reference_scale ? result.reference_scale->value : 1.0;
  return {film.calibration ? film.calibration->mm_per_px.value.value : reference, reference};
}

void fill(Row& row, const Result& result, std::size_t index, const ZoneResult& zone) {
  const FilmResult& film = result.films[index];
  const LengthUnits units = units_of(result, film);
  row.text(result.hip.value_or(""));
  row.text(!film.side ? "" : *film.side == Side::kRight ? "R" : "L");
  row.text(film.file);
  row.text(film.role == Role::kReference ? "reference" : "follow-up");
  row.date(film.date);
  row.days(film.days_from_surgery);
  row.count(static_cast<std::size_t>(zone.zone));
  row.text(code_of(zone.interface));
  row.text(code_of(zone.state));
  row.text(zone.reason);
  zone.zone_length ? row.number(zone.zone_length->value / units.film) : row.empty(1);
  row.number(zone.seen);
  zone.extent ? row.number(*zone.extent) : row.empty(1);
  maybe(row, zone.max, units.film);
  maybe(row, zone.mean, units.film);
  maybe(row, zone.length, units.film);
  maybe(row, zone.depth);
  row.text(code_of(zone.rim));
  fill_change(row, change_of(result, index, zone), units.change);
  row.text(result.tool_version);
}

}  // namespace

std::string to_zones_csv(const Result& result) {
  Row header;
  header_of(header, result.length_unit == LengthUnit::kReferencePixels ? "_px" : "_mm");
  std::string out = header.line();
  for (std::size_t i = 0; i < result.films.size(); ++i) {
    for (const ZoneResult& zone : result.films[i].zones) {
      Row row;
      fill(row, result, i, zone);
      out += row.line();
    }
  }
  return out;
}

}  // namespace tidemark::followup
