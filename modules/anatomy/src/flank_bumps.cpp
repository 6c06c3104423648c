#include "flank_bumps.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace tidemark::anatomy {
namespace {

// House choices. A leak into the calcar is 10 to 25 mm long, a collar 2 to 4 mm.
constexpr double kLongestMm = 35.0;
constexpr double kShortestMm = 7.0;
constexpr double kLeastMm = 1.5;  ///< height above which a bump is cut
constexpr double kFromMm = 22.0;  ///< below the shoulder; more than half of kLongestMm
constexpr double kBinMm = 0.5;

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

/// The course with each run that stands out by more than `least` from its opening bridged by a
/// straight line: the opening alone would leave a step where the flank slopes.
Course bridged(const Course& values, int half, double least) {
  const Course smooth = opened(values, half);
  Course out = values;
  const std::size_t n = values.size();
  for (std::size_t i = 0; i < n; ++i) {
    if (values[i] - smooth[i] <= least) continue;
    std::size_t end = i;
    while (end < n && values[end] - smooth[end] > least) ++end;
    const bool is_short = static_cast<double>(end - i) * kBinMm < kShortestMm;
    const double before = i > 0 ? values[i - 1] : smooth[i];
    const double after = end < n ? values[end] : smooth[end - 1];
    for (std::size_t k = i; k < end && !is_short; ++k) {
      const double t = static_cast<double>(k - i + 1) / static_cast<double>(end - i + 1);
      out[k] = (1.0 - t) * before + t * after;
    }
    i = end;
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

}  // namespace

Polyline without_bumps(Polyline outline, const Line2& axis, double shoulder, double mm_per_px) {
  const double px = 1.0 / mm_per_px;
  // A window needs its upper half to tell a slope from a bump: levels above kFromMm only serve.
  const double from = shoulder + (kFromMm - 0.5 * kLongestMm) * px;
  double to = from;
  for (const Vec2& p : outline) to = std::max(to, along(axis, p));
  const auto bins = static_cast<std::size_t>((to - from) / (kBinMm * px)) + 1;
  const int half = static_cast<int>(std::lround(0.5 * kLongestMm / kBinMm));
  if (static_cast<int>(bins) < 2 * half) return outline;
  const auto bin_of = [&](const Vec2& p) {
    return std::min(bins - 1, static_cast<std::size_t>((along(axis, p) - from) / (kBinMm * px)));
  };
  for (const double side : {-1.0, 1.0}) {
    Course flank(bins, std::numeric_limits<double>::quiet_NaN());  // farthest point of each bin
    const auto on_flank = [&](const Vec2& p) {
      return along(axis, p) >= from && side * signed_distance(axis, p) > 0.0;
    };
    for (const Vec2& p : outline) {
      if (!on_flank(p)) continue;
      double& reach = flank[bin_of(p)];
      reach = std::fmax(reach, side * signed_distance(axis, p));
    }
    fill_gaps(flank);
    // Towards neck and shoulder an outline draws in again; only what comes below may be a bump.
    for (auto i = static_cast<std::size_t>(half); i > 0; --i) {
      flank[i - 1] = std::fmax(flank[i - 1], flank[i]);
    }
    if (std::isnan(flank.front())) continue;
    const Course smooth = bridged(flank, half, kLeastMm * px);
    const Vec2 out = side * Vec2(-axis.direction.y(), axis.direction.x());
    for (Vec2& p : outline) {
      if (!on_flank(p) || along(axis, p) < shoulder + kFromMm * px) continue;
      const std::size_t bin = bin_of(p);
      const double height = side * signed_distance(axis, p) - smooth[bin];
      if (smooth[bin] < flank[bin] && height > 0.0) p -= height * out;
    }
  }
  return outline;
}

}  // namespace tidemark::anatomy
