#include "../../modules/anatomy/src/shoulder.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "tidemark/core/monte_carlo.h"

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr double kPitch = 0.2;  // mm per px

/// The corner at (0, 0) of a stem in a quadrant x > 0, y > 0 (medial and distal), rounded with a
/// radius: points 0.5 mm apart from the neck over the corner down the lateral flank to the tip and
/// up the medial flank, beginning `phase` mm further on.
Polyline outline_of(double radius, double phase, double turn_deg) {
  const double arc = 0.5 * std::numbers::pi * radius;
  const auto at = [&](double walked) -> Vec2 {
    if (walked < 12.0) return {radius + 12.0 - walked, 0.0};
    const double a = (walked - 12.0) / std::max(radius, 1e-9);
    if (walked < 12.0 + arc) return {radius * (1.0 - std::sin(a)), radius * (1.0 - std::cos(a))};
    const double down = radius + walked - 12.0 - arc;
    if (down < 100.0) return {0.0, down};
    if (down < 116.0) return {down - 100.0, 100.0};
    return {16.0, 216.0 - down};
  };
  Polyline ring;
  const Rigid2 film_from_stem{turn_deg * kDegree, Vec2(50.0, 40.0)};
  for (double walked = phase; walked < 200.0; walked += 0.5) {
    ring.push_back(film_from_stem.apply(at(walked)) / kPitch);
  }
  return ring;
}

// Derived: the point of a rounded right angle farthest half way between lateral and proximal lies
// radius x (1 - 1/sqrt 2) from either edge. These outlines are exact, so what the finder puts back
// for blur and steps (0.39 mm in quadrature of a gap of 0.41 radius: 0.1 mm at 2 mm) is error here,
// and its u must hold it; the meeting point of the edges would be 0.41 radius off.
TEST(FindShoulder, IsWhereTheOutlineReachesFarthestHalfWayBetweenLateralAndProximal) {
  for (const double radius : {1.5, 2.0, 3.0, 5.0}) {
    for (const double phase : {0.0, 0.12, 0.25, 0.37}) {
      for (const double turn : {-4.0, 0.0, 7.0}) {
        const Rigid2 film_from_stem{turn * kDegree, Vec2(50.0, 40.0)};
        const Line2 axis{film_from_stem.apply({8.0, 50.0}) / kPitch,
                         film_from_stem.rotation() * Vec2(0.0, 1.0)};
        const Landmark found = find_shoulder(outline_of(radius, phase, turn), axis, kPitch);
        const double in = radius * (1.0 - std::sqrt(0.5));
        const double error = (found.px - film_from_stem.apply({in, in}) / kPitch).norm() * kPitch;
        EXPECT_LT(error, radius < 2.0 ? 0.2 : 0.12) << radius << " " << phase << " " << turn;
        EXPECT_LT(found.u_px * kPitch, 0.3);
        EXPECT_GT(found.u_px * kPitch, 0.05);
      }
    }
  }
}

// A sharp corner is where the two edges meet, though points 0.5 mm apart and a parabola through
// them cut it off by 0.3 mm.
TEST(FindShoulder, ASharpCornerIsNotCutOff) {
  for (const double phase : {0.0, 0.12, 0.25, 0.37}) {
    const Line2 axis{Vec2(58.0, 90.0) / kPitch, Vec2(0.0, 1.0)};
    const Landmark found = find_shoulder(outline_of(0.0, phase, 0.0), axis, kPitch);
    EXPECT_LT((found.px * kPitch - Vec2(50.0, 40.0)).norm(), 0.1) << phase;
  }
}

struct Chamfer {
  double length;
  double from_axis_deg;
};

/// As outline_of(), with a chamfer between the lateral flank and the top in place of the rounding,
/// its own corners rounded by 3 mm, and an outline that scatters.
Polyline chamfered(const Chamfer& chamfer, std::uint64_t seed) {
  const double a = chamfer.from_axis_deg * kDegree;
  const Vec2 low(0.0, chamfer.length * std::cos(a));
  const Vec2 high(chamfer.length * std::sin(a), 0.0);
  const Polyline corners{high + Vec2(12.0, 0.0), high, low, Vec2(0.0, 100.0), Vec2(16.0, 100.0),
                         Vec2(16.0, 12.0)};
  Polyline fine;
  for (std::size_t i = 0; i + 1 < corners.size(); ++i) {
    const Vec2 d = corners[i + 1] - corners[i];
    const int n = static_cast<int>(d.norm() / 0.1);
    for (int k = 0; k < n; ++k) fine.push_back(corners[i] + k * 0.1 / d.norm() * d);
  }
  Random random(seed);
  constexpr double kScatter = 0.06;
  Polyline ring;
  for (std::size_t i = 15; i + 15 < fine.size(); i += 5) {
    Vec2 mean = Vec2::Zero();  // over 3 mm: rounds the corners
    for (std::size_t k = i - 15; k <= i + 15; ++k) mean += fine[k] / 31.0;
    ring.push_back((mean + Vec2(random.normal(50.0, kScatter), random.normal(40.0, kScatter))) /
                   kPitch);
  }
  return ring;
}

// On a chamfer that stands about half way between lateral and proximal any of its points may come
// out as the farthest: u holds how far the place scatters from outline to outline.
TEST(FindShoulder, KnowsThatTheFarthestPointOfAChamferIsAnyOfThem) {
  for (const Chamfer& chamfer : {Chamfer{6.0, 45.0}, Chamfer{10.0, 44.0}, Chamfer{10.0, 45.0},
                                 Chamfer{14.0, 38.0}, Chamfer{14.0, 44.0}, Chamfer{14.0, 50.0}}) {
    constexpr int kDraws = 60;
    std::vector<Landmark> found;
    Vec2 mean = Vec2::Zero();
    for (std::uint64_t seed = 1; seed <= kDraws; ++seed) {
      found.push_back(find_shoulder(chamfered(chamfer, seed),
                                    {Vec2(58.0, 90.0) / kPitch, Vec2(0.0, 1.0)}, kPitch));
      mean += found.back().px / kDraws;
    }
    double ratio = 0.0;  // of variance along the axis to what u says of it
    for (const Landmark& one : found) {
      ratio += std::pow((one.px.y() - mean.y()) / one.u_px, 2) / kDraws;
    }
    EXPECT_LT(std::sqrt(ratio), 1.8) << chamfer.length << " mm, " << chamfer.from_axis_deg;
  }
}

}  // namespace
}  // namespace tidemark::anatomy
