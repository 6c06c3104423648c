#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

#include "gap.h"

namespace tidemark::phantom {
namespace {

constexpr double kLeastLength = 1.0;  // mm: what reaches less far into a zone is no line of it

/// Places along the stem axis on the film, mm in the plane of the stem, from the entry level.
class FilmAxis {
 public:
  FilmAxis(const Model& model, const FilmSpec& film, const Rigid3& world_from_stem,
           const FilmTruth& found)
      : model_(model),
        beam_(film.beam),
        world_from_stem_(world_from_stem),
        direction_((found.stem_axis[1] - found.stem_axis[0]).normalized()),
        mm_per_px_(found.mm_per_px) {
    const double entry = entry_level(model, femur_from_stem(model, film.motion));
    entry_px = shadow(film.view == View::kLateral ? 14 : 7, entry);
    tip_mm = along(found.stem_tip);
  }

  /// Of the outline beside a zone at a level of the stem frame.
  [[nodiscard]] double flank_mm(int zone, double y) const { return along(shadow(zone, y)); }

  Vec2 entry_px;
  double tip_mm = 0.0;

 private:
  [[nodiscard]] Vec2 shadow(int zone, double y) const {
    const bool first = frontal_zone(zone) < 4;
    if (view_of(zone) == View::kLateral) return edge_of_section(first ? -1.0 : 1.0, y);
    const FlankX x = flanks_at(model_.stem_shape, y);
    return shadow_of({first ? x.lateral : x.medial, y, 0.0});
  }
  /// Where the shadow of the level section ends in front (-1) or behind (+1): seen from the side
  /// its broad faces turn, and a corner makes the outline.
  [[nodiscard]] Vec2 edge_of_section(double side, double y) const {
    const Vec2 back(direction_.y(), -direction_.x());
    Vec2 edge = shadow_of({0.0, y, 0.0});
    for (const Vec3& p : section_at(model_.stem_shape, y)) {
      const Vec2 px = shadow_of(p);
      if (side * back.dot(px - edge) > 0.0) edge = px;
    }
    return edge;
  }
  [[nodiscard]] Vec2 shadow_of(const Vec3& p_in_stem) const {
    return beam_.project(world_from_stem_.apply(p_in_stem));
  }
  [[nodiscard]] double along(const Vec2& px) const {
    return direction_.dot(px - entry_px) * mm_per_px_;
  }

  const Model& model_;
  const Beam& beam_;
  Rigid3 world_from_stem_;
  Vec2 direction_;
  double mm_per_px_;
};

LineTruth line_of(const Gap& gap, const CaseSpec& spec, double from, double to, double length) {
  const double before = gap.interface == GapInterface::kCementBone ? spec.mantle->value : 0.0;
  return {gap.interface, gap.width, {before}, {from}, {to}, (to - from) / length, gap.rim};
}

/// Share of a zone's length that has compacted bone beside it.
double compacted_share(const CaseSpec& spec, int zone) {
  if (!spec.compaction || about_the_tip(zone)) return 0.0;
  return std::clamp(3.0 * spec.compaction->reach - third_of(zone), 0.0, 1.0);
}

/// The zones of one flank as indices of the seven, proximal first.
std::array<std::size_t, 3> flank_of(int zone) {
  return frontal_zone(zone) < 4 ? std::array<std::size_t, 3>{0, 1, 2}
                                : std::array<std::size_t, 3>{6, 5, 4};
}

}  // namespace

LucencyTruth lucency_truth(const Model& model, const CaseSpec& spec, const FilmSpec& film,
                           const Rigid3& world_from_stem, const FilmTruth& found) {
  const FilmAxis axis(model, film, world_from_stem, found);
  const double third = axis.tip_mm / 3.0;
  LucencyTruth truth;
  truth.entry_px = axis.entry_px;
  const View view = film.view == View::kLateral ? View::kLateral : View::kAp;
  const int first = view == View::kLateral ? 8 : 1;
  for (int zone = first; zone < first + 7; ++zone) {
    const double length = about_the_tip(zone) ? tip_arc(model.stem_shape, view) : third;
    truth.zones.push_back({zone, {length}, compacted_share(spec, zone), {}});
  }
  for (const Gap& gap : film.gaps) {
    const GapSpan span = span_of(model, gap);
    const bool seen = view_of(gap.zone) == view;
    if (about_the_tip(gap.zone)) {
      // The other view's line about the tip is the same cap, seen whole.
      ZoneTruth& tip = truth.zones[3];
      const double length = tip.length.value;
      tip.lines.push_back(
          line_of(gap, spec, seen ? span.from : 0.0, seen ? span.to : length, length));
      continue;
    }
    if (!seen) continue;
    const auto flank = flank_of(gap.zone);
    for (std::size_t i = 0; i < flank.size(); ++i) {
      const double border = static_cast<double>(i) * third;
      const double from = std::max(0.0, axis.flank_mm(gap.zone, span.from) - border);
      const double to = std::min(third, axis.flank_mm(gap.zone, span.to) - border);
      if (to - from < kLeastLength) continue;
      truth.zones[flank[i]].lines.push_back(line_of(gap, spec, from, to, third));
    }
  }
  return truth;
}

}  // namespace tidemark::phantom
