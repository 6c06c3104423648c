#include "tidemark/anatomy/canal.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "neck.h"
#include "tidemark/core/sampling.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::anatomy {
namespace {

constexpr double kOutsideMm = 2.5;      ///< of soft parts on a profile
constexpr double kThinnestMm = 1.0;     ///< of a cortex
constexpr double kLeastFall = 0.10;     ///< of canal against cortex; house choice
constexpr double kWindowMm = 5.0;       ///< over which a border is averaged
constexpr int kRays = 11;               ///< in that window
constexpr double kFreeOfMetalMm = 1.5;  ///< hidden by the metal's blur and halo
/// A cortex that is bright up to the metal is no thicker than this between its outer border and
/// the metal: else the border between cortex and cancellous bone is merely not seen. House choice.
constexpr double kThickestMm = 9.0;
// Standard uncertainties, mm: of an edge of bone (blur, the averaging window, a cortex that is not
// straight), and of the metal's outline (design.md 9: halo and blur move it by up to 0.3 mm).
// House choices after the errors on films of both simulators (docs/anatomy.md).
constexpr double kBoneUMm = 0.5;
/// Beside the trochanters an edge may be that of another layer of bone: the lateral cortex at and
/// above the lesser trochanter's level, the medial one from the neck's cut to below the
/// trochanter's bulge.
constexpr double kLateralBesideUMm = 0.9;
constexpr double kLateralAboveUMm = 2.0;
constexpr double kMedialBesideUMm = 2.2;
constexpr double kMedialAboveUMm = 5.5;
constexpr double kBulgeMm = 15.0;    ///< half of the lesser trochanter's length, and some
constexpr double kOutlineUMm = 0.6;  ///< of an outer border that is not seen on the profile itself
constexpr double kMetalUMm = 0.2;
constexpr double kAtMetalHalfMm = 1.3;  ///< half-width of where a border hidden at the metal may be

/// Where a chain first meets a line that runs through `from_px` along `way`, as the distance from
/// there in px, within `least` and `most`.
std::optional<double> meets(const Polyline& chain, const Vec2& from_px, const Vec2& way,
                            double least, double most) {
  const Vec2 normal(-way.y(), way.x());
  std::optional<double> nearest;
  for (std::size_t i = 1; i < chain.size(); ++i) {
    const double a = normal.dot(chain[i - 1] - from_px);
    const double b = normal.dot(chain[i] - from_px);
    if (a * b > 0.0 || a == b) continue;
    const double t = way.dot(chain[i - 1] + a / (a - b) * (chain[i] - chain[i - 1]) - from_px);
    if (t < least || t > most) continue;
    if (!nearest || t < *nearest) nearest = t;
  }
  return nearest;
}

/// The femur's outlines on one side: the one beside the trochanter, then the shaft's cortex.
struct Outline {
  const Polyline& upper;  // NOLINT: views for the length of one call
  const Polyline& lower;  // NOLINT
};

Outline lateral_of(const Femur& femur) {
  return {femur.lateral_outline_px, femur.lateral_cortex_px};
}
Outline medial_of(const Femur& femur) {
  return {femur.lesser_trochanter_outline_px, femur.medial_cortex_px};
}

std::optional<double> meets(const Outline& outline, const Vec2& from_px, const Vec2& way,
                            double least, double most) {
  const auto upper = meets(outline.upper, from_px, way, least, most);
  return upper ? upper : meets(outline.lower, from_px, way, least, most);
}

/// One line from the femur's outer border inwards.
struct Ray {
  Vec2 outer_px = Vec2::Zero();
  double length_mm = 0.0;  ///< to the metal, or to where nothing more is asked
  bool to_metal = false;
};

/// What several rays side by side show together.
struct Wall {
  double length_mm = 0.0;            ///< of the rays, mean
  std::optional<CortexEdges> edges;  ///< from the outer border
  bool to_metal = false;
};

std::optional<Wall> wall_of(const Raster& film, const std::vector<Ray>& rays, const Vec2& inwards,
                            double px_per_mm) {
  if (rays.empty()) return {};
  Wall wall;
  wall.to_metal = rays[rays.size() / 2].to_metal;
  double shortest = 1e9;
  for (const Ray& ray : rays) {
    wall.length_mm += ray.length_mm / static_cast<double>(rays.size());
    shortest = std::min(shortest, ray.length_mm - (ray.to_metal ? kFreeOfMetalMm : 0.0));
  }
  if (shortest < 2.0 * kThinnestMm) return wall;
  shortest = std::min(shortest, kThickestMm);
  Profile mean{-kOutsideMm, {}};
  for (const Ray& ray : rays) {
    const auto one = profile_along(film, ray.outer_px, inwards, -kOutsideMm, shortest, px_per_mm);
    if (!one) return {};
    if (mean.values.empty()) mean.values.assign(one->values.size(), 0.0);
    for (std::size_t i = 0; i < mean.values.size(); ++i) {
      mean.values[i] += one->values[i] / static_cast<double>(rays.size());
    }
  }
  wall.edges = cortex_edges(mean);
  return wall;
}

Measured<Millimetres> mm(double value, double u) {
  return measured(Millimetres{value}, Millimetres{u});
}

/// Half-width of a rectangle as a standard uncertainty (GUM 4.3.7).
double rectangle(double half_width) { return half_width / std::sqrt(3.0); }

/// The scene of sections across one femur.
struct Femoral {
  const film::FilmImage& view;
  const Implant& implant;
  const Line2 axis;  ///< of the shaft, px
  double px_per_mm;
};

/// Rays from one outline towards the axis in a window about a level (px along the axis).
std::vector<Ray> rays_across(const Femoral& f, const Outline& outline, const Vec2& outwards,
                             double level_px) {
  std::vector<Ray> rays;
  for (int k = 0; k < kRays; ++k) {
    const double off = kWindowMm * (k / (kRays - 1.0) - 0.5) * f.px_per_mm;
    const Vec2 centre = f.axis.point + (level_px + off) * f.axis.direction;
    const double far = 60.0 * f.px_per_mm;
    const auto outer = meets(outline, centre, outwards, 0.0, far);
    if (!outer) return {};
    const Vec2 outer_px = centre + *outer * outwards;
    // The outermost metal on this side: the first met from outside.
    const auto metal = meets(f.implant.outline_px, outer_px, -outwards, 0.0, *outer + far);
    const double room = (metal ? *metal : *outer) / f.px_per_mm;
    rays.push_back({outer_px, room, metal.has_value()});
  }
  return rays;
}

SectionSide side_of(const Femoral& f, const Outline& outline, const Vec2& outwards, double level_px,
                    double inner_u_mm) {
  SectionSide side;
  const auto rays = rays_across(f, outline, outwards, level_px);
  const auto wall = wall_of(f.view.pixels, rays, -outwards, f.px_per_mm);
  if (!wall) return side;
  double outer = 0.0;
  for (const Ray& ray : rays) {
    outer += outwards.dot(ray.outer_px - f.axis.point) / f.px_per_mm / kRays;
  }
  const double metal = outer - wall->length_mm;
  if (wall->to_metal) side.metal = mm(metal, kMetalUMm);
  if (wall->edges) {
    side.outer = mm(outer - wall->edges->outer_mm, kBoneUMm);
    side.inner = mm(outer - wall->edges->inner_mm, inner_u_mm);
    side.border = InnerBorder::kSeen;
    return side;
  }
  side.outer = mm(outer, kOutlineUMm);
  if (wall->to_metal && wall->length_mm < kThickestMm) {
    side.inner = mm(metal + 0.5 * kFreeOfMetalMm, std::max(inner_u_mm, rectangle(kAtMetalHalfMm)));
    side.border = InnerBorder::kAtTheMetal;
  }
  return side;
}

/// The neck's axis, pointing distally: its midline where both sides are seen; else from the head's
/// centre through the middle of the outline's open end, good to some 2 degrees.
Line2 neck_line(const Implant& implant, MillimetresPerPixel scale) {
  if (const auto neck = neck_axis(implant.outline_px, scale.value)) return neck->line;
  const Vec2 middle = 0.5 * (implant.outline_px.front() + implant.outline_px.back());
  const Vec2 head = implant.head.circle_px.centre;
  return {middle, (middle - head).normalized()};
}

/// The lateral flank: the outline from the shoulder to the tip.
Polyline lateral_flank(const Implant& implant) {
  const Line2& axis = implant.axis.line_px;
  const double from = along(axis, implant.shoulder.px);
  const double to = along(axis, implant.tip.px);
  Polyline out;
  for (const Vec2& p : implant.outline_px) {
    if (signed_distance(axis, p) < 0.0 || along(axis, p) < from || along(axis, p) > to) continue;
    out.push_back(p);
  }
  return out;
}

}  // namespace

std::optional<CortexEdges> cortex_edges(const Profile& profile) {
  const std::vector<double> v = smoothed(profile);
  if (v.size() < 8) return {};
  const auto slope = [&](std::size_t i) { return v[i + 1] - v[i - 1]; };
  std::size_t outer = 0;
  double steepest = 0.0;
  for (std::size_t i = 1; i + 1 < v.size() && profile.x(i) < kThinnestMm; ++i) {
    if (profile.x(i) > -1.5 && slope(i) > steepest) {
      steepest = slope(i);
      outer = i;
    }
  }
  if (outer == 0) return {};
  const auto from = v.begin() + static_cast<std::ptrdiff_t>(outer);
  const auto peak = static_cast<std::size_t>(std::max_element(from, v.end()) - v.begin());
  const double rise = v[peak] - *std::min_element(v.begin(), from + 1);
  const auto tail = v.begin() + static_cast<std::ptrdiff_t>(peak);
  const double fall = v[peak] - *std::min_element(tail, v.end());
  if (!(fall > kLeastFall * rise)) return {};
  std::size_t inner = peak;
  double deepest = 0.0;
  for (std::size_t i = std::max<std::size_t>(1, peak); i + 1 < v.size(); ++i) {
    if (slope(i) < deepest) {
      deepest = slope(i);
      inner = i;
    }
  }
  // At the end of the profile the fall may go on: its steepest place is not known.
  if (inner + 3 >= v.size() || inner <= outer) return {};
  if (profile.x(inner) - profile.x(outer) < kThinnestMm) return {};
  return CortexEdges{profile.x(outer), profile.x(inner)};
}

std::optional<Section> section_at(const film::FilmImage& hip_view, const Implant& implant,
                                  const Femur& femur, MillimetresPerPixel scale,
                                  Millimetres level) {
  if (!femur.shaft_axis || !femur.lesser_trochanter || !(scale.value > 0.0)) return {};
  const Femoral f{hip_view, implant, femur.shaft_axis->line_px, 1.0 / scale.value};
  const double level_px = along(f.axis, femur.lesser_trochanter->px) - level.value * f.px_per_mm;
  Section section;
  section.level = level;
  section.centre_px = f.axis.point + level_px * f.axis.direction;
  if (!sample_linear(hip_view.pixels, section.centre_px)) return {};
  const Vec2 medial(f.axis.direction.y(), -f.axis.direction.x());
  const auto u_at = [&](double beside, double above) {
    if (level.value > 0.0) return above;
    return level.value > -kBulgeMm ? beside : kBoneUMm;
  };
  section.lateral =
      side_of(f, lateral_of(femur), -medial, level_px, u_at(kLateralBesideUMm, kLateralAboveUMm));
  section.medial =
      side_of(f, medial_of(femur), medial, level_px, u_at(kMedialBesideUMm, kMedialAboveUMm));
  return section;
}

std::optional<FlareSeat> flare_seat(const film::FilmImage& hip_view, const Implant& implant,
                                    const Femur& femur, MillimetresPerPixel scale) {
  if (!(scale.value > 0.0) || !femur.shaft_axis) return {};
  const double px_per_mm = 1.0 / scale.value;
  if (implant.outline_px.size() < 3) return {};
  const Line2 neck = neck_line(implant, scale);
  const Polyline flank = lateral_flank(implant);
  const double reach = 120.0 * px_per_mm;
  const auto hit = meets(flank, neck.point, neck.direction, 0.0, reach);
  if (!hit) return {};
  FlareSeat seat;
  seat.px = neck.point + *hit * neck.direction;
  // The flank's own direction there, over 8 mm.
  const Line2& axis = implant.axis.line_px;
  const Vec2 medial(axis.direction.y(), -axis.direction.x());
  const double level = along(axis, seat.px);
  const auto on_flank = [&](double off_mm) -> std::optional<Vec2> {
    const Vec2 centre = axis.point + (level + off_mm * px_per_mm) * axis.direction;
    const auto t = meets(flank, centre, -medial, 0.0, reach);
    if (!t) return {};
    return centre - *t * medial;
  };
  const auto above = on_flank(-4.0);
  const auto below = on_flank(4.0);
  if (!above || !below) return {};
  const Vec2 tangent = (*below - *above).normalized();
  seat.out = Vec2(-tangent.y(), tangent.x());
  if (seat.out.dot(medial) > 0.0) seat.out = -seat.out;
  const Outline outline = lateral_of(femur);
  std::vector<Ray> rays;
  for (int k = 0; k < kRays; ++k) {
    const Vec2 start = seat.px + kWindowMm * (k / (kRays - 1.0) - 0.5) * px_per_mm * tangent;
    const auto metal = meets(flank, start, seat.out, -4.0 * px_per_mm, 4.0 * px_per_mm);
    const auto outer = meets(outline, start, seat.out, 0.0, 40.0 * px_per_mm);
    if (!metal || !outer) return seat;
    rays.push_back({start + *outer * seat.out, (*outer - *metal) / px_per_mm, true});
  }
  const auto wall = wall_of(hip_view.pixels, rays, -seat.out, px_per_mm);
  if (!wall) return seat;
  if (wall->edges) {
    seat.gap = mm(wall->length_mm - wall->edges->inner_mm, std::hypot(kLateralAboveUMm, kMetalUMm));
    seat.border = InnerBorder::kSeen;
  } else if (wall->length_mm < kThickestMm) {
    seat.gap = mm(0.5 * kFreeOfMetalMm, rectangle(kAtMetalHalfMm));
    seat.border = InnerBorder::kAtTheMetal;
  }
  return seat;
}

CanalReading read_canal(const film::FilmImage& hip_view, const Implant& implant, const Femur& femur,
                        MillimetresPerPixel scale) {
  constexpr int kHighestMm = 20;
  constexpr int kLowestMm = -130;
  constexpr int kStepMm = 10;
  CanalReading out;
  for (int level = kHighestMm; level >= kLowestMm; level -= kStepMm) {
    auto section = section_at(hip_view, implant, femur, scale, Millimetres{1.0 * level});
    if (section) out.sections.push_back(*section);
  }
  out.flare = flare_seat(hip_view, implant, femur, scale);
  return out;
}

}  // namespace tidemark::anatomy
