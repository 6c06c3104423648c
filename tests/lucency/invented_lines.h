#pragma once

#include <cmath>
#include <functional>
#include <vector>

#include "tidemark/lucency/lucency.h"

namespace tidemark::lucency::invented {

/// Width of a line at a place, mm: 0 is no line, a negative one cannot be judged.
using WidthAt = std::function<double(int zone, double along_mm)>;

inline constexpr double kPointUMm = 0.1;

/// A stem of 10 mm width whose axis runs down x = 0 of a film of 0.1 mm per px; it enters the bone
/// at `entry_mm` on the axis and its tip stands at 120 mm, whatever the entry: zones of equal
/// thirds and a tip zone of 10 mm. Written out by hand, so that comparisons can be.
inline ZonePlan plan(double entry_mm) {
  ZonePlan out;
  constexpr double kPxPerMm = 10.0;
  const double third = (120.0 - entry_mm) / 3.0;
  out.axis_px = {Vec2(0.0, entry_mm * kPxPerMm), Vec2::UnitY()};
  const auto flank = [&](int number, Flank side, int from) {
    const double x = side == Flank::kLateral ? -50.0 : 50.0;
    Zone zone{number, side, {from * third}, {(from + 1) * third}, {}};
    for (double s = zone.from.value; s <= zone.to.value; s += 0.5) {
      zone.interface_px.emplace_back(x, (entry_mm + s) * kPxPerMm);
    }
    out.zones.push_back(zone);
  };
  for (int i = 0; i < 3; ++i) flank(1 + i, Flank::kLateral, i);
  Zone tip{4, Flank::kTip, {3.0 * third}, {3.0 * third + 10.0}, {}};
  for (double x = -50.0; x <= 50.0; x += 5.0) tip.interface_px.emplace_back(x, 1200.0);
  out.zones.push_back(tip);
  for (int i = 2; i >= 0; --i) flank(7 - i, Flank::kMedial, i);
  for (int i = 0; i < 5; ++i) {
    const double along = i < 4 ? i * third : 3.0 * third + 10.0;
    const double y = (entry_mm + along) * kPxPerMm;
    out.borders.push_back({Vec2(-150.0, y), Vec2(150.0, y)});
  }
  return out;
}

inline ZoneLine line_of(const Zone& zone, Interface interface, const ZonePlan& plan,
                        const WidthAt& width_at) {
  ZoneLine out;
  out.zone = zone.number;
  out.interface = interface;
  double sum = 0.0;
  double largest = 0.0;
  std::size_t present = 0;
  std::size_t judged = 0;
  for (const Vec2& px : zone.interface_px) {
    LinePoint point;
    point.edge_px = px;
    point.out_px = zone.flank == Flank::kTip       ? Vec2(0.0, 1.0)
                   : zone.flank == Flank::kLateral ? Vec2(-1.0, 0.0)
                                                   : Vec2(1.0, 0.0);
    point.along = Millimetres{0.1 * along(plan.axis_px, px)};
    point.arc = Millimetres{0.1 * (px - zone.interface_px.front()).norm()};
    const double w = width_at(zone.number, point.along.value);
    point.state = w < 0.0 ? State::kCannotTell : w > 0.0 ? State::kPresent : State::kAbsent;
    if (w > 0.0) {
      point.width = {{w}, {kPointUMm}, {1.96 * kPointUMm}};
      sum += w;
      largest = std::max(largest, w);
      ++present;
    }
    judged += w < 0.0 ? 0 : 1;
    out.points.push_back(point);
  }
  const auto n = static_cast<double>(out.points.size());
  out.seen = static_cast<double>(judged) / n;
  out.state = judged == 0 ? State::kCannotTell : present > 0 ? State::kPresent : State::kAbsent;
  if (judged == 0) out.reason = "The bone beside the stem is not seen.";
  if (present > 0) {
    const auto measured = [](double value, double u) {
      return Measured<Millimetres>{{value}, {u}, {1.96 * u}};
    };
    out.width_max = measured(largest, kPointUMm);
    out.width_mean = measured(sum / static_cast<double>(present), 0.08);
    out.length = measured(0.5 * static_cast<double>(present), 1.0);
    out.fraction = static_cast<double>(present) / static_cast<double>(judged);
    out.depth = Measured<double>{0.3, 0.02, 0.04};
    out.rim = Answer::kYes;
  }
  return out;
}

/// A film whose lines have the given widths, one interface.
inline FilmLucency film(double entry_mm, const WidthAt& width_at,
                        Interface interface = Interface::kStemBone) {
  FilmLucency out;
  out.plan = plan(entry_mm);
  for (const Zone& zone : out.plan.zones) {
    out.lines.push_back(line_of(zone, interface, out.plan, width_at));
  }
  return out;
}

}  // namespace tidemark::lucency::invented
