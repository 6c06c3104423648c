#pragma once

#include <cmath>
#include <numbers>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/monte_carlo.h"

// Scattered points of known truth, for tests only.
namespace tidemark::simulated {

/// Points evenly on an arc of a circle about its -x side, each moved by N(0, sigma) along x and y.
inline std::vector<Vec2> arc(const Circle2& truth, double degrees, int count, double sigma,
                             Random& random) {
  std::vector<Vec2> points;
  const double whole = degrees * std::numbers::pi / 180.0;
  for (int i = 0; i < count; ++i) {
    const double angle = std::numbers::pi + whole * ((i + 0.5) / count - 0.5);
    const Vec2 on_circle = truth.centre + truth.radius * Vec2(std::cos(angle), std::sin(angle));
    const double dx = random.normal(0.0, sigma);
    points.emplace_back(on_circle + Vec2(dx, random.normal(0.0, sigma)));
  }
  return points;
}

/// Points evenly along a stretch of a line centred on its point, moved likewise.
inline std::vector<Vec2> stretch(const Line2& truth, double length, int count, double sigma,
                                 Random& random) {
  std::vector<Vec2> points;
  for (int i = 0; i < count; ++i) {
    const Vec2 on_line = truth.point + length * ((i + 0.5) / count - 0.5) * truth.direction;
    const double dx = random.normal(0.0, sigma);
    points.emplace_back(on_line + Vec2(dx, random.normal(0.0, sigma)));
  }
  return points;
}

}  // namespace tidemark::simulated
