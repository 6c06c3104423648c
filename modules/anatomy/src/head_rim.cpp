#include "head_rim.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr double kReachMm = 3.0;
/// The stretches of rim beside a neck, as angles from its direction: necks are 10 to 14 mm wide on
/// heads of 28 to 40 (common practice, no source), and cups open towards them. House choice.
constexpr double kFrom = 38.0 * kDegree;
constexpr double kTo = 85.0 * kDegree;

/// Angle of a point about the head from the neck's direction; its sign tells the side.
double from_neck(const Circle2& head, const Vec2& neck, const Vec2& p) {
  const Vec2 out = p - head.centre;
  return std::atan2(neck.x() * out.y() - neck.y() * out.x(), neck.dot(out));
}

bool is_beside(double angle) { return std::abs(angle) >= kFrom && std::abs(angle) <= kTo; }

/// Steepest falls beside the neck, and on which side of it.
struct Falls {
  std::vector<Vec2> at;
  std::vector<std::size_t> side;
};

Falls falls_beside(const cv::Mat1f& film, const Circle2& head, const Vec2& neck, double reach_px,
                   double mm_per_px) {
  Falls out;
  for (const RimPoint& q : rim_points(film, head, reach_px, kHeadBlurMm / mm_per_px)) {
    const double angle = from_neck(head, neck, q.p);
    if (!is_beside(angle)) continue;
    out.at.push_back(q.p);
    out.side.push_back(angle < 0.0 ? 0 : 1);
  }
  return out;
}

std::optional<Circle2> through(const Vec2& a, const Vec2& b, const Vec2& c) {
  const Vec2 u = b - a;
  const Vec2 v = c - a;
  const double twice_area = 2.0 * (u.x() * v.y() - u.y() * v.x());
  if (std::abs(twice_area) < 1e-6 * u.norm() * v.norm()) return std::nullopt;
  const double uu = u.squaredNorm();
  const double vv = v.squaredNorm();
  const Vec2 to_centre = Vec2(v.y() * uu - u.y() * vv, u.x() * vv - v.x() * uu) / twice_area;
  return Circle2{a + to_centre, to_centre.norm()};
}

/// How many falls lie on a circle, by side.
std::array<std::size_t, 2> on_circle(const Falls& falls, const Circle2& c, double within_px) {
  std::array<std::size_t, 2> n{};
  for (std::size_t i = 0; i < falls.at.size(); ++i) {
    const double off = (falls.at[i] - c.centre).norm() - c.radius;
    if (std::abs(off) <= within_px) ++n.at(falls.side[i]);
  }
  return n;
}

}  // namespace

std::optional<RimFit> fit_head(const cv::Mat1f& film, const Circle2& start, double mm_per_px) {
  return fit_rim(film, start, kReachMm / mm_per_px, kHeadBlurMm / mm_per_px);
}

double rim_beside_neck(const cv::Mat1f& film, const Circle2& head, const Vec2& neck,
                       double mm_per_px) {
  constexpr double kOnMm = 0.35;                           // house choice
  constexpr double kRays = 2.0 * (kTo - kFrom) / kDegree;  // rim_points casts one a degree
  const Falls falls = falls_beside(film, head, neck, kReachMm / mm_per_px, mm_per_px);
  const auto on = on_circle(falls, head, kOnMm / mm_per_px);
  return std::min(1.0, static_cast<double>(on[0] + on[1]) / kRays);
}

std::optional<Circle2> circle_beside_neck(const cv::Mat1f& film, const Circle2& rough,
                                          const Vec2& neck, double mm_per_px) {
  constexpr double kReach = 0.3;  // of the radius: a cup is at most that much larger
  constexpr double kWithinMm = 0.25;
  constexpr std::size_t kStep = 4;  // three of some 25 falls: 2,000 circles
  constexpr double kEachSide = 0.4;
  const Falls falls = falls_beside(film, rough, neck, kReach * rough.radius, mm_per_px);
  const auto first =
      static_cast<std::size_t>(std::count(falls.side.begin(), falls.side.end(), std::size_t{0}));
  const std::array<std::size_t, 2> all{first, falls.side.size() - first};
  std::optional<Circle2> best;
  std::size_t most = 0;
  for (std::size_t i = 0; i < falls.at.size(); i += kStep) {
    for (std::size_t j = i + kStep; j < falls.at.size(); j += kStep) {
      for (std::size_t k = j + kStep; k < falls.at.size(); k += kStep) {
        const auto c = through(falls.at[i], falls.at[j], falls.at[k]);
        if (!c || c->radius < 0.55 * rough.radius || c->radius > 1.15 * rough.radius) continue;
        const auto on = on_circle(falls, *c, kWithinMm / mm_per_px);
        const auto enough = [&](std::size_t side) {
          return static_cast<double>(on.at(side)) >= kEachSide * static_cast<double>(all.at(side));
        };
        if (on[0] + on[1] <= most || !enough(0) || !enough(1)) continue;
        most = on[0] + on[1];
        best = c;
      }
    }
  }
  return best;
}

}  // namespace tidemark::anatomy
