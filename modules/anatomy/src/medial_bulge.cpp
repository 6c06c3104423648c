#include "medial_bulge.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

namespace tidemark::anatomy {
namespace {

constexpr double kCorner = 6.5;         // mm: a cut's corner is narrower, a trochanter wider
constexpr double kLooked = 70.0;        // mm of outline below the cut, in which the trochanter lies
constexpr double kLeastOutline = 25.0;  // mm of it, to tell anything

/// Samples of a curve at equal steps, read by a signed index.
class Curve {
 public:
  Curve(std::vector<double> y, double mm) : y_(std::move(y)), mm_(mm) {}
  [[nodiscard]] double operator()(int i) const { return y_[static_cast<std::size_t>(i)]; }
  [[nodiscard]] int size() const { return static_cast<int>(y_.size()); }
  [[nodiscard]] int steps(double length_mm) const { return static_cast<int>(length_mm / mm_); }
  [[nodiscard]] double mm() const { return mm_; }
  [[nodiscard]] double lowest(int from, int to) const {
    return *std::min_element(y_.begin() + from, y_.begin() + to);
  }
  [[nodiscard]] double highest(int from, int to) const {
    return *std::max_element(y_.begin() + from, y_.begin() + to);
  }
  [[nodiscard]] Curve part(int from, int to) const {
    return {{y_.begin() + from, y_.begin() + to}, mm_};
  }

 private:
  std::vector<double> y_;
  double mm_;
};

/// How far a curve stands above the largest convex curve nowhere above it. Calcar and shaft follow
/// a convex course, so what is left is the trochanter. (Andrew's monotone chain; Inf Process Lett 9
/// (1979) 216: from memory.)
Curve above_convex_course(const Curve& y) {
  std::vector<int> hull;
  for (int i = 0; i < y.size(); ++i) {
    while (hull.size() >= 2) {
      const int b = hull.back();
      const int a = hull[hull.size() - 2];
      if ((y(b) - y(a)) * (i - a) < (y(i) - y(a)) * (b - a)) break;
      hull.pop_back();
    }
    hull.push_back(i);
  }
  std::vector<double> above(static_cast<std::size_t>(y.size()), 0.0);
  for (std::size_t k = 0; k + 1 < hull.size(); ++k) {
    const int a = hull[k];
    const int b = hull[k + 1];
    for (int i = a; i < b; ++i) {
      const double t = static_cast<double>(i - a) / (b - a);
      above[static_cast<std::size_t>(i)] = y(i) - (1.0 - t) * y(a) - t * y(b);
    }
  }
  return {std::move(above), y.mm()};
}

/// The stretch around the highest point over the convex course.
struct Stretch {
  int from = 0, peak = 0, to = 0;
};

/// @param first, window samples among which the highest point is looked for
Stretch highest_stretch(const Curve& above, int first, int window) {
  Stretch s{first, first, first};
  for (int i = first; i < std::min(above.size(), window); ++i) {
    if (above(i) > above(s.peak)) s.peak = i;
  }
  s.from = s.to = s.peak;
  while (s.from > first && above(s.from) > 1e-9) --s.from;
  while (s.to < above.size() - 1 && above(s.to) > 1e-9) ++s.to;
  return s;
}

constexpr double kRiseAtCut = 0.5;  // mm, where the cut's ragged corner may be what rises

/// The summits of a stretch: points farther from the shaft than what lies beside them.
std::vector<int> summits(const Curve& d, const Curve& above, const Stretch& s) {
  constexpr double kProper = 0.3;  // share of the height that still is bulge
  constexpr double kRise = 0.25;   // mm, the error of an edge
  const int reach = std::max(1, d.steps(2.0));
  std::vector<int> out;
  for (int i = s.from + reach; i + reach <= s.to; ++i) {
    if (above(i) < kProper * above(s.peak)) continue;
    if (d(i) < d.highest(i - reach, i + reach + 1) || d(i + reach) >= d(i)) continue;
    if (d(i) - d.lowest(s.from, i) < (s.from == 0 ? kRiseAtCut : kRise)) continue;
    out.push_back(i);
  }
  return out;
}

/// The highest of the summits from `from` on.
std::optional<int> highest(const std::vector<int>& summits, const Curve& above, int from) {
  std::optional<int> best;
  for (const int i : summits) {
    if (i >= from && (!best || above(i) >= above(*best))) best = i;
  }
  return best;
}

/// A summit, and the stretch on which it stands.
struct Summit {
  int top = 0;
  Stretch on;
};

/// The trochanter's summit, if there is one. What stands out just below the cut may be the cut's
/// corner, blunt as it can be: the trochanter is then what stands out distal of it beyond a hollow.
/// The flank towards the calcar may stand farther out still.
/// @param s  the highest stretch of `window`
std::optional<Summit> summit(const Curve& d, const Curve& above, const Stretch& s, int window) {
  constexpr double kHeight = 0.8;    // mm; less is the cortex itself
  constexpr double kNearCut = 12.0;  // mm; house choice
  if (above(s.peak) < kHeight) return std::nullopt;
  const std::vector<int> all = summits(d, above, s);
  const auto best = highest(all, above, s.from);
  if (!best) return std::nullopt;
  if (s.from != 0 || *best > d.steps(kNearCut)) return Summit{*best, s};
  const auto second = highest(all, above, *best + 1);
  if (second && d(*second) - d.lowest(*best, *second) >= kRiseAtCut) return Summit{*second, s};
  const Stretch next = highest_stretch(above, s.to, window);
  if (above(next.peak) < kHeight) return Summit{*best, s};
  const auto other = highest(summits(d, above, next), above, next.from);
  return other ? Summit{*other, next} : Summit{*best, s};
}

/// Without a summit: half way between the place where the outline comes nearest to the shaft's
/// direction, into which summit and valley have merged, and the highest point over the convex
/// course (house choice; each alone errs by some 3 mm, to opposite sides).
int merged_summit(const Curve& d, const Stretch& s) {
  const int reach = std::max(1, d.steps(2.0));
  int flattest = s.peak;
  double least_fall = -1e9;
  for (int i = s.from + reach; i <= s.peak && i + reach < d.size(); ++i) {
    const double rise = d(i + reach) - d(i - reach);
    if (rise <= least_fall) continue;
    least_fall = rise;
    flattest = i;
  }
  return (flattest + s.peak) / 2;
}

/// The part of a stretch round a top that lies less than `fall` mm below it.
Stretch within_fall(const Curve& level, int top, const Stretch& s, double fall) {
  Stretch near{top, top, top};
  while (near.from > s.from && level(near.from - 1) > level(top) - fall) --near.from;
  while (near.to < s.to && level(near.to + 1) > level(top) - fall) ++near.to;
  return near;
}

/// The stretch round a top that is as high but for the error of an edge.
Stretch as_high(const Curve& level, int top, const Stretch& s) {
  constexpr double kEdgeError = 0.25;  // mm, house choice
  return within_fall(level, top, s, kEdgeError);
}

double length_of(const Stretch& s, double mm) { return (s.to - s.from + 1) * mm; }

/// What a sample of the path lies on.
enum class Ground { kBone, kWire, kElse };

struct Outline {
  EdgePath path;               ///< without evidence where it is not the bone's
  std::vector<double> d;       ///< distance from the shaft, mm
  std::vector<Ground> ground;  ///< of each sample
};

/// Most proximal sample of bone: the outline is followed upwards as long as it is an edge, over
/// gaps of 5 mm; a wire says nothing of the bone behind it and is no gap.
int top_of_bone(const Outline& outline, const Curve& d) {
  int top = std::min(d.size() - 1, d.steps(65.0));
  int gap = 0;
  for (int i = top; i >= 0 && gap < d.steps(5.0); --i) {
    const auto k = static_cast<std::size_t>(i);
    if (outline.ground[k] == Ground::kWire) continue;
    const bool edge = outline.path.evidence[k] > kEdge;
    gap = edge ? 0 : gap + 1;
    if (edge) top = i;
  }
  return top;
}

/// Whether what the path steps out to is round, as a trochanter in full profile is between steep
/// flanks: it stands out in its middle, and is an edge all along. The border of another bone runs
/// on past the femur's.
bool is_dome(const EdgePath& path, const std::vector<double>& d, std::ptrdiff_t from,
             std::ptrdiff_t to) {
  // House choices.
  constexpr double kRound = 1.0;      // mm over either end
  constexpr double kAllAlong = 0.6;   // of the evidence there can be, in the mean
  constexpr std::ptrdiff_t kEnd = 2;  // samples that still belong to the step
  if (to - from <= 2 * kEnd + 1) return false;
  const auto at = [](std::ptrdiff_t i) { return static_cast<std::size_t>(i); };
  const auto first = from + kEnd;
  const auto last = to - kEnd;
  const double highest = *std::max_element(d.begin() + first, d.begin() + last);
  double evidence = 0.0;
  for (auto i = first; i < last; ++i) evidence += path.evidence[at(i)];
  return highest > std::max(d[at(first)], d[at(last - 1)]) + kRound &&
         evidence > kAllAlong * static_cast<double>(last - first);
}

/// What each sample of a path lies on. The bone's are not those without an edge or beside metal (a
/// wire's own edges), and no pockets, where the path steps sideways onto another bone's edge (the
/// ischium's) or round a wire's loop, and back.
std::vector<Ground> ground_of(const EdgePath& path, const std::vector<double>& d, double mm) {
  constexpr double kNoEdge = 0.05;  // evidence; house choice
  constexpr double kMetal =
      -0.15;                       // the evidence map has -0.3 there, the inner side of a loop less
  constexpr double kWire = 8.0;    // mm, of metal along the path; more is stem, neck or cup
  constexpr double kBeside = 1.6;  // mm
  constexpr double kBelowCut = 20;  // mm; nearer to it the path touches the neck
  constexpr double kStep = 2.0;     // mm within two samples, 68 degrees: no outline of bone
  constexpr double kPocket =
      25.0;  // mm, at most; near the cut one narrower than kCorner is its corner
  const auto n = std::ssize(d);
  const auto at = [](std::ptrdiff_t i) { return static_cast<std::size_t>(i); };
  std::vector<Ground> ground(d.size(), Ground::kBone);
  const auto beside = static_cast<std::ptrdiff_t>(kBeside / mm);
  std::ptrdiff_t first_edge = -1;
  for (std::ptrdiff_t i = 0; i < n;) {
    if (path.evidence[at(i)] > kNoEdge) {
      if (first_edge < 0) first_edge = i;
      ++i;
      continue;
    }
    std::ptrdiff_t end = i;
    bool metal = false;
    for (; end < n && path.evidence[at(end)] <= kNoEdge; ++end) {
      metal = metal || path.evidence[at(end)] < kMetal;
    }
    const double length = static_cast<double>(end - i) * mm;
    const double below_top = static_cast<double>(i - first_edge) * mm;
    const bool wire = metal && first_edge >= 0 && length < kWire && below_top > kBelowCut;
    const std::ptrdiff_t reach = wire ? beside : 0;
    std::fill(ground.begin() + std::max<std::ptrdiff_t>(0, i - reach),
              ground.begin() + std::min(n, end + reach), wire ? Ground::kWire : Ground::kElse);
    i = end;
  }
  std::ptrdiff_t out = -1;
  for (std::ptrdiff_t i = 0; i + 2 < n; ++i) {
    const double step = d[at(i + 2)] - d[at(i)];
    if (step > kStep) out = i + 1;
    if (step > -kStep || out < 0) continue;
    const double length = static_cast<double>(i + 2 - out) * mm;
    const bool below_cut =
        first_edge >= 0 && static_cast<double>(out - first_edge) * mm > kBelowCut;
    const bool dome = length > kCorner && is_dome(path, d, out, i + 2);
    if (!dome && length <= kPocket && (length > kCorner || below_cut)) {
      std::fill(ground.begin() + out, ground.begin() + i + 2,
                length > kCorner ? Ground::kElse : Ground::kWire);
    }
    out = -1;
  }
  return ground;
}

/// The outline with a straight line over what is not the bone's.
Outline bridged(EdgePath path, std::vector<double> d, double mm) {
  std::vector<Ground> ground = ground_of(path, d, mm);
  const auto at = [](std::ptrdiff_t i) { return static_cast<std::size_t>(i); };
  std::ptrdiff_t last = -1;
  for (std::ptrdiff_t i = 0; i < std::ssize(d); ++i) {
    if (ground[at(i)] != Ground::kBone) {
      path.evidence[at(i)] = 0.0;
      continue;
    }
    for (std::ptrdiff_t k = last + 1; last >= 0 && k < i; ++k) {
      const double t = static_cast<double>(k - last) / static_cast<double>(i - last);
      d[at(k)] = (1.0 - t) * d[at(last)] + t * d[at(i)];
    }
    last = i;
  }
  return {std::move(path), std::move(d), std::move(ground)};
}

/// The samples among which the trochanter's top is looked for.
struct Search {
  int first = 0;  ///< from here on the outline is looked at
  int from = 0;   ///< counted from `first`, as `to`
  int to = 0;     ///< one past the last
};

/// Sample just distal of the neck's cut, whose corner stands out as a trochanter does.
int below_the_cut(const Outline& outline, const Curve& d) {
  constexpr double kFall = 0.7;     // mm that the outline falls away from a corner
  constexpr double kSearch = 15.0;  // mm
  const int top = top_of_bone(outline, d);
  if (top < d.steps(2.0)) return 0;  // the cut lies above what was searched
  int corner = top;
  int end = top;
  for (; end < std::min(d.size(), top + d.steps(kSearch)) && d(end) > d(corner) - kFall; ++end) {
    if (d(end) >= d(corner)) corner = end;
  }
  int begin = corner;
  while (begin > top && d(begin - 1) > d(corner) - kFall) --begin;
  // A round top is a trochanter that comes out from behind the metal.
  if (end - begin > d.steps(kCorner)) return top;
  return corner + d.steps(3.0);
}

/// @param first  just distal of the neck's cut
Search search_below(int first, const Curve& outline, std::optional<int> by_other_film) {
  constexpr double kBelowCut = 45.0;  // mm: its tip is not farther below the cut (house choice)
  if (!by_other_film) return {first, 0, outline.steps(kBelowCut)};
  const int reach = outline.steps(kNearOtherFilmMm);
  return {first, std::max(0, *by_other_film - reach - first),
          std::max(0, *by_other_film + reach + 1 - first)};
}

/// The search without the flank of what stands out above it, and without what lies beyond the end.
Search off_the_flank(Search search, const Curve& above) {
  search.to = std::min(search.to, above.size());
  while (search.from + 1 < search.to && above(search.from + 1) < above(search.from)) ++search.from;
  return search;
}

/// Whether something stands out of a curve by itself, as a trochanter does.
bool has_bulge(const Curve& d) {
  constexpr double kHigh = 1.5;  // mm, house choices
  constexpr double kLong = 8.0;
  const Curve above = above_convex_course(d);
  const Stretch s = highest_stretch(above, 0, d.size());
  return above(s.peak) >= kHigh && s.to - s.from >= d.steps(kLong);
}

/// Whether what stands out farthest is the corner of the neck's cut: the outline climbs to it from
/// where the bone begins, not far above, and something else stands out below it, or it is narrow
/// and higher than a trochanter.
/// @return sample from which on the outline is that of the bone below the corner
std::optional<int> past_corner(const Curve& d, const Stretch& s) {
  // House choices.
  constexpr double kCut = 25.0;      // mm: cuts are 10 to 25 mm long
  constexpr double kAtTop = 2.5;     // mm: the outline's first samples may still fall
  constexpr double kFall = 0.7;      // mm, as below_the_cut()
  constexpr double kClimb = 2.0;     // mm
  constexpr double kHighest = 15.0;  // mm over the shaft
  constexpr double kFoot = 0.6;  // of its height over the shaft, that the outline has fallen there
  if (s.from > d.steps(kAtTop) || s.peak > d.steps(kCut)) return std::nullopt;
  int top = s.peak;
  for (int i = s.from; i <= std::min(s.to, s.peak + d.steps(5.0)); ++i) {
    if (d(i) > d(top)) top = i;
  }
  if (d(top) - d.lowest(0, top + 1) < kClimb) return std::nullopt;
  const double width = length_of(within_fall(d, top, {0, top, d.size() - 1}, kFall), d.mm());
  const double height = d(top) - d.lowest(top, d.size());
  int foot = top;
  while (foot + 1 < d.size() && d(foot) > d(top) - kFoot * height) ++foot;
  if (d.size() - foot < d.steps(kLeastOutline)) return std::nullopt;
  const bool too_high = width <= kCorner && height > kHighest;
  if (!too_high && !has_bulge(d.part(foot, d.size()))) return std::nullopt;
  return foot;
}

/// The search without the corner of the neck's cut, where that stands out of it.
Search below_corner(const Curve& outline, Search search) {
  const int last = std::min(outline.size(), search.first + outline.steps(kLooked));
  if (last - search.first < outline.steps(kLeastOutline)) return search;
  const Curve d = outline.part(search.first, last);
  const Curve above = above_convex_course(d);
  const auto past = past_corner(d, highest_stretch(above, search.from, search.to));
  if (past) search.first += *past;
  return search;
}

}  // namespace

double share_of_edge(const EdgePath& path, int from, int to) {
  from = std::max(0, from);
  to = std::min(to, static_cast<int>(path.evidence.size()));
  if (to <= from) return 0.0;
  const auto edges = std::count_if(path.evidence.begin() + from, path.evidence.begin() + to,
                                   [](double e) { return e > kEdge; });
  return static_cast<double>(edges) / (to - from);
}

std::optional<Bulge> trochanter_bulge(const EdgePath& path, const std::vector<double>& from_shaft,
                                      double mm, std::optional<int> by_other_film) {
  constexpr double kHeightMerged = 1.0;   // mm, of a bulge without a summit
  constexpr double kLengthMerged = 10.0;  // mm
  constexpr double kMergedU = 3.0;        // mm
  // Both ends of what is as high move by the edge's error over its slope there. For a parabola and
  // an edge error of 0.25 mm (rectangular) the middle moves by 0.1 of the length (derived).
  constexpr double kOfFlat = 0.1;
  constexpr double kLeastU = 0.4;  // mm, a sample
  const Outline of_bone = bridged(path, from_shaft, mm);
  const Curve outline(of_bone.d, mm);
  Search search = search_below(below_the_cut(of_bone, outline), outline, by_other_film);
  if (!by_other_film) search = below_corner(outline, search);
  const int first = search.first;
  const int below = std::max(outline.steps(kLooked), search.to + outline.steps(25.0));
  const int last = std::min(outline.size(), first + below);
  if (last - first < outline.steps(kLeastOutline) || last - first <= search.from)
    return std::nullopt;
  if (share_of_edge(of_bone.path, first, last) < kShareOfABone) return std::nullopt;
  const Curve d = outline.part(first, last);
  const Curve above = above_convex_course(d);
  if (by_other_film) search = off_the_flank(search, above);
  Stretch s = highest_stretch(above, search.from, search.to);
  const auto in_reach = [&](int top) {
    return !by_other_film || std::abs(top - *by_other_film) <= outline.steps(kNearOtherFilmMm);
  };
  if (by_other_film) s.to = std::max(s.peak, std::min(s.to, search.to - 1));
  if (const auto found = summit(d, above, s, search.to)) {
    const Stretch flat = as_high(d, found->top, found->on);
    const int top = first + (flat.from + flat.to) / 2;
    if (!in_reach(top)) return std::nullopt;
    return Bulge{top, std::max(kLeastU, kOfFlat * length_of(flat, mm))};
  }
  if (above(s.peak) < kHeightMerged || s.from == 0 || s.to - s.from < d.steps(kLengthMerged)) {
    return std::nullopt;
  }
  const int top = merged_summit(d, s);
  if (!in_reach(first + top)) return std::nullopt;
  return Bulge{first + top, std::max(kMergedU, 0.3 * length_of(as_high(above, top, s), mm))};
}

std::optional<Bulge> level_of_hidden_trochanter(const EdgePath& path,
                                                const std::vector<double>& from_shaft, double mm) {
  constexpr double kStandsOut = 3.5;  // mm
  constexpr double kAbove = 10.0;     // mm
  constexpr double kU = 8.0;          // mm
  const Outline of_bone = bridged(path, from_shaft, mm);
  const Curve d(of_bone.d, mm);
  const int first = top_of_bone(of_bone, d);
  const int last = std::min(d.size(), first + d.steps(kLooked));
  if (last - first < d.steps(kLeastOutline) ||
      share_of_edge(of_bone.path, first, last) < kShareOfABone) {
    return std::nullopt;
  }
  const double shaft = d.lowest(first, last);
  int foot = last - 1;
  while (foot > first && d(foot) < shaft + kStandsOut) --foot;
  return Bulge{foot - d.steps(kAbove), kU};
}

}  // namespace tidemark::anatomy
