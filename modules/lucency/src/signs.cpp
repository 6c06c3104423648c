#include "tidemark/lucency/signs.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "tidemark/anatomy/canal.h"
#include "tidemark/anatomy/profile.h"
#include "tidemark/core/robust.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::lucency {
namespace {

using anatomy::Profile;
using anatomy::profile_along;
using anatomy::smoothed;

/// Standard uncertainty of a cortex's thickness that all its places share, mm: what is left of the
/// blur of its two edges, and the turn of the leg, which shows another part of an uneven cortex.
/// House choice after looking at simulated films.
constexpr double kCortexUMm = 0.3;
constexpr double kWindowMm = 5.0;  ///< of cortex, averaged before its edges are looked for
constexpr double kOutsideMm = 2.5;
constexpr double kFreeOfMetalMm = 1.5;  ///< where the metal's blur and halo are left out
constexpr double kThinnestMm = 1.0;     ///< of a cortex, and of what lies between it and the stem
/// A zone has a thickness when both edges stand out on this share of it. House choice.
constexpr double kEnough = 0.4;
/// Depth between stem and lesser trochanter, mm, and how unevenly legs are laid, degrees:
/// docs/design.md 9. Their product is the error of a height from the one to the other.
constexpr double kLesserDepthMm = 22.0;
constexpr double kFlexionDeg = 4.0;
/// Shelf against the step from canal to cortex: above it is one, below the other none. House
/// choice.
constexpr double kShelf = 0.20;
constexpr double kNoShelf = 0.10;

constexpr double kRadiansPerDegree = 0.017453292519943295;

/// Point of a chain at a level of an axis, and its direction there (distal).
struct OnChain {
  Vec2 px = Vec2::Zero();
  Vec2 tangent = Vec2::UnitY();
};

std::optional<Vec2> at_level(const Polyline& chain, const Line2& axis, double level_px) {
  for (std::size_t i = 1; i < chain.size(); ++i) {
    const double a = along(axis, chain[i - 1]) - level_px;
    const double b = along(axis, chain[i]) - level_px;
    if (a > 0.0 || b < 0.0 || a == b) continue;
    const double share = a / (a - b);
    return Vec2((1.0 - share) * chain[i - 1] + share * chain[i]);
  }
  return {};
}

std::optional<OnChain> on_chain(const Polyline& chain, const Line2& axis, double level_px,
                                double reach_px) {
  const auto middle = at_level(chain, axis, level_px);
  const auto above = at_level(chain, axis, level_px - reach_px);
  const auto below = at_level(chain, axis, level_px + reach_px);
  if (!middle || (!above && !below)) return {};
  const Vec2 way = below.value_or(*middle) - above.value_or(*middle);
  if (!(way.norm() > 0.0)) return {};
  return OnChain{*middle, way.normalized()};
}

/// What both cortices are measured with on one film.
struct Film {
  const Raster& pixels;
  const ZonePlan& plan;
  double px_per_mm;
};

/// The mean profile of a piece of cortex, from outside inwards up to before the metal.
std::optional<Profile> cortex_profile(const Film& film, const Polyline& cortex,
                                      const Polyline& stem, double level_mm) {
  constexpr int kLines = 11;
  std::vector<Profile> lines;
  double length = 1e9;
  for (int k = 0; k < kLines; ++k) {
    const double level = (level_mm + kWindowMm * (k / (kLines - 1.0) - 0.5)) * film.px_per_mm;
    const auto outer = on_chain(cortex, film.plan.axis_px, level, 4.0 * film.px_per_mm);
    const auto metal = at_level(stem, film.plan.axis_px, level);
    if (!outer || !metal) return {};
    Vec2 inwards(-outer->tangent.y(), outer->tangent.x());
    if (inwards.dot(*metal - outer->px) < 0.0) inwards = -inwards;
    const double room = inwards.dot(*metal - outer->px) / film.px_per_mm - kFreeOfMetalMm;
    if (room < 2.0 * kThinnestMm) return {};
    auto profile =
        profile_along(film.pixels, outer->px, inwards, -kOutsideMm, room, film.px_per_mm);
    if (!profile) return {};
    length = std::min(length, static_cast<double>(profile->values.size()));
    lines.push_back(std::move(*profile));
  }
  Profile mean{-kOutsideMm, std::vector<double>(static_cast<std::size_t>(length), 0.0)};
  for (std::size_t i = 0; i < mean.values.size(); ++i) {
    for (const Profile& line : lines) mean.values[i] += line.values[i] / kLines;
  }
  return mean;
}

double tip_level_mm(const ZonePlan& plan) {
  for (const Zone& zone : plan.zones) {
    if (zone.flank == Flank::kTip) return zone.from.value;
  }
  return 0.0;
}

/// Median with the uncertainty of its places and the one they share.
Measured<Millimetres> median_of(const std::vector<double>& values) {
  const double middle = median(values).value_or(0.0);
  const double spread = kSigmaPerMad * median_absolute_deviation(values).value_or(0.0);
  // Standard error of a median of normal values: 1.2533 sigma / sqrt(n) (textbook).
  const double own = 1.2533 * spread / std::sqrt(static_cast<double>(values.size()));
  return measured(Millimetres{middle}, Millimetres{std::hypot(kCortexUMm, own)});
}

CortexSign read_cortex(const Film& film, const Zone& zone, const Polyline& cortex) {
  CortexSign out;
  out.zone = zone.number;
  if (cortex.size() < 2) {
    out.reason = "The outer cortex was not found on this side.";
    return out;
  }
  const double tip = tip_level_mm(film.plan);
  std::vector<double> values;
  int asked = 0;
  for (double level = zone.from.value + 0.5 * kWindowMm; level + 0.5 * kWindowMm <= zone.to.value;
       level += kWindowMm) {
    ++asked;
    const auto profile = cortex_profile(film, cortex, zone.interface_px, level);
    const auto edges = profile ? anatomy::cortex_edges(*profile) : std::nullopt;
    if (!edges) continue;
    const double thickness = edges->inner_mm - edges->outer_mm;
    out.places.push_back({{level - tip}, {thickness}});
    values.push_back(thickness);
  }
  out.seen = asked > 0 ? static_cast<double>(values.size()) / asked : 0.0;
  if (out.seen < kEnough || values.size() < 2) {
    out.reason = "The inner border of the cortex does not stand apart from what lies beside it.";
    return out;
  }
  out.thickness = median_of(values);
  return out;
}

/// The stem's medial flank at the entry level.
struct FlankAt {
  double medial_mm = 0.0;  ///< of the axis
  double slope = 0.0;      ///< medially per way distally
};

/// By the outline from 5 mm above the entry level to 5 mm below it, on the medial side.
FlankAt flank_at_entry(const anatomy::Implant& implant, const ZonePlan& plan, double mm_per_px) {
  constexpr double kReachMm = 5.0;
  const Line2& axis = plan.axis_px;
  const Vec2 medial(axis.direction.y(), -axis.direction.x());
  double n = 0.0;
  Vec2 sum = Vec2::Zero();  // distal, medial
  double square = 0.0;
  double mixed = 0.0;
  for (const Vec2& p : implant.outline_px) {
    const Vec2 at(along(axis, p) * mm_per_px, medial.dot(p - axis.point) * mm_per_px);
    if (at.y() < 0.0 || std::abs(at.x()) > kReachMm) continue;
    n += 1.0;
    sum += at;
    square += at.x() * at.x();
    mixed += at.x() * at.y();
  }
  if (n < 3.0) return {};
  const double spread = square - sum.x() * sum.x() / n;
  if (!(spread > 0.0)) return {};
  const double slope = (mixed - sum.x() * sum.y() / n) / spread;
  return {(sum.y() - slope * sum.x()) / n, slope};
}

CalcarSign read_calcar(const anatomy::Implant& implant, const anatomy::Femur& femur,
                       const ZonePlan& plan, double mm_per_px) {
  CalcarSign out;
  if (plan.entry_assumed) {
    out.reason = "The medial border of the cut neck is not seen.";
    return out;
  }
  const double tip_u = implant.tip.u_px * mm_per_px;
  const FlankAt flank = flank_at_entry(implant, plan, mm_per_px);
  out.medial = Millimetres{flank.medial_mm};
  out.flank_slope = flank.slope;
  out.cut_slope = plan.cut_slope;
  out.above_tip =
      measured(Millimetres{tip_level_mm(plan)}, Millimetres{std::hypot(plan.entry_u.value, tip_u)});
  if (!femur.lesser_trochanter) {
    out.reason = "The lesser trochanter is not seen.";
    return out;
  }
  const double height = along(plan.axis_px, femur.lesser_trochanter->px) * mm_per_px;
  const double pose_u = kLesserDepthMm * std::sin(kFlexionDeg * kRadiansPerDegree);
  const double lesser_u = femur.lesser_trochanter->u_px * mm_per_px;
  out.height =
      measured(Millimetres{height}, Millimetres{std::hypot(plan.entry_u.value, lesser_u, pose_u)});
  return out;
}

/// The canal beyond the tip: three strips side by side along the bone, and its grey step to cortex.
struct Canal {
  std::array<Profile, 3> strips;
  double step = 0.0;
};

std::optional<Canal> canal_below(const Film& film, const anatomy::Implant& implant,
                                 const anatomy::Femur& femur) {
  constexpr double kReachMm = 24.0;
  constexpr double kHalfMm = 3.6;  ///< of the strips together: inside of most canals
  constexpr int kLines = 8;
  if (!femur.shaft_axis) return {};
  const Line2& shaft = femur.shaft_axis->line_px;
  const double tip = along(shaft, implant.tip.px);
  const auto middle = tip + 0.5 * kReachMm * film.px_per_mm;
  const auto lateral = at_level(femur.lateral_cortex_px, shaft, middle);
  const auto medial = at_level(femur.medial_cortex_px, shaft, middle);
  if (!lateral || !medial) return {};
  const Vec2 across = (*medial - *lateral).normalized();
  const Vec2 start = 0.5 * (*lateral + *medial) - (middle - tip) * shaft.direction;
  Canal out;
  for (std::size_t k = 0; k < 3; ++k) {
    Profile& strip = out.strips.at(k);
    strip.first_mm = 1.0;
    for (int j = 0; j < kLines; ++j) {
      const double off =
          kHalfMm * (2.0 * (static_cast<double>(k) + (j + 0.5) / kLines) / 3.0 - 1.0);
      const auto line = profile_along(film.pixels, start + off * film.px_per_mm * across,
                                      shaft.direction, 1.0, kReachMm, film.px_per_mm);
      if (!line) return {};
      if (strip.values.empty()) strip.values.assign(line->values.size(), 0.0);
      for (std::size_t i = 0; i < line->values.size(); ++i) {
        strip.values[i] += line->values[i] / kLines;
      }
    }
  }
  const double width = (*medial - *lateral).norm() / film.px_per_mm;
  const auto section = profile_along(film.pixels, *lateral, across, 0.0, width, film.px_per_mm);
  if (!section) return {};
  const std::vector<double> grey = smoothed(*section);
  const auto half = grey.begin() + static_cast<std::ptrdiff_t>(grey.size() / 2);
  const double canal = median(out.strips[1].values).value_or(0.0);
  out.step =
      0.5 * (*std::max_element(grey.begin(), half) + *std::max_element(half, grey.end())) - canal;
  return out;
}

double mean_between(const Profile& profile, double from_mm, double to_mm) {
  double sum = 0.0;
  double count = 0.0;
  for (std::size_t i = 0; i < profile.values.size(); ++i) {
    if (profile.x(i) < from_mm || profile.x(i) > to_mm) continue;
    sum += profile.values[i];
    count += 1.0;
  }
  return count > 0.0 ? sum / count : 0.0;
}

/// What looks most like a shelf, as a share of the step from canal to cortex.
struct Shelf {
  double height = 0.0;
  double below_tip_mm = 0.0;
  double noise = 0.0;  ///< scatter of the same measure away from it
};

Shelf brightest_shelf(const Canal& canal) {
  constexpr int kPlaces = 29;
  constexpr double kAwayMm = 6.0;  ///< beyond the reach of what the shelf does to its surroundings
  std::array<double, kPlaces> heights{};
  const auto place = [](int i) { return 4.0 + 0.5 * i; };
  for (int i = 0; i < kPlaces; ++i) {
    const double t = place(i);
    // A shelf goes across the whole canal: the strip that shows it least decides.
    double least = 1e9;
    for (const Profile& strip : canal.strips) {
      const double above = mean_between(strip, std::max(1.2, t - 4.5), t - 2.2);
      const double below = mean_between(strip, t + 2.2, t + 4.5);
      // Beside the metal its halo darkens the film: a shelf stands above the brighter side, too.
      least = std::min(least, mean_between(strip, t - 0.8, t + 0.8) - std::max(above, below));
    }
    heights.at(static_cast<std::size_t>(i)) = least / canal.step;
  }
  const auto best = std::max_element(heights.begin(), heights.end()) - heights.begin();
  Shelf out{heights.at(static_cast<std::size_t>(best)), place(static_cast<int>(best)), 0.0};
  std::vector<double> away;
  for (int i = 0; i < kPlaces; ++i) {
    if (std::abs(place(i) - out.below_tip_mm) > kAwayMm) {
      away.push_back(heights.at(static_cast<std::size_t>(i)));
    }
  }
  out.noise = kSigmaPerMad * median_absolute_deviation(away).value_or(0.0);
  return out;
}

PedestalSign read_pedestal(const Film& film, const anatomy::Implant& implant,
                           const anatomy::Femur& femur, const std::optional<Fixation>& fixation) {
  PedestalSign out;
  if (fixation == Fixation::kCemented) {
    out.reason = "Cement and its plug look like a shelf of bone.";
    return out;
  }
  if (!fixation) {
    out.reason =
        "The stem's fixation is not given, and cement with its plug would look like a shelf of "
        "bone.";
    return out;
  }
  const auto canal = canal_below(film, implant, femur);
  if (!canal || !(canal->step > 0.0)) {
    out.reason = "The canal beyond the tip is not seen between both cortices.";
    return out;
  }
  const Shelf shelf = brightest_shelf(*canal);
  if (shelf.height >= kShelf && shelf.height > 3.0 * shelf.noise) {
    out.present = Answer::kYes;
    out.below_tip = Millimetres{shelf.below_tip_mm};
  } else if (shelf.height <= kNoShelf) {
    out.present = Answer::kNo;
  } else {
    out.reason = "Something brighter than the canal lies beyond the tip, but no clear shelf.";
  }
  return out;
}

const CortexSign* cortex_of(const FilmSigns& signs, int zone) {
  const auto found = std::find_if(signs.cortex.begin(), signs.cortex.end(),
                                  [&](const CortexSign& one) { return one.zone == zone; });
  return found == signs.cortex.end() ? nullptr : &*found;
}

/// A motion of the stem and what is known of the calcar it moves past, as plain numbers: mm and
/// radians.
struct Passing {
  double subsidence, medial, tilt;
  double flank_slope, cut_slope;
};

/// By how much a stem that moved so shows the same cut neck farther above its tip (derived): its
/// flank, moved, meets the same oblique line of bone elsewhere. Distal and medial positive; varus
/// turns what is medial distally.
double farther_above_tip(const Passing& by, const CalcarSign& calcar, double medial_above_tip) {
  const double height = calcar.above_tip->value.value;
  const double off = calcar.medial.value;
  const double c = std::cos(by.tilt);
  const double s = std::sin(by.tilt);
  const double distal = by.subsidence + height * (1.0 - c) + off * s;
  const double medial = by.medial + (height - medial_above_tip) * s - off * (1.0 - c);
  const double flank_distal = c + by.flank_slope * s;
  const double flank_medial = by.flank_slope * c - s;
  return (distal - by.cut_slope * medial) / (flank_distal - by.cut_slope * flank_medial);
}

/// The same with what is not known of motion, flank and cut.
struct Passed {
  double value = 0.0;
  double u = 0.0;
};

Passed passed(const StemShift& shift, const CalcarSign& then) {
  constexpr double kFlankU = 0.05;  // of its slope: it is curved; house choice
  const Passing at{shift.subsidence_at_tip.value.value, shift.medial.value.value,
                   shift.tilt.value.value * kRadiansPerDegree, then.flank_slope,
                   then.cut_slope.value};
  struct Unknown {
    double Passing::*what;
    double u;
  };
  const std::array<Unknown, 5> unknown{{{&Passing::subsidence, shift.subsidence_at_tip.u.value},
                                        {&Passing::medial, shift.medial.u.value},
                                        {&Passing::tilt, shift.tilt.u.value * kRadiansPerDegree},
                                        {&Passing::flank_slope, kFlankU},
                                        {&Passing::cut_slope, then.cut_slope.u}}};
  const auto told = [&](const Passing& by) {
    return farther_above_tip(by, then, shift.medial_above_tip.value);
  };
  double square = 0.0;
  for (const Unknown& one : unknown) {
    Passing more = at;
    Passing less = at;
    more.*one.what += one.u;
    less.*one.what -= one.u;
    square += std::pow(0.5 * (told(more) - told(less)), 2);
  }
  return {told(at), std::sqrt(square)};
}

/// Change of the calcar's height, what the motion alone does to it taken off.
Measured<Millimetres> calcar_change(const CalcarSign& then, const CalcarSign& now,
                                    const StemShift& shift, double length_ratio_u) {
  const Measured<Millimetres>& was = *then.above_tip;
  const Measured<Millimetres>& is = *now.above_tip;
  const Passed by_motion = passed(shift, then);
  return measured(is.value - was.value - Millimetres{by_motion.value},
                  Millimetres{std::hypot(std::hypot(is.u.value, was.u.value), by_motion.u,
                                         length_ratio_u * was.value.value)});
}

/// Median of the differences at the same places of the stem, within half a window.
SignChanges::Cortex cortex_change(const CortexSign* then, const CortexSign& now) {
  SignChanges::Cortex out{now.zone, {}, {}};
  if (then == nullptr || !then->thickness || !now.thickness) {
    out.reason = "The thickness of the cortex is not known on both films.";
    return out;
  }
  std::vector<double> differences;
  for (const CortexPlace& place : now.places) {
    for (const CortexPlace& before : then->places) {
      if (std::abs(before.at.value - place.at.value) > 0.5 * kWindowMm) continue;
      differences.push_back(place.thickness.value - before.thickness.value);
      break;
    }
  }
  if (differences.size() < 2) {
    out.reason = "Too few places of the cortex are seen on both films.";
    return out;
  }
  const Measured<Millimetres> one = median_of(differences);
  // median_of holds what the places of one film share; the other film's comes to it.
  out.change = measured(one.value, Millimetres{std::hypot(one.u.value, kCortexUMm)});
  return out;
}

}  // namespace

FilmSigns read_signs(const film::FilmImage& hip_view, const anatomy::Implant& implant,
                     const anatomy::Femur& femur, const ZonePlan& plan, MillimetresPerPixel scale,
                     const std::optional<Fixation>& fixation) {
  const Film film{hip_view.pixels, plan, 1.0 / scale.value};
  FilmSigns out;
  for (const Zone& zone : plan.zones) {
    if (zone.flank == Flank::kTip) continue;
    const bool lateral = zone.flank == Flank::kLateral;
    out.cortex.push_back(
        read_cortex(film, zone, lateral ? femur.lateral_cortex_px : femur.medial_cortex_px));
  }
  out.calcar = read_calcar(implant, femur, plan, scale.value);
  out.pedestal = read_pedestal(film, implant, femur, fixation);
  return out;
}

SignChanges compare_signs(const FilmSigns& reference, const FilmSigns& follow_up,
                          const std::optional<StemShift>& shift, double length_ratio_u) {
  SignChanges out;
  for (const CortexSign& now : follow_up.cortex) {
    out.cortex.push_back(cortex_change(cortex_of(reference, now.zone), now));
  }
  if (reference.calcar.above_tip && follow_up.calcar.above_tip && shift) {
    out.calcar = calcar_change(reference.calcar, follow_up.calcar, *shift, length_ratio_u);
  } else {
    out.calcar_reason =
        shift ? "The cut neck is not seen on both films." : "How far the stem moved is not known.";
  }
  const Answer then = reference.pedestal.present;
  const Answer now = follow_up.pedestal.present;
  if (now == Answer::kNo || then == Answer::kYes) out.new_pedestal = Answer::kNo;
  if (now == Answer::kYes && then == Answer::kNo) out.new_pedestal = Answer::kYes;
  return out;
}

FilmSigns with_scale_u(FilmSigns signs, double relative_u) {
  const auto widen = [relative_u](std::optional<Measured<Millimetres>>& length) {
    if (!length) return;
    length = measured(length->value,
                      Millimetres{std::hypot(length->u.value, relative_u * length->value.value)});
  };
  for (CortexSign& cortex : signs.cortex) widen(cortex.thickness);
  widen(signs.calcar.height);
  widen(signs.calcar.above_tip);
  return signs;
}

}  // namespace tidemark::lucency
