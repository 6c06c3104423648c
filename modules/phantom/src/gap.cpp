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

/// How thick something is about the stem: by level on either flank, by arc about the tip; between
/// the flanks, in front and behind, one gives way to the other.
struct Thickness {
  Knots lateral;
  Knots tip;
  Knots medial;
  bool anywhere = false;

  [[nodiscard]] double at(const StemShape& shape, const Vec3& p) const {
    const double round = shape.tip_half_width_mm;
    const double round_from = shape.length_mm - round;
    const FlankX x = flanks_at(shape, std::min(p.y(), round_from));
    const double across = (2.0 * p.x() - x.lateral - x.medial) / (x.medial - x.lateral);
    const double medial_part = smooth_step(0.5 + 0.5 * across / kHandOver);
    const double flank =
        (1.0 - medial_part) * width_at(lateral, p.y()) + medial_part * width_at(medial, p.y());
    if (p.y() <= round_from) return flank;
    constexpr double kBlend = 8.0 * std::numbers::pi / 180.0;
    const double angle = std::atan2(p.x(), p.y() - round_from);
    const double flank_part = smooth_step(0.5 + 0.5 * (std::abs(angle) - kTipHalfAngle) / kBlend);
    return flank_part * flank + (1.0 - flank_part) * width_at(tip, (angle + kTipHalfAngle) * round);
  }
};

/// Thickness of those gaps for which `width` gives one.
Thickness thickness_of(const Model& model, const FilmSpec& film,
                       const std::function<std::optional<double>(const Gap&)>& width) {
  std::array<std::vector<Stretch>, 3> stretches;
  for (const Gap& gap : film.gaps) {
    if (const auto mm = width(gap)) {
      const std::size_t where = gap.zone < 4 ? 0 : gap.zone == 4 ? 1 : 2;
      stretches[where].push_back({span_of(model, gap), *mm});
    }
  }
  Thickness result{knots_of(stretches[0]), knots_of(stretches[1]), knots_of(stretches[2]), false};
  result.anywhere = !(result.lateral.empty() && result.tip.empty() && result.medial.empty());
  return result;
}

bool at_cement(const Gap& gap) { return gap.interface == GapInterface::kCementBone; }

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
      compacted_.lateral = compacted_.medial = {{end - 4.0, mm}, {end + 4.0, kNone}};
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

double tip_arc(const StemShape& shape) { return 2.0 * kTipHalfAngle * shape.tip_half_width_mm; }

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
  if (gap.zone == 4) return {gap.from * tip_arc(shape), gap.to * tip_arc(shape)};
  const double entry = entry_level(model, model.femur_from_seat);
  const double third = (shape.length_mm - entry) / 3.0;
  const int index = gap.zone < 4 ? gap.zone - 1 : 7 - gap.zone;
  const double from =
      gap.from == 0.0 && index == 0 ? entry - kAboveEntry : entry + (index + gap.from) * third;
  const double round_end =
      shape.length_mm - shape.tip_half_width_mm * (1.0 - std::cos(kTipHalfAngle));
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
