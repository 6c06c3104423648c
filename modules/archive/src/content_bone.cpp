#include <algorithm>
#include <utility>

#include "build.h"
#include "content.h"

namespace tidemark::archive {
namespace {

using followup::ComparisonResult;
using followup::FilmResult;
using followup::Result;
using followup::ZoneResult;

Code code_of(lucency::Interface interface) {
  switch (interface) {
    case lucency::Interface::kStemBone:
      return own("STEM-BONE", "Stem to bone");
    case lucency::Interface::kStemCement:
      return own("STEM-CEMENT", "Stem to cement");
    case lucency::Interface::kCementBone:
      break;
  }
  return own("CEMENT-BONE", "Cement to bone");
}

/// As the tracking identifier says it; the same on every film.
std::string thing(int zone, lucency::Interface interface) {
  return "line in zone " + std::to_string(zone) + ", " + code_of(interface).meaning;
}

void add(Item& group, const char* value, const char* meaning, const Value& number) {
  group.children.push_back(measurement(own(value, meaning), number));
}

void add(Item& group, const char* value, const char* meaning,
         const std::optional<Measured<Millimetres>>& m, const CodedLengths& lengths) {
  if (m) add(group, value, meaning, lengths.of(*m));
}

void add_code(Item& group, const char* value, const char* meaning, Code what) {
  group.children.push_back(code_item(Relation::kContains, own(value, meaning), std::move(what)));
}

void add_reason(Item& group, const std::string& reason) {
  add_text(group, "REASON", "Reason", reason);
}

/// The proximal border of a zone among the five of a film; the distal one follows it.
std::size_t first_border(int zone) {
  constexpr int kZonesOfOneView = 7;
  const int of_view = zone > kZonesOfOneView ? zone - kZonesOfOneView : zone;
  return static_cast<std::size_t>(std::min(of_view - 1, kZonesOfOneView - of_view));
}

void add_borders(const FilmResult& film, int zone, const std::optional<SourceFacts>& source,
                 Item& item) {
  const std::size_t first = first_border(zone);
  if (!source || film.zone_borders.size() < first + 2) return;
  for (std::size_t i = first; i < first + 2; ++i) {
    const auto& border = film.zone_borders[i];
    item.children.push_back(place(own("ZONE-BORDER", "Border of the zone"),
                                  {Shape::kPolyline, {border.lateral_px, border.medial_px}},
                                  source->image));
  }
}

void add_zone(const FilmResult& film, const ZoneResult& zone, const CodedLengths& lengths,
              const std::optional<SourceFacts>& source, Item& group) {
  add_code(group, "INTERFACE", "Border along which the line lies", code_of(zone.interface));
  add_code(group, "LINE", "Radiolucent line", coded(zone.state));
  add_reason(group, zone.reason);
  Item seen =
      measurement(own("ZONE-SEEN", "Share of the zone that could be judged"), share_of(zone.seen));
  add_borders(film, zone.zone, source, seen);
  group.children.push_back(std::move(seen));
  if (zone.zone_length) {
    add(group, "ZONE-LENGTH", "Length of the zone along the interface",
        lengths.of(*zone.zone_length));
  }
  add(group, "LINE-WIDTH-MAX", "Width of the line where it is widest", zone.max, lengths);
  add(group, "LINE-WIDTH-MEAN", "Mean width of the line", zone.mean, lengths);
  add(group, "LINE-LENGTH", "Length of the line", zone.length, lengths);
  if (zone.extent) {
    add(group, "LINE-EXTENT", "Share of the seen part that the line takes", share_of(*zone.extent));
  }
  if (zone.depth) {
    add(group, "LINE-DEPTH", "Darkness of the line as share of bone to metal",
        {zone.depth->value, zone.depth->u, zone.depth->u95, unit::one()});
  }
  add_code(group, "RIM", "Sclerotic rim beside the line", coded(zone.rim));
}

Item cortex_group(const Result& result, std::size_t film, int zone, const Tracking& tracking) {
  return group({"cortex beside zone " + std::to_string(zone), code::femoral_stem(), zone, film},
               result, tracking);
}

void add_signs(const Result& result, std::size_t film, const CodedLengths& lengths,
               const Tracking& tracking, std::vector<Item>& out) {
  const auto& signs = *result.films[film].signs;
  for (const auto& cortex : signs.cortex) {
    Item one = cortex_group(result, film, cortex.zone, tracking);
    add(one, "CORTEX", "Thickness of the cortex", cortex.thickness, lengths);
    add(one, "CORTEX-SEEN", "Share of the zone in which the cortex was seen",
        share_of(cortex.seen));
    if (!cortex.thickness) add_reason(one, cortex.reason);
    out.push_back(std::move(one));
  }
  Item calcar = group({"calcar", code::femoral_stem(), {}, film}, result, tracking);
  add(calcar, "CALCAR-HEIGHT", "Cut neck above the lesser trochanter", signs.calcar.height,
      lengths);
  add(calcar, "CALCAR-ABOVE-TP", "Cut neck above the stem's tip", signs.calcar.above_tip, lengths);
  add_reason(calcar, signs.calcar.reason);
  out.push_back(std::move(calcar));
  Item pedestal = group({"pedestal", code::femoral_stem(), {}, film}, result, tracking);
  add_code(pedestal, "PEDESTAL", "Shelf of bone beyond the tip", coded(signs.pedestal.present));
  if (signs.pedestal.below_tip) {
    add(pedestal, "PEDESTAL-BELOW", "Distance of the shelf from the tip",
        lengths.of(*signs.pedestal.below_tip));
  }
  add_reason(pedestal, signs.pedestal.reason);
  out.push_back(std::move(pedestal));
}

Value area_of(const Measured<lucency::SquareMillimetres>& area, const followup::Lengths& lengths) {
  const double unit = lengths.mm_per_unit * lengths.mm_per_unit;
  const bool mm = lengths.unit == "mm";
  return {area.value.value / unit, area.u.value / unit, area.u95.value / unit,
          mm ? unit::square_millimetres() : unit::square_pixels()};
}

void add_lysis(const Result& result, const ComparisonResult& pair, const CodedLengths& lengths,
               const Tracking& tracking, std::vector<Item>& out) {
  for (const lucency::ZoneLysis& lysis : pair.signs->lysis) {
    Item one = group({"focal loss of bone in zone " + std::to_string(lysis.zone),
                      code::femoral_stem(), lysis.zone, pair.follow_up},
                     result, tracking);
    add_code(one, "LYSIS", "Focal loss of bone beside the stem, new", coded(lysis.state));
    add_reason(one, lysis.reason);
    add(one, "LYSIS-SEEN", "Share of the bone beside the stem that both films show",
        share_of(lysis.seen));
    if (lysis.area) {
      add(one, "LYSIS-AREA", "Area at half depth, at least", area_of(*lysis.area, lengths.lengths));
    }
    if (lysis.depth) {
      add(one, "LYSIS-DEPTH", "Darkening as share of soft tissue to bone",
          {lysis.depth->value, lysis.depth->u, lysis.depth->u95, unit::one()});
    }
    out.push_back(std::move(one));
  }
}

void add_sign_changes(const Result& result, const ComparisonResult& pair,
                      const CodedLengths& lengths, const Tracking& tracking,
                      std::vector<Item>& out) {
  for (const auto& cortex : pair.signs->cortex) {
    Item one = cortex_group(result, pair.follow_up, cortex.zone, tracking);
    add(one, "CORTEX-CHANGE", "Change of the cortex, thicker positive", cortex.change, lengths);
    if (!cortex.change) add_reason(one, cortex.reason);
    out.push_back(std::move(one));
  }
  Item calcar = group({"calcar", code::femoral_stem(), {}, pair.follow_up}, result, tracking);
  add(calcar, "CALCAR-CHANGE", "Change of the calcar, higher positive", pair.signs->calcar,
      lengths);
  if (!pair.signs->calcar) add_reason(calcar, pair.signs->calcar_reason);
  out.push_back(std::move(calcar));
  Item pedestal = group({"pedestal", code::femoral_stem(), {}, pair.follow_up}, result, tracking);
  add_code(pedestal, "PEDESTAL-NEW", "New shelf of bone beyond the tip",
           coded(pair.signs->new_pedestal));
  out.push_back(std::move(pedestal));
  add_lysis(result, pair, lengths, tracking, out);
}

}  // namespace

std::vector<Item> bone_groups(const Result& result, std::size_t film_index, const Sources& sources,
                              const Tracking& tracking) {
  const FilmResult& film = result.films[film_index];
  const CodedLengths lengths{lengths_of(result, film)};
  std::vector<Item> out;
  for (const ZoneResult& zone : film.zones) {
    Item one = group({thing(zone.zone, zone.interface), code::lucency(), zone.zone, film_index},
                     result, tracking);
    add_zone(film, zone, lengths, sources[film_index], one);
    out.push_back(std::move(one));
  }
  if (film.signs) add_signs(result, film_index, lengths, tracking, out);
  return out;
}

std::vector<Item> line_change_groups(const Result& result, std::size_t follow_up,
                                     std::span<const lucency::ZoneChange> zones,
                                     const Tracking& tracking) {
  const CodedLengths lengths{lengths_of(result)};
  std::vector<Item> out;
  for (const auto& zone : zones) {
    Item one = group({thing(zone.zone, zone.interface), code::lucency(), zone.zone, follow_up},
                     result, tracking);
    add_code(one, "INTERFACE", "Border along which the line lies", code_of(zone.interface));
    add(one, "CHANGE", "Change of the line's width, wider positive", zone.change, lengths);
    add(one, "CHANGE-MEAN", "Change of the mean width", zone.change_mean, lengths);
    add(one, "CHANGE-LENGTH", "Change of the line's length", zone.change_length, lengths);
    add(one, "COMPARED", "Share of the zone that both films judge", share_of(zone.compared));
    add_code(one, "PROGRESSIVE", "Whether the line progresses", coded(zone.progressive));
    add_reason(one, zone.reason);
    out.push_back(std::move(one));
  }
  return out;
}

std::vector<Item> bone_change_groups(const Result& result, const ComparisonResult& pair,
                                     const Tracking& tracking) {
  std::vector<Item> out = line_change_groups(result, pair.follow_up, pair.zones, tracking);
  if (pair.signs) add_sign_changes(result, pair, {lengths_of(result)}, tracking, out);
  return out;
}

}  // namespace tidemark::archive
