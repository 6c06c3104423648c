#include "flank_bumps.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>
#include <vector>

namespace tidemark::anatomy {
namespace {

// House choices. A leak into the calcar is 10 to 25 mm long, a collar 2 to 4 mm.
constexpr double kLongestMm = 35.0;
constexpr double kShortestMm = 7.0;
constexpr double kShortestLeakMm = 3.0;  ///< where the greys tell a collar from bone
constexpr double kLeastMm = 1.5;         ///< height above which a bump is cut
constexpr double kFromMm = 22.0;         ///< below the shoulder; more than half of kLongestMm
constexpr double kBinMm = 0.5;
constexpr std::size_t kAbove = 12;       ///< bins above a bump that tell whether it is a corner
constexpr std::size_t kHalfWindow = 35;  ///< bins: half of kLongestMm
constexpr double kNoCornerMm = 45.0;     ///< below the shoulder: no neck begins so far down
/// Bins from the first level (with_flanks()) to there.
constexpr auto kNoCorner =
    static_cast<std::size_t>((kNoCornerMm - kFromMm + 0.5 * kLongestMm) / kBinMm);
static_assert(kHalfWindow == static_cast<std::size_t>(0.5 * kLongestMm / kBinMm));

using Course = std::vector<double>;

/// Smallest (sign +1) or largest (sign -1) value within `half` bins; shorter at the ends.
Course extreme_within(const Course& values, int half, double sign) {
  Course out = values;
  const int n = static_cast<int>(values.size());
  for (int i = 0; i < n; ++i) {
    double best = sign * values[static_cast<std::size_t>(i)];
    for (int k = std::max(0, i - half); k <= std::min(n - 1, i + half); ++k) {
      best = std::min(best, sign * values[static_cast<std::size_t>(k)]);
    }
    out[static_cast<std::size_t>(i)] = sign * best;
  }
  return out;
}

/// Morphological opening: what stands out over less than the window goes, any slope stays.
/// Source: Serra, Image Analysis and Mathematical Morphology (1982), from memory.
Course opened(const Course& values, int half) {
  return extreme_within(extreme_within(values, half, 1.0), half, -1.0);
}

/// Bins [from, to).
struct Run {
  std::size_t from = 0;
  std::size_t to = 0;
};

/// Share of the height from which on a bump is cut that still is its foot; house choice.
constexpr double kFoot = 0.2;

/// A run with its feet: a bump whose ends slope is bridged from flank to flank. Not asked where the
/// stem's own corner may stand, whose lower foot is the flank.
/// @param high  by how much each bin stands out; @param foot  what is no longer bump
Run with_feet(Run run, const Course& high, double foot) {
  while (run.from > 0 && high[run.from - 1] > foot) --run.from;
  while (run.to < high.size() && high[run.to] > foot) ++run.to;
  return run;
}

/// The straight line over a run between the course's bins before and after it; `under` stands for
/// those where the course ends. One bin more than the run has: the last is the bin after it.
Course line_over(const Course& course, const Course& under, const Run& run) {
  const double before = run.from > 0 ? course[run.from - 1] : under[run.from];
  const double after = run.to < course.size() ? course[run.to] : under[run.to - 1];
  const std::size_t steps = run.to - run.from + 1;
  Course out;
  for (std::size_t i = 1; i <= steps; ++i) {
    const double t = static_cast<double>(i) / static_cast<double>(steps);
    out.push_back((1.0 - t) * before + t * after);
  }
  return out;
}

/// Whether the outline just above a run lies farther in than the run's lower end, by half of
/// `least`. A flank lies the farther out the higher up; there it draws in to the neck, and what
/// stands out is the stem's own corner.
bool is_corner(const Course& values, const Run& run, double after, double least) {
  constexpr double kDrawnIn = 0.5;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(run.from);
  const auto above = at - static_cast<std::ptrdiff_t>(std::min(run.from, kAbove));
  return above != at && *std::min_element(above, at) < after - kDrawnIn * least;
}

/// The course with each run that stands out by more than `least` from its opening bridged by a
/// straight line: the opening alone would leave a step where the flank slopes. Corners stay.
Course bridged(const Course& values, int half, double least) {
  const Course smooth = opened(values, half);
  Course out = values;
  Course high = values;
  const std::size_t n = values.size();
  for (std::size_t i = 0; i < n; ++i) high[i] -= smooth[i];
  for (std::size_t i = 0; i < n; ++i) {
    if (high[i] <= least) continue;
    std::size_t end = i;
    while (end < n && high[end] > least) ++end;
    const bool is_short = static_cast<double>(end - i) * kBinMm < kShortestMm;
    const bool far_down = i >= kNoCorner;
    const Run run = far_down ? with_feet({i, end}, high, kFoot * least) : Run{i, end};
    const Course line = line_over(values, smooth, run);
    const bool stays = is_short || (!far_down && is_corner(values, run, line.back(), least));
    for (std::size_t k = run.from; k < run.to && !stays; ++k) out[k] = line[k - run.from];
    i = run.to;
  }
  return out;
}

/// Levels without a point (NaN) take the nearest one before them, else after.
void fill_gaps(Course& reach) {
  double last = std::numeric_limits<double>::quiet_NaN();
  for (double& r : reach) {
    if (std::isnan(r)) r = last;
    last = r;
  }
  for (auto r = reach.rbegin(); r != reach.rend(); ++r) {
    if (std::isnan(*r)) *r = last;
    last = *r;
  }
}

/// One flank of an outline as its distance from the axis, level by level, px.
class Flank {
 public:
  /// @param from first level, px along the axis; side +1 medial of a right hip, -1 lateral
  Flank(const Polyline& outline, const Line2& axis, double from, double side, double px_per_mm)
      : axis_(axis), from_(from), side_(side), bin_px_(kBinMm * px_per_mm) {
    double to = from;
    for (const Vec2& p : outline) to = std::max(to, along(axis, p));
    reach_.assign(static_cast<std::size_t>((to - from) / bin_px_) + 1,
                  std::numeric_limits<double>::quiet_NaN());
    for (const Vec2& p : outline) {
      if (holds(p)) reach_[bin_of(p)] = std::fmax(reach_[bin_of(p)], off_axis(p));
    }
    fill_gaps(reach_);
  }

  [[nodiscard]] const Course& reach() const { return reach_; }
  [[nodiscard]] double off_axis(const Vec2& p) const { return side_ * signed_distance(axis_, p); }
  [[nodiscard]] bool holds(const Vec2& p) const {
    return along(axis_, p) >= from_ && off_axis(p) > 0.0;
  }
  [[nodiscard]] std::size_t bin_of(const Vec2& p) const {
    const auto bin = static_cast<std::size_t>((along(axis_, p) - from_) / bin_px_);
    return std::min(reach_.size() - 1, bin);
  }
  [[nodiscard]] Vec2 down() const { return axis_.direction; }
  [[nodiscard]] Vec2 out() const { return side_ * Vec2(-axis_.direction.y(), axis_.direction.x()); }
  /// The point of a level at so many px from the axis.
  [[nodiscard]] Vec2 at(std::size_t bin, double off) const {
    return axis_.point + (from_ + (static_cast<double>(bin) + 0.5) * bin_px_) * axis_.direction +
           off * out();
  }
  /// Towards neck and shoulder an outline draws in again; only what comes below may be a bump.
  void carry_upwards(std::size_t first) {
    for (std::size_t i = first; i > 0; --i) {
      reach_[i - 1] = std::fmax(reach_[i - 1], reach_[i]);
    }
  }
  /// Points of the outline that stand out beyond `course` at levels from `level` on are set on it.
  void set_on(const Course& course, double level, Polyline& outline) const {
    for (Vec2& p : outline) {
      if (!holds(p) || along(axis_, p) < level) continue;
      const std::size_t bin = bin_of(p);
      const double height = off_axis(p) - course[bin];
      if (course[bin] < reach_[bin] && height > 0.0) p -= height * out();
    }
  }

 private:
  Line2 axis_;
  double from_ = 0.0;
  double side_ = 1.0;
  double bin_px_ = 1.0;
  Course reach_;
};

/// The lowest chord over at most `length` bins at each bin: a flank that bends outwards upwards
/// lies on or below its chords, a bump above them, on a slope as well.
Course under_chords(const Course& values, std::size_t length) {
  Course out = values;
  for (std::size_t i = 0; i + 2 < values.size(); ++i) {
    for (std::size_t j = i + 2; j < std::min(values.size(), i + length + 1); ++j) {
      const double slope = (values[j] - values[i]) / static_cast<double>(j - i);
      for (std::size_t k = i + 1; k < j; ++k) {
        out[k] = std::min(out[k], values[i] + slope * static_cast<double>(k - i));
      }
    }
  }
  return out;
}

/// Runs above the chords that somewhere are `least` high.
std::vector<Run> above_chords(const Course& values, const Course& chords, double least) {
  std::vector<Run> out;
  for (std::size_t i = 0; i < values.size(); ++i) {
    double highest = 0.0;
    std::size_t end = i;
    for (; end < values.size() && values[end] - chords[end] > kFoot * least; ++end) {
      highest = std::max(highest, values[end] - chords[end]);
    }
    if (highest > least) out.push_back({i, end});
    i = end;
  }
  return out;
}

/// What stands out at a level of a run.
enum class Bump { kLow, kMetal, kDarker };

/// Whether the film falls from metal to something darker where the chord runs, beneath what stands
/// out: it does over bone, not where metal itself stands out. kLow where that is too thin to tell.
Bump bump_at(const cv::Mat1f& film, const Flank& flank, std::size_t bin, double chord, double px) {
  // House choices.
  constexpr int kHalf = 3;             // half millimetres of the flank up and down, against grain
  constexpr double kInsideMm = 1.5;    // off the chord
  constexpr double kOffEdgeMm = 0.6;   // of the chord and of the bump's own edge
  constexpr double kOutsideMm = 1.5;   // off the bump's own edge
  constexpr double kLeastFall = 0.25;  // of the whole fall from metal to what lies beside the bump
  const double reach = flank.reach()[bin];
  const auto grey = [&](double off) {
    double sum = 0.0;
    for (int k = -kHalf; k <= kHalf; ++k) {
      sum += sample(film, flank.at(bin, off) + 0.5 * k * px * flank.down());
    }
    return sum / (2 * kHalf + 1);
  };
  if (reach - chord <= 2.0 * kOffEdgeMm * px) return Bump::kLow;
  const double metal = grey(chord - kInsideMm * px);
  const double beside = grey(reach + kOutsideMm * px);
  const double fall = metal - grey(0.5 * (chord + reach));
  return fall > kLeastFall * (metal - beside) ? Bump::kDarker : Bump::kMetal;
}

/// The parts of a run that are darker than the metal beneath, with what is too low to tell beside
/// them; gaps shorter than what counts as a leak are closed.
std::vector<Run> darker_parts(const std::vector<Bump>& bumps, const Run& run) {
  const auto gap = static_cast<std::size_t>(kShortestLeakMm / kBinMm);
  const auto at = [&](std::size_t bin) { return bumps[bin - run.from]; };
  std::vector<Run> out;
  for (std::size_t i = run.from; i < run.to; ++i) {
    if (at(i) != Bump::kDarker) continue;
    if (!out.empty() && i - out.back().to < gap) {
      out.back().to = i + 1;
    } else {
      out.push_back({i, i + 1});
    }
  }
  std::erase_if(out, [&](const Run& part) { return part.to - part.from < gap; });
  for (Run& part : out) {
    while (part.from > run.from && at(part.from - 1) == Bump::kLow) --part.from;
    while (part.to < run.to && at(part.to) == Bump::kLow) ++part.to;
  }
  return out;
}

/// Sets a part of the course on its chords, or nearer to the axis on the line between its ends.
void bridge(Course& course, const Course& chords, const Run& part) {
  const Course line = line_over(course, chords, part);
  for (std::size_t i = part.from; i < part.to; ++i) {
    course[i] = std::min(chords[i], line[i - part.from]);
  }
}

/// The flank's course without leaks: see without_leaks().
Course sealed(const cv::Mat1f& film, const Flank& flank, double px) {
  const Course& reach = flank.reach();
  const Course chords = under_chords(reach, 2 * kHalfWindow);
  Course out = reach;
  // A tip draws in as what lies above a bump does.
  const std::size_t tip = reach.size() - 2 * kHalfWindow;
  for (const Run& run : above_chords(reach, chords, kLeastMm * px)) {
    if (run.to > tip) continue;
    std::vector<Bump> bumps;
    for (std::size_t i = run.from; i < run.to; ++i) {
      bumps.push_back(bump_at(film, flank, i, chords[i], px));
    }
    for (const Run& part : darker_parts(bumps, run)) bridge(out, chords, part);
  }
  return out;
}

/// Both flanks of an outline set on what course_of(Flank) makes of them, from kFromMm below the
/// shoulder on. A window needs its upper half to tell a slope from a bump: levels above only serve.
template <class CourseOf>
Polyline with_flanks(Polyline outline, const Line2& axis, double shoulder, double px,
                     const CourseOf& course_of) {
  const double from = shoulder + (kFromMm - 0.5 * kLongestMm) * px;
  for (const double side : {-1.0, 1.0}) {
    Flank flank(outline, axis, from, side, px);
    if (flank.reach().size() < 2 * kHalfWindow) return outline;
    flank.carry_upwards(kHalfWindow);
    if (std::isnan(flank.reach().front())) continue;
    flank.set_on(course_of(flank), shoulder + kFromMm * px, outline);
  }
  return outline;
}

}  // namespace

Polyline without_bumps(Polyline outline, const Line2& axis, double shoulder, double mm_per_px) {
  const double px = 1.0 / mm_per_px;
  return with_flanks(std::move(outline), axis, shoulder, px, [&](const Flank& flank) {
    return bridged(flank.reach(), static_cast<int>(kHalfWindow), kLeastMm * px);
  });
}

Polyline without_leaks(const cv::Mat1f& film, Polyline outline, const Line2& axis, double shoulder,
                       double mm_per_px) {
  const double px = 1.0 / mm_per_px;
  return with_flanks(std::move(outline), axis, shoulder, px,
                     [&](const Flank& flank) { return sealed(film, flank, px); });
}

}  // namespace tidemark::anatomy
