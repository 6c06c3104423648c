#include "tidemark/lucency/lysis.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "bone_change.h"
#include "tidemark/core/robust.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::lucency {
namespace {

// House choices, but for kLeastMm2.
/// Area of a disc of 5 mm: the largest of the sizes from which authors speak of osteolysis
/// (docs/lucency.md).
constexpr double kLeastMm2 = 19.6;
constexpr double kMostMm2 = 500.0;  ///< larger is no focus
/// Radius of the disc that must be darker as a whole, with the tolerance about it a disc of 5 mm.
constexpr double kCoreMm = 1.5;
constexpr double kDeep = 0.12;     ///< depth of such a disc from which it is believed
constexpr double kShallow = 0.06;  ///< up to which there is nothing
/// Nothing is lost where a disc that lost this much would have been believed, on this share of the
/// zone's bone. Thin bone, and borders that lie otherwise on both films, hide more.
constexpr double kClear = 0.3;
constexpr double kClearShare = 0.5;
/// A disc must be this much deeper than what has become brighter in the zone.
constexpr double kAboveBrighter = 2.0;
/// Cells of a zone that both films must show, as a share of its bone and in mm2.
constexpr double kSeenShare = 0.5;
constexpr double kSeenMm2 = 60.0;
/// Area at a quarter of the depth over that at three quarters: 1 for steep walls, 2.1 for an
/// ellipsoid, 4.8 for a bell, 9 for a cone (derived). What thins without a border is no focus.
constexpr double kSharp = 4.0;
constexpr double kSlender = 4.0;  ///< length over width from which it is a line
/// Share of its circumference that may lie on the end of what is judged, the metal's side left out.
constexpr double kOpenShare = 0.5;
constexpr double kBoundaryMm = 0.15;  ///< standard uncertainty of the border's place all along
constexpr double kPeakU = 0.05;       ///< relative, of the depth by which the border is drawn
constexpr double kScaleU = 0.007;     ///< relative: as in measure.cpp
/// Relative: the surroundings that are taken off hold part of the loss, so that areas come out too
/// small, by 14 to 28 % on four of six simulated cavities (docs/lucency.md). House choice.
constexpr double kSurroundingsU = 0.2;

constexpr double kCellMm2 = kCellMm * kCellMm;

using Cells = std::vector<std::size_t>;

/// Zone of each row of a flank.
const Zone* zone_at(const ZonePlan& plan, double level_mm, bool lateral) {
  const Zone* found = nullptr;
  for (const Zone& zone : plan.zones) {
    if (zone.flank != (lateral ? Flank::kLateral : Flank::kMedial)) continue;
    if (level_mm >= zone.from.value && level_mm < zone.to.value) found = &zone;
  }
  return found;
}

/// The cells of a zone: those of its bone, and of these those that both films show.
struct ZoneCells {
  Cells bone;
  Cells valid;
};

ZoneCells cells_of(const BoneChange& change, const ZonePlan& plan, const Zone& zone) {
  ZoneCells out;
  const BonePlane& plane = change.plane;
  for (int r = 0; r < plane.rows; ++r) {
    for (int c = 0; c < plane.columns; ++c) {
      const std::size_t i = plane.index(r, c);
      if (change.bone[i] == 0) continue;
      if (zone_at(plan, plane.level_mm(r), plane.across_mm(c) < 0.0) != &zone) continue;
      out.bone.push_back(i);
      if (change.valid[i] != 0) out.valid.push_back(i);
    }
  }
  return out;
}

struct Place {
  int row;
  int column;
};

Place place_of(const BonePlane& plane, std::size_t i) {
  const auto columns = static_cast<std::size_t>(plane.columns);
  return {static_cast<int>(i / columns), static_cast<int>(i % columns)};
}

/// The cell at a step from another, if it is judged.
std::optional<std::size_t> judged(const BoneChange& change, const Place& at, int dr, int dc) {
  const int r = at.row + dr;
  const int c = at.column + dc;
  if (!change.plane.contains(r, c)) return {};
  const std::size_t i = change.plane.index(r, c);
  if (change.valid[i] == 0) return {};
  return i;
}

/// A disc that has changed as a whole: the least that any of its cells has.
struct Core {
  double least = -1e9;
  std::size_t cell = 0;
};

/// The disc about a cell; -1e9 where not all of it is judged.
Core core_at(const BoneChange& change, const Disc& disc, std::size_t cell,
             const std::vector<double>& sure) {
  const Place at = place_of(change.plane, cell);
  Core out{sure[cell], cell};
  for (const auto& step : disc.steps) {
    const auto k = judged(change, at, step.row, step.column);
    if (!k) return {-1e9, cell};
    out.least = std::min(out.least, sure[*k]);
  }
  return out;
}

/// The discs of a zone.
struct Cores {
  Core deepest;
  double clear = 0.0;  ///< share of the zone's bone on which a loss of kClear would be believed
};

Cores cores_of(const BoneChange& change, const ZoneCells& cells, const std::vector<double>& sure) {
  const Disc disc = disc_of(kCoreMm);
  Cores out;
  std::vector<unsigned char> covered(change.depth.size(), 0);
  for (const std::size_t i : cells.valid) {
    const Core core = core_at(change, disc, i, sure);
    if (core.least > out.deepest.least) out.deepest = core;
    if (core.least < kDeep - kClear) continue;
    const Place at = place_of(change.plane, i);
    for (const auto& step : disc.steps) {
      covered[change.plane.index(at.row + step.row, at.column + step.column)] = 1;
    }
  }
  for (const std::size_t i : cells.bone) {
    out.clear += covered[i] / static_cast<double>(cells.bone.size());
  }
  return out;
}

/// What hangs together with a cell and is deeper than a limit.
Cells region(const BoneChange& change, std::size_t start, double limit) {
  std::vector<unsigned char> in(change.depth.size(), 0);
  Cells out{start};
  in[start] = 1;
  for (std::size_t n = 0; n < out.size(); ++n) {
    const Place at = place_of(change.plane, out[n]);
    for (const auto& [dr, dc] : {std::pair{-1, 0}, {1, 0}, {0, -1}, {0, 1}}) {
      const auto k = judged(change, at, dr, dc);
      if (!k || in[*k] != 0 || change.depth[*k] < limit) continue;
      in[*k] = 1;
      out.push_back(*k);
    }
  }
  return out;
}

double mm2(const Cells& cells) { return kCellMm2 * static_cast<double>(cells.size()); }

/// Depth of an area: what nineteen of twenty cells about its core do not exceed.
double depth_of(const BoneChange& change, const Core& core) {
  std::vector<double> depths;
  for (const std::size_t i : region(change, core.cell, 0.5 * core.least)) {
    depths.push_back(change.depth[i]);
  }
  const auto at = depths.begin() + std::ssize(depths) * 19 / 20;
  std::nth_element(depths.begin(), at, depths.end());
  return *at;
}

/// An area that has become darker.
struct Focus {
  double depth = 0.0;
  Cells cells;                 ///< at half of the depth
  Vec2 middle = Vec2::Zero();  ///< (level, across), mm
  double slender = 1.0;        ///< length over width
  double circumference_mm = 0.0;
  double open_mm = 0.0;      ///< of it, where it runs into the end of what is judged, and
  double at_metal_mm = 0.0;  ///< where that is the metal's
};

void measure_border(const BoneChange& change, Focus& focus) {
  std::vector<unsigned char> in(change.depth.size(), 0);
  for (const std::size_t i : focus.cells) in[i] = 1;
  for (const std::size_t i : focus.cells) {
    const Place at = place_of(change.plane, i);
    const double across = change.plane.across_mm(at.column);
    for (const auto& [dr, dc] : {std::pair{-1, 0}, {1, 0}, {0, -1}, {0, 1}}) {
      const auto k = judged(change, at, dr, dc);
      if (k && in[*k] != 0) continue;
      focus.circumference_mm += kCellMm;
      const bool towards_stem = dc != 0 && (dc > 0) == (across < 0.0);
      if (!k) (towards_stem ? focus.at_metal_mm : focus.open_mm) += kCellMm;
    }
  }
  // Sides of cells are longer than the border that they follow, by 4 / pi on average.
  focus.circumference_mm *= 0.25 * std::numbers::pi;
  focus.open_mm *= 0.25 * std::numbers::pi;
}

Focus focus_about(const BoneChange& change, const Core& core) {
  Focus out;
  out.depth = depth_of(change, core);
  out.cells = region(change, core.cell, 0.5 * out.depth);
  double rr = 0.0;
  double cc = 0.0;
  double rc = 0.0;
  const auto n = static_cast<double>(out.cells.size());
  const auto at = [&](std::size_t i) {
    const Place p = place_of(change.plane, i);
    return Vec2(change.plane.level_mm(p.row), change.plane.across_mm(p.column));
  };
  for (const std::size_t i : out.cells) out.middle += at(i) / n;
  for (const std::size_t i : out.cells) {
    const Vec2 off = at(i) - out.middle;
    rr += off.x() * off.x() / n;
    cc += off.y() * off.y() / n;
    rc += off.x() * off.y() / n;
  }
  const double mean = 0.5 * (rr + cc);
  const double apart = std::hypot(0.5 * (rr - cc), rc);
  out.slender = std::sqrt((mean + apart) / std::max(1e-9, mean - apart));
  measure_border(change, out);
  return out;
}

/// How much the depth of the zone's other places scatters.
double scatter(const BoneChange& change, const Cells& cells, const Focus& focus) {
  std::vector<double> depths;
  for (const std::size_t i : cells) {
    if (std::find(focus.cells.begin(), focus.cells.end(), i) == focus.cells.end()) {
      depths.push_back(change.depth[i]);
    }
  }
  return kSigmaPerMad * median_absolute_deviation(depths).value_or(0.0);
}

/// Why an area that is dark enough is no focus of lost bone that could be told; empty if it is one.
std::string doubt(const BoneChange& change, const Core& core, const Focus& focus) {
  if (mm2(focus.cells) < kLeastMm2) return "What has become darker is smaller than a disc of 5 mm.";
  if (mm2(focus.cells) > kMostMm2) return "What has become darker is too large for a focus.";
  if (focus.slender > kSlender) return "What has become darker is a line or a band.";
  if (focus.open_mm > kOpenShare * focus.circumference_mm) {
    return "What has become darker runs into the border of the bone.";
  }
  const double wide = mm2(region(change, core.cell, 0.25 * focus.depth));
  const double narrow = mm2(region(change, core.cell, 0.75 * focus.depth));
  if (wide > kSharp * narrow) return "What has become darker has no clear border.";
  return {};
}

void fill_present(const BoneChange& change, const Core& core, const Focus& focus, double noise,
                  ZoneLysis& out) {
  // What is not judged beside the metal: the area ends anywhere in it, or at the metal.
  const double hidden = 0.5 * kMetalMm * focus.at_metal_mm;
  const double area = mm2(focus.cells) + hidden;
  const auto at = [&](double depth) {
    return mm2(region(change, core.cell, std::min(depth, 0.9 * focus.depth)));
  };
  const double by_noise =
      0.5 * (at(0.5 * focus.depth - 0.5 * noise) - at(0.5 * focus.depth + 0.5 * noise));
  const double by_peak =
      0.5 * (at(0.5 * (1.0 - kPeakU) * focus.depth) - at(0.5 * (1.0 + kPeakU) * focus.depth));
  const double by_border = kBoundaryMm * focus.circumference_mm;
  const double u = std::hypot(std::hypot(by_noise, by_peak, by_border), hidden / std::sqrt(3.0),
                              std::hypot(2.0 * kScaleU, kSurroundingsU) * area);
  out.state = State::kPresent;
  out.area = measured(SquareMillimetres{area}, SquareMillimetres{u});
  out.depth = measured(focus.depth, std::hypot(noise, kPeakU * focus.depth));
}

void judge(const BoneChange& change, const ZonePlan& plan, const Zone& zone,
           const Affine2& follow_from_reference, ZoneLysis& out) {
  const ZoneCells cells = cells_of(change, plan, zone);
  out.seen = cells.bone.empty()
                 ? 0.0
                 : static_cast<double>(cells.valid.size()) / static_cast<double>(cells.bone.size());
  if (mm2(cells.valid) < kSeenMm2 || out.seen < kSeenShare) {
    out.state = State::kNotSeen;
    out.reason = "Too little of the bone of this zone is seen free on both films.";
    return;
  }
  const Cores cores = cores_of(change, cells, change.sure_darker);
  const Core darker = cores.deepest;
  const Core brighter = cores_of(change, cells, change.sure_brighter).deepest;
  out.state = State::kCannotTell;
  if (darker.least < kShallow && brighter.least < kShallow) {
    if (cores.clear >= kClearShare) {
      out.state = State::kAbsent;
    } else {
      out.reason =
          "The bone beside the stem is too narrow here, or differs too much by its borders, "
          "for a loss to be seen.";
    }
    return;
  }
  const double needed = std::max(kDeep, kAboveBrighter * brighter.least);
  if (darker.least < needed) {
    out.reason =
        brighter.least >= kShallow
            ? "The bone of this zone looks otherwise on both films, brighter in places and "
              "darker in others, as where the leg is laid otherwise."
            : "What has become darker is fainter than what would be believed.";
    return;
  }
  const Focus focus = focus_about(change, darker);
  out.reason = doubt(change, darker, focus);
  if (zone_at(plan, focus.middle.x(), focus.middle.y() < 0.0) != &zone) {
    out.reason = "What has become darker has its middle in the zone next to this one.";
  }
  if (!out.reason.empty()) return;
  fill_present(change, darker, focus, scatter(change, cells.valid, focus), out);
  out.middle_px = follow_from_reference.apply(change.plane.px(focus.middle.x(), focus.middle.y()));
}

}  // namespace

std::vector<ZoneLysis> compare_lysis(const LysisFilm& reference, const LysisFilm& follow_up,
                                     const Affine2& follow_from_reference) {
  std::vector<ZoneLysis> out;
  const auto change = bone_change(reference, follow_up, follow_from_reference);
  for (const Zone& zone : reference.plan.zones) {
    ZoneLysis one;
    one.zone = zone.number;
    if (zone.flank == Flank::kTip) {
      one.reason = "About the tip areas of lost bone are not looked for.";
    } else if (!change) {
      one.reason =
          "The bone beside the stem does not stand out from the soft tissue on both films.";
    } else {
      judge(*change, reference.plan, zone, follow_from_reference, one);
    }
    out.push_back(std::move(one));
  }
  return out;
}

}  // namespace tidemark::lucency
