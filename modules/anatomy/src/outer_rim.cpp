#include "outer_rim.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "medial_bulge.h"

namespace tidemark::anatomy {
namespace {

// House choices, mm.
constexpr double kSmoothing = 0.8;
constexpr double kFarthest = 12.0;    ///< a trochanter's rim beyond the edge behind it
constexpr double kLookedAt = 15.0;    ///< beyond the path
constexpr double kInside = 1.2;       ///< where the bone's own grey is read
constexpr double kLeastHeight = 0.8;  ///< beyond the path, to count at all
constexpr double kShortest = 6.0;
constexpr double kLongest = 35.0;
constexpr double kShaftFrom = 55.0;  ///< below the outline's top: nothing stands out any more
constexpr double kShaftTo = 105.0;
constexpr double kMostlyEdge = 0.8;  ///< of the rim's length ends as an edge does
constexpr double kOnRim = 0.7;       ///< evidence where the outline was moved out to it
constexpr std::array kLeastLeft{0.3, 0.15,
                                0.09};  ///< of the step across the path, to be bone: each is tried
constexpr double kOfScatter = 3.0;      ///< and so many times the scatter beside the shaft

/// What lies beyond each row of a path: its grey as a share of the step across the path, at equal
/// steps outwards.
struct Beyond {
  int first_row = 0;
  std::vector<std::vector<float>> share;  ///< empty where metal or the film's end is met
};

std::optional<std::vector<float>> row_beyond(const StemFrame& f, const cv::Mat1f& grey, int row,
                                             double column) {
  const int inside = static_cast<int>(std::lround(column - kInside / f.mm));
  const int reach = static_cast<int>(kLookedAt / f.mm);
  const int first = static_cast<int>(std::lround(column));
  if (inside < 0 || first + reach >= grey.cols) return std::nullopt;
  std::vector<float> out;
  for (int k = 0; k <= reach; ++k) {
    if (f.seen(row, first + k) == 0 || f.metal(row, first + k) != 0) return std::nullopt;
    out.push_back(grey(row, first + k));
  }
  const auto from = out.begin() + static_cast<std::ptrdiff_t>(2.0 / f.mm);
  const float dark = *std::min_element(from, out.end());
  const float step = grey(row, inside) - dark;
  if (!(step > 0.0F)) return std::nullopt;
  for (float& v : out) v = (v - dark) / step;
  return out;
}

Beyond beyond(const StemFrame& f, const EdgePath& path) {
  cv::Mat1f grey;
  cv::GaussianBlur(f.image, grey, {}, kSmoothing / f.mm, 0.0, cv::BORDER_REPLICATE);
  Beyond out{path.first_row, {}};
  for (std::size_t i = 0; i < path.column.size(); ++i) {
    const int row = path.first_row + static_cast<int>(i);
    out.share.push_back(row_beyond(f, grey, row, path.column[i]).value_or(std::vector<float>{}));
  }
  return out;
}

double median_of(std::vector<float> v) {
  const auto mid = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), mid, v.end());
  return *mid;
}

/// What the shaft shows beyond its edge: medians and scatter at each step outwards.
struct ShaftEdge {
  std::vector<double> usual;
  std::vector<double> scatter;
};

std::optional<ShaftEdge> shaft_edge(const Beyond& b, std::size_t from, std::size_t to,
                                    std::size_t steps) {
  constexpr std::size_t kLeastRows = 25;
  ShaftEdge out;
  for (std::size_t k = 0; k < steps; ++k) {
    std::vector<float> here;
    for (std::size_t i = from; i < std::min(to, b.share.size()); ++i) {
      if (!b.share[i].empty()) here.push_back(b.share[i][k]);
    }
    if (here.size() < kLeastRows) return std::nullopt;
    const double usual = median_of(here);
    for (float& v : here) v = std::abs(v - static_cast<float>(usual));
    out.usual.push_back(usual);
    out.scatter.push_back(1.48 * median_of(here));
  }
  return out;
}

/// How far beyond the path bone goes on in a row, in steps; 0 for not at all, nothing where it goes
/// on farther than a trochanter does.
std::optional<int> height_at(const std::vector<float>& share, const ShaftEdge& shaft,
                             double least_left, int farthest) {
  int k = 1;
  for (; k < static_cast<int>(share.size()); ++k) {
    const auto i = static_cast<std::size_t>(k);
    const double left = share[i] - shaft.usual[i];
    if (left < std::max(least_left, kOfScatter * shaft.scatter[i])) break;
  }
  if (k - 1 > farthest) return std::nullopt;
  return k - 1;
}

/// Whether the bone's grey ends at its height as at an edge, and does not fade away as soft tissue
/// does.
bool ends_at_edge(const std::vector<float>& share, const ShaftEdge& shaft, int height) {
  // House choices: the fall within 1.6 mm against the most that is left.
  constexpr int kAcross = 2;
  constexpr double kOfMost = 0.35;
  const auto left = [&](int k) {
    const int within = std::clamp(k, 0, static_cast<int>(share.size()) - 1);
    const auto i = static_cast<std::size_t>(within);
    return share[i] - shaft.usual[i];
  };
  double most = 0.0;
  for (int k = 1; k <= height; ++k) most = std::max(most, left(k));
  return left(height - kAcross + 1) - left(height + kAcross + 1) > kOfMost * most;
}

/// Heights with what a few rows differ from their neighbours taken out.
std::vector<int> steadied(const std::vector<int>& heights, int reach) {
  std::vector<int> out(heights.size(), 0);
  const int n = static_cast<int>(heights.size());
  for (int i = 0; i < n; ++i) {
    const int from = std::max(0, i - reach);
    const int to = std::min(n, i + reach + 1);
    std::vector<int> near(heights.begin() + from, heights.begin() + to);
    const auto mid = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
    std::nth_element(near.begin(), mid, near.end());
    out[static_cast<std::size_t>(i)] = *mid;
  }
  return out;
}

/// Steepest fall near the end of what is bone, in steps beyond the path.
double rim_near(const std::vector<float>& share, int height) {
  int best = height;
  const int last = static_cast<int>(share.size()) - 2;
  const auto fall = [&](int k) {
    const auto i = static_cast<std::size_t>(k);  // 1 at least
    return share[i - 1] - share[i + 1];
  };
  for (int k = std::max(1, height - 3); k <= std::min(last, height + 2); ++k) {
    if (fall(k) > fall(std::clamp(best, 1, last))) best = k;
  }
  return best;
}

/// A stretch of the path beyond which bone goes on.
struct Rim {
  std::size_t from = 0, to = 0;
  std::vector<int> heights;   ///< of all rows of the path
  std::size_t edge_rows = 0;  ///< of the stretch, that end as an edge does
};

/// Where beyond a path a trochanter may stand out.
struct Search {
  const Beyond& all;
  const ShaftEdge& shaft;
  std::size_t top = 0, end = 0;  ///< samples of the path
  double mm = 0.0;               ///< between them
  [[nodiscard]] std::size_t steps(double length_mm) const {
    return static_cast<std::size_t>(length_mm / mm);
  }
};

std::vector<int> heights_of(const Search& s, double least_left) {
  std::vector<int> heights(s.end, 0);
  const int farthest = static_cast<int>(s.steps(kFarthest));
  for (std::size_t i = s.top; i < s.end; ++i) {
    const auto& share = s.all.share[i];
    if (!share.empty()) heights[i] = height_at(share, s.shaft, least_left, farthest).value_or(0);
  }
  return steadied(heights, static_cast<int>(s.steps(0.8)));
}

/// Whether a stretch is all of bone's making: no metal in it or just beside it, whose halo darkens
/// the row, and no step of the rim but at its ends.
bool is_whole(const Search& s, const std::vector<int>& heights, std::size_t from, std::size_t to) {
  constexpr double kBesideMm = 3.0;
  constexpr double kStepMm = 2.0;
  constexpr std::size_t kEnd = 3;  // samples
  const std::size_t beside = s.steps(kBesideMm);
  for (std::size_t i = from > beside ? from - beside : 0; i < std::min(s.end, to + beside); ++i) {
    if (s.all.share[i].empty()) return false;
  }
  for (std::size_t i = from + kEnd; i + kEnd < to; ++i) {
    if (std::abs(heights[i] - heights[i - 1]) * s.mm > kStepMm) return false;
  }
  return true;
}

/// Of the stretches that stand out by a trochanter's length and end as edges do the one with most
/// edge; nothing where there is none.
std::optional<Rim> best_rim(const Search& s, double least_left) {
  const std::vector<int> heights = heights_of(s, least_left);
  const int least = static_cast<int>(std::lround(kLeastHeight / s.mm));
  std::optional<Rim> best;
  for (std::size_t i = s.top; i < s.end; ++i) {
    const std::size_t from = i;
    std::size_t edges = 0;
    for (; i < s.end && heights[i] >= least; ++i) {
      const auto& share = s.all.share[i];
      if (!share.empty() && ends_at_edge(share, s.shaft, heights[i])) ++edges;
    }
    const std::size_t length = i - from;
    const bool ended = i < s.end;
    if (!ended || length < s.steps(kShortest) || length > s.steps(kLongest)) continue;
    if (static_cast<double>(edges) <= kMostlyEdge * static_cast<double>(length)) continue;
    if (!is_whole(s, heights, from, i)) continue;
    if (!best || edges > best->edge_rows) best = Rim{from, i, heights, edges};
  }
  return best;
}

/// The rim's ends as a slope that an outline of bone can have: steeper ones are taken for a step
/// onto another bone (medial_bulge.cpp).
void slope_ends(std::size_t from, std::size_t to, std::vector<double>& column) {
  constexpr double kSteepest = 2.0;  // columns a row, 63 degrees
  for (std::size_t i = std::max<std::size_t>(1, from); i < to; ++i) {
    column[i] = std::min(column[i], column[i - 1] + kSteepest);
  }
  for (std::size_t i = std::min(to, column.size() - 1); i > from; --i) {
    column[i - 1] = std::min(column[i - 1], column[i] + kSteepest);
  }
}

}  // namespace

EdgePath with_outer_rim(const StemFrame& frame, EdgePath path) {
  const auto edge =
      std::find_if(path.evidence.begin(), path.evidence.end(), [](double e) { return e > kEdge; });
  const auto top = static_cast<std::size_t>(edge - path.evidence.begin());
  const auto below = [&](double mm) { return top + static_cast<std::size_t>(mm / frame.mm); };
  const Beyond all = beyond(frame, path);
  const auto shaft = shaft_edge(all, below(kShaftFrom), below(kShaftTo),
                                static_cast<std::size_t>(kLookedAt / frame.mm) + 1);
  if (!shaft) return path;
  const Search search{all, *shaft, top, std::min(path.column.size(), below(kShaftFrom)), frame.mm};
  std::optional<Rim> rim;
  for (const double least_left : kLeastLeft) {
    auto other = best_rim(search, least_left);
    if (other && (!rim || other->edge_rows > rim->edge_rows)) rim = std::move(other);
  }
  if (!rim) return path;
  for (std::size_t i = rim->from; i < rim->to; ++i) {
    if (all.share[i].empty()) continue;
    path.column[i] = std::round(path.column[i]) + rim_near(all.share[i], rim->heights[i]);
    path.evidence[i] = std::max(path.evidence[i], kOnRim);
  }
  slope_ends(rim->from, rim->to, path.column);
  return path;
}

}  // namespace tidemark::anatomy
