#include "gap.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numbers>

namespace tidemark::phantom {
namespace {

constexpr double kStep = 0.6;        // mm, of the grids
constexpr double kReach = 9.0;       // mm from the stem
constexpr double kNone = -0.6;       // mm: under the metal's surface, so that nothing shows
constexpr double kTaper = 1.0;       // mm, half of the length over which a line ends
constexpr double kAboveEntry = 6.0;  // mm: a line that begins at the entry level begins above it
constexpr double kHandOver = 0.35;   // of the half width: where one flank's width gives way
constexpr double kCorner = 1.0;      // mm: over which a flank's width gives way to a face's
constexpr double kTipBlend = 8.0 * std::numbers::pi / 180.0;  // about the end of the tip's zone

double smooth_step(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * (3.0 - 2.0 * t);
}

struct Knot {
  double at;
  double width;
};
using Knots = std::vector<Knot>;

double width_at(const Knots& knots, double at) {
  if (knots.empty()) return kNone;
  if (at <= knots.front().at) return knots.front().width;
  for (std::size_t i = 1; i < knots.size(); ++i) {
    if (at > knots[i].at) continue;
    const double t = smooth_step((at - knots[i - 1].at) / (knots[i].at - knots[i - 1].at));
    return knots[i - 1].width + t * (knots[i].width - knots[i - 1].width);
  }
  return knots.back().width;
}

/// A stretch of one width.
struct Stretch {
  GapSpan span;
  double width;
};

/// Widths along a flank: full within each stretch, half at its ends unless the next one touches.
Knots knots_of(std::vector<Stretch> stretches) {
  std::sort(stretches.begin(), stretches.end(),
            [](const Stretch& a, const Stretch& b) { return a.span.from < b.span.from; });
  Knots knots;
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    const auto& [span, width] = stretches[i];
    const bool touched = i > 0 && stretches[i - 1].span.to >= span.from - 1e-6;
    const bool touches = i + 1 < stretches.size() && span.to >= stretches[i + 1].span.from - 1e-6;
    if (!touched) {
      knots.push_back({span.from - 2.0 * kTaper, kNone});
      knots.push_back({span.from - kTaper, 0.0});
    }
    knots.push_back({span.from + kTaper, width});
    knots.push_back({span.to - kTaper, width});
    if (!touches) {
      knots.push_back({span.to + kTaper, 0.0});
      knots.push_back({span.to + 2.0 * kTaper, kNone});
    }
  }
  return knots;
}

/// Widths as the film of one view shows them: by level on its two sides, by arc about the tip.
struct Course {
  Knots first;   ///< lateral, or front
  Knots tip;     ///< from there to the other side
  Knots second;  ///< medial, or back

  [[nodiscard]] bool empty() const { return first.empty() && tip.empty() && second.empty(); }
};

/// The stem about one level, the same all down its round end.
struct Level {
  double mid_x = 0.0;
  double half_width = 0.0;
  double half_depth = 0.0;
  double into_end = 0.0;  ///< mm below where the round end begins; negative above
};

Level level_at(const StemShape& shape, double y) {
  const double round_from = shape.length_mm - shape.tip_half_width_mm;
  const FlankX x = flanks_at(shape, std::min(y, round_from));
  return {0.5 * (x.lateral + x.medial), 0.5 * (x.medial - x.lateral),
          half_depth_at(shape, std::min(y, round_from)), y - round_from};
}

/// How thick something is about the stem. `frontal` alone: between the flanks, in front and behind,
/// one gives way to the other. `by_side`: front and back have widths of their own, and the tip's is
/// one cap about it.
struct Thickness {
  Course frontal;
  Course sagittal;
  bool by_side = false;
  bool anywhere = false;

  [[nodiscard]] double at(const StemShape& shape, const Vec3& p) const {
    const double round = shape.tip_half_width_mm;
    const double round_from = shape.length_mm - round;
    const FlankX x = flanks_at(shape, std::min(p.y(), round_from));
    const double across = (2.0 * p.x() - x.lateral - x.medial) / (x.medial - x.lateral);
    const double medial_part = smooth_step(0.5 + 0.5 * across / kHandOver);
    const double flank = (1.0 - medial_part) * width_at(frontal.first, p.y()) +
                         medial_part * width_at(frontal.second, p.y());
    if (by_side) return at_side(shape, p, flank);
    if (p.y() <= round_from) return flank;
    const double angle = std::atan2(p.x(), p.y() - round_from);
    return tip_or_side(std::abs(angle), width_at(frontal.tip, (angle + kTipHalfAngle) * round),
                       flank);
  }

 private:
  /// Of two widths that meet at the end of the tip's zone, by the angle off the stem's axis.
  static double tip_or_side(double angle, double at_the_tip, double beside) {
    const double part = smooth_step(0.5 + 0.5 * (angle - kTipHalfAngle) / kTipBlend);
    return part * beside + (1.0 - part) * at_the_tip;
  }

  /// A face's width where a place is farther beyond the face than beyond the flank: the border runs
  /// outwards at 45 degrees from the corner of the section.
  [[nodiscard]] double at_side(const StemShape& shape, const Vec3& p, double flank) const {
    const Level level = level_at(shape, p.y());
    const double beyond_face = std::abs(p.z()) - level.half_depth;
    const double beyond_flank = std::abs(p.x() - level.mid_x) - level.half_width;
    const double face_part = smooth_step(0.5 + (beyond_face - beyond_flank) / kCorner);
    const double face = width_at(p.z() < 0.0 ? sagittal.first : sagittal.second, p.y());
    const double side = (1.0 - face_part) * flank + face_part * face;
    if (level.into_end <= 0.0) return side;
    // Angles off the axis of the normals of the end, which is flatter from front to back.
    const double stretch = std::pow(level.half_width / level.half_depth, 2.0);
    const double z = stretch * p.z();
    const auto tip = [&](const Knots& knots, double out, View view) {
      const double part = 0.5 + 0.5 * std::atan2(out, level.into_end) / kTipHalfAngle;
      return width_at(knots, part * tip_arc(shape, view));
    };
    return tip_or_side(
        std::atan2(std::hypot(p.x(), z), level.into_end),
        std::max(tip(frontal.tip, p.x(), View::kAp), tip(sagittal.tip, z, View::kLateral)), side);
  }
};

/// Thickness of those gaps for which `width` gives one.
Thickness thickness_of(const Model& model, const FilmSpec& film,
                       const std::function<std::optional<double>(const Gap&)>& width) {
  std::array<std::vector<Stretch>, 6> stretches;
  for (const Gap& gap : film.gaps) {
    if (const auto mm = width(gap)) {
      const int zone = frontal_zone(gap.zone);
      const std::size_t where = zone < 4 ? 0 : zone == 4 ? 1 : 2;
      stretches[view_of(gap.zone) == View::kLateral ? where + 3 : where].push_back(
          {span_of(model, gap), *mm});
    }
  }
  const auto course = [&](std::size_t i) {
    return Course{knots_of(stretches[i]), knots_of(stretches[i + 1]), knots_of(stretches[i + 2])};
  };
  Thickness result{course(0), course(3)};
  // One rule for all that lies about a stem: a rim keeps to the side of its line.
  result.by_side = film.view == View::kLateral ||
                   std::any_of(film.gaps.begin(), film.gaps.end(),
                               [](const Gap& gap) { return view_of(gap.zone) == View::kLateral; });
  result.anywhere = !(result.frontal.empty() && result.sagittal.empty());
  return result;
}

bool at_cement(const Gap& gap) { return gap.interface == GapInterface::kCementBone; }

/// Seen from the side the round end is an ellipse (half depth across, half width along): its
/// parameter, from the tip, where the normal is 45 degrees off the axis.
double end_parameter(const StemShape& shape) {
  return std::atan(shape.tip_half_depth_mm / shape.tip_half_width_mm);
}

/// Length of the gradient of a grid, by differences over one step.
double slope_at(const ScalarGrid& grid, const Vec3& p) {
  Vec3 slope;
  for (int axis = 0; axis < 3; ++axis) {
    const Vec3 step = 0.5 * grid.step_mm * Vec3::Unit(axis);
    slope[axis] = (value_at(grid, p + step) - value_at(grid, p - step)) / grid.step_mm;
  }
  return slope.norm();
}

/// Everything about the stem on one film, as functions of a place in the stem frame and of its
/// distance d from the metal. Negative inside.
class Surroundings {
 public:
  Surroundings(const Model& model, const CaseSpec& spec, const FilmSpec& film)
      : model_(model),
        spec_(spec),
        femur_(femur_from_stem(model, film.motion)),
        gap_(thickness_of(model, film,
                          [](const Gap& g) {
                            return at_cement(g) ? std::nullopt : std::optional(g.width.value);
                          })),
        membrane_(thickness_of(model, film,
                               [](const Gap& g) {
                                 return at_cement(g) ? std::optional(g.width.value) : std::nullopt;
                               })),
        gap_rim_(thickness_of(model, film, [](const Gap& g) { return with_rim(g, false); })),
        membrane_rim_(thickness_of(model, film, [](const Gap& g) { return with_rim(g, true); })) {
    if (spec.compaction) {
      const double entry = entry_level(model, model.femur_from_seat);
      const double end = entry + spec.compaction->reach * (shape().length_mm - entry);
      const double mm = spec.compaction->thickness.value;
      compacted_.frontal.first = compacted_.frontal.second = {{end - 4.0, mm}, {end + 4.0, kNone}};
    }
  }

  [[nodiscard]] bool has_gap() const { return gap_.anywhere; }
  [[nodiscard]] bool has_membrane() const { return membrane_.anywhere; }
  [[nodiscard]] bool has_rim() const { return gap_rim_.anywhere || membrane_rim_.anywhere; }

  [[nodiscard]] double gap(const Vec3& p, double d) const {
    return std::max(d - gap_.at(shape(), p), in_bone(p));
  }
  /// The mantle, cut to the canal; the metal itself where there is none.
  [[nodiscard]] double cement(const Vec3& p, double d) const {
    if (!spec_.mantle) return d;
    const Vec3 q = femur_.apply(p);
    const double slope = std::max(0.5, slope_at(model_.femur.fields.inside, q));
    return std::max(d - spec_.mantle->value, value_at(model_.femur.fields.inside, q) / slope);
  }
  [[nodiscard]] double membrane(const Vec3& p, double d) const {
    return std::max(cement(p, d) - membrane_.at(shape(), p), in_bone(p));
  }
  [[nodiscard]] double rim(const Vec3& p, double d) const {
    double rim = gap_rim_.anywhere ? d - gap_rim_.at(shape(), p) : kReach;
    if (membrane_rim_.anywhere) {
      rim = std::min(rim, cement(p, d) - membrane_rim_.at(shape(), p));
    }
    return std::max(rim, in_bone(p));
  }
  [[nodiscard]] double compacted(const Vec3& p, double d) const {
    const double before =
        std::max(0.0, spec_.mantle ? membrane_.at(shape(), p) : gap_.at(shape(), p));
    return std::max(cement(p, d) - before - compacted_.at(shape(), p),
                    value_at(model_.femur.fields.inside, femur_.apply(p)));
  }
  /// Whether no cancellous bone can be here.
  [[nodiscard]] bool displaces(const Vec3& p) const {
    const double d = value_at(model_.stem_distance, p);
    if (d > kReach - 0.5) return false;
    return d < gap_.at(shape(), p) || (spec_.mantle && cement(p, d) < 0.0) ||
           cement(p, d) < membrane_.at(shape(), p);
  }

 private:
  static std::optional<double> with_rim(const Gap& gap, bool at_the_cement) {
    if (at_cement(gap) != at_the_cement || !gap.rim) return std::nullopt;
    return gap.width.value + gap.rim->value;
  }
  [[nodiscard]] const StemShape& shape() const { return model_.stem_shape; }
  [[nodiscard]] double in_bone(const Vec3& p) const {
    return value_at(model_.femur.fields.outer, femur_.apply(p));
  }

  const Model& model_;
  const CaseSpec& spec_;
  Rigid3 femur_;
  Thickness gap_;
  Thickness membrane_;
  Thickness gap_rim_;
  Thickness membrane_rim_;
  Thickness compacted_;
};

}  // namespace

double tip_arc(const StemShape& shape, View view) {
  if (view == View::kAp) return 2.0 * kTipHalfAngle * shape.tip_half_width_mm;
  // Of an ellipse, between the places where its normal is 45 degrees off the axis.
  const double high = shape.tip_half_width_mm;
  const double wide = shape.tip_half_depth_mm;
  const double end = end_parameter(shape);
  constexpr int kParts = 64;
  double arc = 0.0;
  for (int i = 0; i < kParts; ++i) {
    const double t = end * (2.0 * (i + 0.5) / kParts - 1.0);
    arc += std::hypot(wide * std::cos(t), high * std::sin(t)) * 2.0 * end / kParts;
  }
  return arc;
}

double entry_level(const Model& model, const Rigid3& femur_from_stem) {
  const auto in_bone = [&](double y) {
    const Vec3 p(flanks_at(model.stem_shape, y).medial, y, 0.0);
    return value_at(model.femur.fields.outer, femur_from_stem.apply(p));
  };
  constexpr double kFine = 0.05;
  double y = -15.0;
  while (y < 0.5 * model.stem_shape.length_mm && in_bone(y) > 0.0) y += kFine;
  return y;
}

GapSpan span_of(const Model& model, const Gap& gap) {
  const StemShape& shape = model.stem_shape;
  const View view = view_of(gap.zone);
  if (about_the_tip(gap.zone)) {
    const double arc = tip_arc(shape, view);
    return {gap.from * arc, gap.to * arc};
  }
  const double entry = entry_level(model, model.femur_from_seat);
  const double third = (shape.length_mm - entry) / 3.0;
  const int index = third_of(gap.zone);
  const double from =
      gap.from == 0.0 && index == 0 ? entry - kAboveEntry : entry + (index + gap.from) * third;
  const double end = view == View::kAp ? kTipHalfAngle : end_parameter(shape);
  const double round_end = shape.length_mm - shape.tip_half_width_mm * (1.0 - std::cos(end));
  return {from, std::min(entry + (index + gap.to) * third, round_end)};
}

bool has_interface(const CaseSpec& spec) {
  return spec.mantle || spec.compaction ||
         std::any_of(spec.films.begin(), spec.films.end(),
                     [](const FilmSpec& film) { return !film.gaps.empty(); });
}

ScalarGrid stem_distance(const StemModel& stem, const StemShape& shape, unsigned threads) {
  const FlankX widest = flanks_at(shape, -6.0);
  const Box box{
      {-shape.half_width_mm - shape.flare_mm - kReach, -8.0, -shape.half_depth_mm - kReach},
      {widest.medial + kReach, shape.length_mm + kReach, shape.half_depth_mm + kReach}};
  return distance_grid(stem.mesh, box, kStep, kReach, threads);
}

void add_interface(const Model& model, const CaseSpec& spec, const FilmSpec& film,
                   const Rigid3& world_from_femur, Scene& scene) {
  if (!spec.mantle && !spec.compaction && film.gaps.empty()) return;
  const Surroundings around(model, spec, film);
  const Rigid3 stem_in_femur = femur_from_stem(model, film.motion);
  const Rigid3 world_from_stem = world_from_femur.after(stem_in_femur);
  const auto add = [&](Layer layer, const auto& field) {
    const ScalarGrid grid = changed_grid(
        model.stem_distance,
        [&](const Vec3& p, double d) { return d < -1.0 || d > kReach - 0.01 ? d : field(p, d); },
        1);
    scene.solids.push_back({layer, moved(contour(grid), world_from_stem)});
  };
  using P = const Vec3&;
  if (around.has_gap()) add(Layer::kGap, [&](P p, double d) { return around.gap(p, d); });
  if (spec.mantle) add(Layer::kCement, [&](P p, double d) { return around.cement(p, d); });
  if (around.has_membrane()) {
    add(Layer::kMembrane, [&](P p, double d) { return around.membrane(p, d); });
  }
  if (around.has_rim()) add(Layer::kRim, [&](P p, double d) { return around.rim(p, d); });
  if (spec.compaction) {
    add(Layer::kCompacted, [&](P p, double d) { return around.compacted(p, d); });
    scene.spongiosa.compaction = *spec.compaction;
  }
  const Rigid3 stem_from_world = world_from_stem.inverse();
  std::erase_if(scene.struts, [&](const Strut& s) {
    for (int i = 0; i <= 4; ++i) {
      if (around.displaces(stem_from_world.apply(s.from + 0.25 * i * (s.to - s.from)))) return true;
    }
    return false;
  });
}

}  // namespace tidemark::phantom
