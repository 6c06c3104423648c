#include "../../modules/anatomy/src/flank_bumps.h"

#include <gtest/gtest.h>

#include <cmath>

namespace tidemark::anatomy {
namespace {

constexpr double kPitch = 0.25;  // mm per px

/// Both flanks of a tapered stem 130 mm long, the medial one curving out proximally, with a bump of
/// `height` mm from `from` to `to` mm below the shoulder on the medial flank; px, shoulder at 0.
Polyline stem_with_bump(double height, double from, double to) {
  Polyline outline;
  const auto half_width = [](double s) { return 9.0 - 0.035 * s; };
  for (double s = 0.0; s <= 130.0; s += 0.5) outline.emplace_back(-half_width(s), s);
  for (double s = 130.0; s >= 0.0; s -= 0.5) {
    const double curve = s < 60.0 ? 0.004 * (60.0 - s) * (60.0 - s) : 0.0;
    const double bump = s > from && s < to ? height : 0.0;
    outline.emplace_back(half_width(s) + curve + bump, s);
  }
  for (Vec2& p : outline) p /= kPitch;
  return outline;
}

Polyline cut(const Polyline& outline) {
  return without_bumps(outline, {Vec2::Zero(), Vec2::UnitY()}, 0.0, kPitch);
}

double farthest_apart_mm(const Polyline& a, const Polyline& b) {
  double worst = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) worst = std::max(worst, (a[i] - b[i]).norm());
  return worst * kPitch;
}

TEST(WithoutBumps, CutsALeakIntoTheCalcar) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  const Polyline leaking = stem_with_bump(6.0, 30.0, 48.0);
  ASSERT_GT(farthest_apart_mm(leaking, clean), 5.9);
  EXPECT_LT(farthest_apart_mm(cut(leaking), clean), 0.6);  // bridged by a straight line
}

TEST(WithoutBumps, LeavesACleanStemAsItIs) {
  const Polyline clean = stem_with_bump(0.0, 0.0, 0.0);
  EXPECT_EQ(cut(clean), clean);
}

TEST(WithoutBumps, LeavesACollar) {
  const Polyline high = stem_with_bump(5.0, 10.0, 18.0);
  EXPECT_EQ(cut(high), high);
  const Polyline low = stem_with_bump(5.0, 30.0, 34.0);
  EXPECT_EQ(cut(low), low);
}

// Guards the medial corner of a stem whose neck is cut low: above it the outline draws in.
TEST(WithoutBumps, LeavesTheMedialCorner) {
  Polyline corner = stem_with_bump(0.0, 0.0, 0.0);
  for (Vec2& p : corner) {
    const double above = 19.0 - p.y() * kPitch;
    if (p.x() > 0.0 && above > 0.0) p.x() -= above / kPitch;
  }
  EXPECT_EQ(cut(corner), corner);
}

TEST(WithoutBumps, LeavesAStepThatStays) {
  const Polyline step = stem_with_bump(2.0, -1.0, 70.0);
  EXPECT_EQ(cut(step), step);
}

}  // namespace
}  // namespace tidemark::anatomy
