#include "neck.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>
#include <vector>

#include "tidemark/core/line_fit.h"

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
// Necks are 8 to 16 mm wide, their straight part longer than 6 mm (common practice, no source).
constexpr double kReachMm = 38.0;    ///< of outline, from its open end
constexpr double kLeastRunMm = 6.0;  ///< of a straight side
constexpr double kStraightMm = 0.3;  ///< a side strays no farther from its line
constexpr double kNarrowMm = 6.5;
constexpr double kWideMm = 17.0;
constexpr double kMostTaperDeg = 14.0;  ///< between the two sides

/// The longest run of points within `tolerance` of the chord through two of them.
std::span<const Vec2> longest_straight(std::span<const Vec2> points, double tolerance) {
  std::span<const Vec2> best;
  const std::size_t n = points.size();
  for (std::size_t i = 0; i + 1 < n; ++i) {
    for (std::size_t k = i + 1 + best.size(); k < n; ++k) {
      const Line2 chord{points[i], (points[k] - points[i]).normalized()};
      const bool straight = std::all_of(
          points.begin() + static_cast<std::ptrdiff_t>(i),
          points.begin() + static_cast<std::ptrdiff_t>(k),
          [&](const Vec2& p) { return std::abs(signed_distance(chord, p)) <= tolerance; });
      if (straight) best = points.subspan(i, k - i + 1);
    }
  }
  return best;
}

/// Points of the outline within `reach` of arc from its start.
Polyline first_part(const Polyline& outline, double reach) {
  Polyline out;
  double walked = 0.0;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    if (i > 0) walked += (outline[i] - outline[i - 1]).norm();
    if (walked > reach) break;
    out.push_back(outline[i]);
  }
  return out;
}

/// The straight side of the neck at the start of an outline, pointing distally.
std::optional<Line2> straight_side(const Polyline& outline, double px) {
  const Polyline part = first_part(outline, kReachMm * px);
  const auto run = longest_straight(part, kStraightMm * px);
  if (run.size() < 3 || (run.back() - run.front()).norm() < kLeastRunMm * px) return std::nullopt;
  const auto fit = fit_line(run);
  if (!fit) return std::nullopt;
  return fit->line;
}

}  // namespace

std::optional<NeckAxis> neck_axis(const Polyline& outline, double mm_per_px) {
  const double px = 1.0 / mm_per_px;
  const auto lateral = straight_side(outline, px);
  const auto medial = straight_side({outline.rbegin(), outline.rend()}, px);
  if (!lateral || !medial) return std::nullopt;
  if (std::abs(angle_between(lateral->direction, medial->direction)) > kMostTaperDeg * kDegree) {
    return std::nullopt;
  }
  const Vec2 direction = (lateral->direction + medial->direction).normalized();
  const Vec2 middle = 0.5 * (lateral->point + medial->point);
  const double width =
      std::abs(signed_distance(*lateral, middle)) + std::abs(signed_distance(*medial, middle));
  if (width < kNarrowMm * px || width > kWideMm * px) return std::nullopt;
  // Midway: the foot of `middle` on the line whose distances to both sides are the same.
  const double off = 0.5 * (signed_distance(*lateral, middle) + signed_distance(*medial, middle));
  const Vec2 across(-direction.y(), direction.x());
  return NeckAxis{{middle - off * across, direction}, width * mm_per_px};
}

}  // namespace tidemark::anatomy
