#include "tidemark/lucency/zones.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>

#include "assumed_entry.h"

namespace tidemark::lucency {
namespace {

/// Zone 4 ends this far beyond the tip (docs/lucency.md; no one source).
constexpr double kTipZoneMm = 10.0;
/// Shorter zones say little of a line's extent. House choice.
constexpr double kShortZoneMm = 15.0;
/// The shortest zone that a border by hand may leave. House choice.
constexpr double kLeastZoneMm = 3.0;
/// Borders are drawn this far beyond the flanks.
constexpr double kBorderBeyondMm = 10.0;

/// The outline as distances along the axis, and where its parts begin.
struct Course {
  const Polyline* outline = nullptr;
  std::vector<double> along_px;  ///< of each point, from the entry level
  std::size_t shoulder = 0;
  std::size_t tip_first = 0;  ///< first point of the end that faces distally
  std::size_t tip_last = 0;
};

std::size_t nearest(const Polyline& chain, const Vec2& q) {
  const auto it = std::min_element(chain.begin(), chain.end(), [&](const Vec2& a, const Vec2& b) {
    return (a - q).squaredNorm() < (b - q).squaredNorm();
  });
  return static_cast<std::size_t>(it - chain.begin());
}

/// The stretch around the outline's end whose tangent runs more across the axis than along it.
void find_end(Course& course, const Line2& axis, std::size_t tip, double reach_px) {
  const Polyline& p = *course.outline;
  const auto across = [&](std::size_t i, std::size_t k) {
    const Vec2 chord = p[k] - p[i];
    return std::abs(chord.dot(axis.direction)) < std::sqrt(0.5) * chord.norm();
  };
  const auto near_tip = [&](std::size_t i) { return (p[i] - p[tip]).norm() <= reach_px; };
  course.tip_first = tip;
  while (course.tip_first >= 2 && near_tip(course.tip_first) &&
         across(course.tip_first - 2, course.tip_first)) {
    --course.tip_first;
  }
  course.tip_last = tip;
  while (course.tip_last + 2 < p.size() && near_tip(course.tip_last) &&
         across(course.tip_last, course.tip_last + 2)) {
    ++course.tip_last;
  }
}

/// The point between i and k at `at` along the axis.
Vec2 between(const Course& course, std::size_t i, std::size_t k, double at) {
  const double a = course.along_px[i];
  const double b = course.along_px[k];
  const double t = b == a ? 0.0 : std::clamp((at - a) / (b - a), 0.0, 1.0);
  return (*course.outline)[i] + t * ((*course.outline)[k] - (*course.outline)[i]);
}

/// A flank from proximal to distal between two levels, ends cut exactly at the levels. `chain`
/// holds indices of the outline in that order.
Polyline stretch(const Course& course, const std::vector<std::size_t>& chain, double from,
                 double to) {
  Polyline out;
  for (std::size_t n = 0; n < chain.size(); ++n) {
    const double here = course.along_px[chain[n]];
    if (n > 0) {
      const double before = course.along_px[chain[n - 1]];
      if (before < from && here >= from) {
        out.push_back(between(course, chain[n - 1], chain[n], from));
      }
      if (before < to && here >= to && !out.empty()) {
        out.push_back(between(course, chain[n - 1], chain[n], to));
        break;
      }
    }
    if (here >= from && here < to) out.push_back((*course.outline)[chain[n]]);
  }
  return out;
}

struct Flanks {
  std::vector<std::size_t> lateral;  ///< proximal to distal
  std::vector<std::size_t> medial;
};

/// Each flank from the last place where it comes down through the entry level.
Flanks flanks_of(const Course& course) {
  Flanks f;
  const std::size_t n = course.outline->size();
  std::size_t start = course.tip_first;
  while (start > course.shoulder && course.along_px[start - 1] >= 0.0) --start;
  if (start > course.shoulder) --start;  // one point above the level, to be cut
  for (std::size_t i = start; i <= course.tip_first; ++i) f.lateral.push_back(i);
  std::size_t end = course.tip_last;
  while (end + 1 < n && course.along_px[end + 1] >= 0.0) ++end;
  if (end + 1 < n) ++end;
  for (std::size_t i = end + 1; i > course.tip_last; --i) f.medial.push_back(i - 1);
  return f;
}

/// Flanks run down to where the end's curve begins, which lies a little proximal to the tip.
std::vector<Zone> zones_of(const Course& course, const std::array<double, 5>& level_px,
                           double scale, int first) {
  const Flanks f = flanks_of(course);
  const auto zone = [&](int number, Flank flank, std::size_t i, Polyline interface_px) {
    return Zone{number, flank, Millimetres{scale * level_px[i]},
                Millimetres{scale * level_px[i + 1]}, std::move(interface_px)};
  };
  std::vector<Zone> zones;
  for (std::size_t i = 0; i < 3; ++i) {
    zones.push_back(zone(first + static_cast<int>(i), Flank::kLateral, i,
                         stretch(course, f.lateral, level_px[i], level_px[i + 1])));
  }
  const auto begin = course.outline->begin();
  zones.push_back(zone(first + 3, Flank::kTip, 3,
                       Polyline(begin + static_cast<std::ptrdiff_t>(course.tip_first),
                                begin + static_cast<std::ptrdiff_t>(course.tip_last) + 1)));
  for (std::size_t i = 3; i-- > 0;) {
    zones.push_back(zone(first + 6 - static_cast<int>(i), Flank::kMedial, i,
                         stretch(course, f.medial, level_px[i], level_px[i + 1])));
  }
  return zones;
}

/// Levels of the borders along the axis, proximal first, from the entry level.
struct Levels {
  std::array<double, 5> px{};
  std::array<Source, 5> source{};  ///< all found
  bool misplaced = false;          ///< a border by hand was left aside
};

/// Puts border `i` where a hand placed it, if that lies between its neighbours.
void place_by_hand(Levels& levels, std::size_t i, const std::optional<Vec2>& at, const Line2& axis,
                   double least_px) {
  if (!at) return;
  const double level = along(axis, *at);
  if (level < levels.px[i - 1] + least_px || level > levels.px[i + 1] - least_px) {
    levels.misplaced = true;
    return;
  }
  levels.px[i] = level;
  levels.source[i] = Source::kGiven;
}

Levels levels_of(double embedded_px, const Line2& axis, const InnerBorders& inner, Source entry,
                 double px) {
  Levels out{{0.0, embedded_px / 3.0, 2.0 * embedded_px / 3.0, embedded_px,
              embedded_px + kTipZoneMm * px}};
  out.source[0] = entry;
  // The one that moves away from the other goes first, so that it makes room.
  const bool distal = inner.second_px && along(axis, *inner.second_px) > out.px[1];
  const double least_px = kLeastZoneMm * px;
  if (!distal) place_by_hand(out, 1, inner.second_px, axis, least_px);
  place_by_hand(out, 2, inner.third_px, axis, least_px);
  if (distal) place_by_hand(out, 1, inner.second_px, axis, least_px);
  return out;
}

std::vector<ZoneBorder> borders_of(const Polyline& outline, const Line2& axis, const Levels& levels,
                                   double beyond_px) {
  const Vec2 medial(axis.direction.y(), -axis.direction.x());
  double low = 0.0;
  double high = 0.0;
  for (const Vec2& p : outline) {
    if (along(axis, p) < 0.0) continue;
    const double across = medial.dot(p - axis.point);
    low = std::min(low, across);
    high = std::max(high, across);
  }
  std::vector<ZoneBorder> out;
  for (std::size_t i = 0; i < levels.px.size(); ++i) {
    const Vec2 middle = axis.point + levels.px[i] * axis.direction;
    out.push_back({middle + (low - beyond_px) * medial, middle + (high + beyond_px) * medial,
                   levels.source[i]});
  }
  return out;
}

tl::unexpected<Error> cannot(std::string wrong) {
  return fail(ErrorKind::kCannotTell, "zones of the stem", std::move(wrong),
              "take a film that shows the whole stem");
}

void add_flags(ZonePlan& plan, const Levels& levels, double scale) {
  if (plan.entry_assumed) {
    plan.flags.push_back(
        {"entry_assumed",
         "The level at which the stem enters the bone was not seen; 9 mm below the "
         "shoulder's level stands for it."});
  }
  if (levels.misplaced) {
    plan.flags.push_back({"zone_border_misplaced",
                          "A border of the zones set by hand lies less than 3 mm from its "
                          "neighbour or beyond it; it was left aside."});
  }
  double least_px = levels.px[1];
  for (std::size_t i = 1; i < 3; ++i) {
    least_px = std::min(least_px, levels.px[i + 1] - levels.px[i]);
  }
  if (scale * least_px < kShortZoneMm) {
    plan.flags.push_back({"short_zones",
                          "The zones are shorter than 15 mm; a line's share of a zone is "
                          "unreliable."});
  }
}

}  // namespace

Expected<ZonePlan> divide(const anatomy::Implant& implant, MillimetresPerPixel scale, View view,
                          const std::optional<Entry>& entry, const InnerBorders& inner) {
  if (!(scale.value > 0.0) || !std::isfinite(scale.value)) {
    return fail(ErrorKind::kBadInput, "zones of the stem", "the scale is not positive",
                "calibrate the film");
  }
  const Polyline& outline = implant.outline_px;
  if (outline.size() < 20) return cannot("the outline has too few points");
  const double px = 1.0 / scale.value;

  ZonePlan plan;
  const Line2& axis = implant.axis.line_px;
  const Vec2 level =
      entry ? entry->px : Vec2(implant.shoulder.px + kAssumedEntryMm * px * axis.direction);
  plan.axis_px = {axis.point + along(axis, level) * axis.direction, axis.direction};
  plan.entry = entry ? entry->source : Source::kFound;
  plan.entry_assumed = !entry;
  plan.entry_u = entry ? entry->u : Millimetres{kAssumedEntryUMm};
  plan.cut_slope = entry ? entry->slope : CutSlope{};

  Course course{&outline, {}, nearest(outline, implant.shoulder.px), 0, 0};
  for (const Vec2& p : outline) course.along_px.push_back(along(plan.axis_px, p));
  const double embedded = along(plan.axis_px, implant.tip.px);
  find_end(course, axis, nearest(outline, implant.tip.px), kTipZoneMm * px);
  if (!(embedded > 3.0 * px) || course.tip_first <= course.shoulder ||
      course.tip_last + 1 >= outline.size()) {
    return cannot("the outline does not reach from the entry level to the tip");
  }
  const Levels levels = levels_of(embedded, plan.axis_px, inner, plan.entry, px);
  plan.zones = zones_of(course, levels.px, scale.value, view == View::kLateral ? 8 : 1);
  for (const Zone& zone : plan.zones) {
    if (zone.interface_px.size() < 2) {
      return cannot("the outline does not reach through zone " + std::to_string(zone.number));
    }
  }
  plan.borders = borders_of(outline, plan.axis_px, levels, kBorderBeyondMm * px);
  add_flags(plan, levels, scale.value);
  return plan;
}

}  // namespace tidemark::lucency
