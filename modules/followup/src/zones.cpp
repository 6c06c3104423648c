#include <cmath>
#include <utility>

#include "working.h"

namespace tidemark::followup {
namespace {

constexpr double kNormal95 = 1.96;  // JCGM 100, table G.1
constexpr double kFirstCentimetreMm = 10.0;

using MeasuredLength = std::optional<Measured<Millimetres>>;

/// The scale's own error makes every length longer or shorter by the same share.
MeasuredLength with_scale_u(const MeasuredLength& length,
                            const Measured<MillimetresPerPixel>& scale) {
  if (!length) return {};
  const double u =
      std::hypot(length->u.value, length->value.value * scale.u.value / scale.value.value);
  // Keeps the coverage factor of the length where its own error is most of it.
  const double k = length->u.value > 0.0 ? length->u95.value / length->u.value : kNormal95;
  return Measured<Millimetres>{length->value, {u}, {k * u}};
}

double length_px(const Polyline& line) {
  double sum = 0.0;
  for (std::size_t i = 1; i < line.size(); ++i) sum += (line[i] - line[i - 1]).norm();
  return sum;
}

std::optional<Millimetres> zone_length(const lucency::ZonePlan& plan, int number,
                                       const Measured<MillimetresPerPixel>& scale) {
  for (const lucency::Zone& zone : plan.zones) {
    if (zone.number == number) return Millimetres{length_px(zone.interface_px) * scale.value.value};
  }
  return {};
}

/// Shares of the zone's places from `from_mm` below the entry level on.
std::optional<assessment::ZoneShares> shares_of(const lucency::ZoneLine& line, double from_mm,
                                                const Measured<MillimetresPerPixel>& scale) {
  if (line.points.empty()) return {};
  const double one = 1.0 / static_cast<double>(line.points.size());
  assessment::ZoneShares out;
  for (const lucency::LinePoint& point : line.points) {
    if (point.along.value < from_mm) continue;
    switch (point.state) {
      case lucency::State::kPresent:
        out.line += one;
        if (point.width) out.places.push_back({one, *with_scale_u(point.width, scale)});
        break;
      case lucency::State::kAbsent:
        out.no_line += one;
        break;
      case lucency::State::kCannotTell:
        out.open += one;
        break;
      case lucency::State::kNotSeen:
        out.unseen += one;
        break;
    }
  }
  return out;
}

ZoneResult describe_line(const lucency::ZoneLine& line, const lucency::ZonePlan& plan,
                         const Measured<MillimetresPerPixel>& scale) {
  ZoneResult out{.zone = line.zone,
                 .interface = line.interface,
                 .state = line.state,
                 .reason = line.reason,
                 .zone_length = zone_length(plan, line.zone, scale),
                 .max = with_scale_u(line.width_max, scale),
                 .mean = with_scale_u(line.width_mean, scale),
                 .length = with_scale_u(line.length, scale),
                 .extent = {},
                 .seen = line.seen,
                 .depth = line.depth,
                 .rim = line.rim,
                 .shares = shares_of(line, 0.0, scale),
                 .past_first_centimetre = shares_of(line, kFirstCentimetreMm, scale)};
  using lucency::State;
  if (line.state == State::kPresent || line.state == State::kAbsent) out.extent = line.fraction;
  return out;
}

/// Every zone with the one reason why nothing is known of it, or why none is seen.
std::vector<ZoneResult> unknown_zones(lucency::State state, const std::string& reason,
                                      const std::optional<Fixation>& fixation,
                                      const std::optional<View>& view) {
  using lucency::Interface;
  std::vector<Interface> interfaces{Interface::kStemBone};
  if (fixation == Fixation::kCemented) {
    interfaces = {Interface::kStemCement, Interface::kCementBone};
  }
  const int first = view == View::kLateral ? 8 : 1;
  std::vector<ZoneResult> out;
  for (int i = 0; i < 7; ++i) {
    for (const Interface interface : interfaces) {
      ZoneResult zone;
      zone.zone = first + i;
      zone.interface = interface;
      zone.state = state;
      zone.reason = reason;
      out.push_back(std::move(zone));
    }
  }
  return out;
}

void describe_zones(Working& film, Expected<lucency::FilmLucency> lines,
                    const std::optional<Fixation>& fixation) {
  FilmResult& out = film.out;
  if (!lines) {
    // Without the tip nobody knows where the zones lie, nor what of them is in the field.
    const auto state =
        film.hip->implant.shows_tip() ? lucency::State::kCannotTell : lucency::State::kNotSeen;
    out.zones = unknown_zones(state, reason_of(lines.error()), fixation, out.view);
    return;
  }
  const Affine2& stored_from_view = film.hip->hip_view.stored_from_view;
  auto scale = film.hip->scale;
  if (film.hip->in_pixels) scale.u = {0.0};  // what the nominal head adds cancels in pixels
  for (const lucency::ZoneLine& line : lines->lines) {
    out.zones.push_back(describe_line(line, lines->plan, scale));
  }
  for (const lucency::ZoneBorder& border : lines->plan.borders) {
    out.zone_borders.push_back({stored_from_view.apply(border.lateral_px),
                                stored_from_view.apply(border.medial_px), border.source});
  }
  out.edge_response = lines->edge;
  if (!film.from_side) {  // cortices and calcar are defined on frontal films
    out.signs = lucency::read_signs(film.hip->hip_view, film.hip->implant, film.hip->femur,
                                    lines->plan, film.hip->scale.value, fixation);
  }
  out.flags.insert(out.flags.end(), lines->flags.begin(), lines->flags.end());
  film.hip->lucency = std::move(*lines);
}

/// Says of the entry level what the film says that it was carried over from.
void take_entry(const CarriedEntry& carried, lucency::FilmLucency& lines) {
  lucency::ZonePlan& plan = lines.plan;
  plan.entry = Source::kFound;
  plan.borders.front().source = Source::kFound;
  plan.entry_u = carried.u;
  plan.entry_assumed = carried.assumed.has_value();
  if (!carried.assumed) return;
  plan.flags.push_back(*carried.assumed);
  lines.flags.push_back(*carried.assumed);
}

}  // namespace

void look_for_lines(Working& film, const std::optional<Fixation>& fixation, const Steps& steps,
                    const std::optional<CarriedEntry>& carried) {
  if (!steps.look_for_lines) return;
  const HipFilm& hip = *film.hip;
  const auto given = in_view(film.entry.landmarks_in_stored_px, hip.hip_view);
  const auto& by_hand = given.bone_entry_px;
  auto lines = steps.look_for_lines(
      hip.hip_view, hip.implant,
      {.scale = hip.scale.value,
       .view = film.out.view.value_or(View::kAp),
       .fixation = fixation,
       .entry_px = by_hand || !carried ? by_hand : std::optional(carried->px),
       .inner_borders = {given.second_zone_border_px, given.third_zone_border_px}});
  if (lines && carried && !by_hand) take_entry(*carried, *lines);
  describe_zones(film, std::move(lines), fixation);
}

void leave_zones_open(Working& film, const std::optional<Fixation>& fixation,
                      const std::string& reason) {
  film.out.zones = unknown_zones(lucency::State::kCannotTell, reason, fixation, film.out.view);
}

std::optional<LinesSince> lines_since(const Result& result, std::size_t film) {
  std::optional<LinesSince> out;
  const auto look = [&](const auto& pairs) {
    for (const auto& pair : pairs) {
      if (pair.follow_up == film && !pair.zones.empty()) out = {pair.reference, pair.zones};
    }
  };
  look(result.comparisons);
  look(result.lateral_comparisons);
  return out;
}

}  // namespace tidemark::followup
