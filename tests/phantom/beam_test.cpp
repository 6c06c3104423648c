#include "tidemark/phantom/beam.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace tidemark::phantom {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;

Beam beam_at(double source_to_detector, double hip_to_detector) {
  Beam beam;
  beam.source_to_detector.value = source_to_detector;
  beam.hip_to_detector.value = hip_to_detector;
  return beam;
}

// M = SID / (SID - OFD), the similar triangles of a point source. Worked values, last digit.
TEST(Beam, MagnificationFollowsSimilarTriangles) {
  EXPECT_NEAR(beam_at(1150, 150).magnification(Vec3::Zero()), 1.1500, 5e-5);
  EXPECT_NEAR(beam_at(1150, 170).magnification(Vec3::Zero()), 1.1735, 5e-5);
  EXPECT_NEAR(beam_at(1150, 190).magnification(Vec3::Zero()), 1.1979, 5e-5);
  EXPECT_NEAR(beam_at(1000, 170).magnification(Vec3::Zero()), 1.2048, 5e-5);
  EXPECT_NEAR(beam_at(1200, 200).magnification(Vec3::Zero()), 1.2000, 5e-5);
}

TEST(Beam, ProjectsWhatLiesOnTheRayOfAPixel) {
  Beam beam = beam_at(1150, 180);
  beam.centre_mm = {12, 55};
  beam.turn.value = 3.0;
  for (const Vec2& px : {Vec2(0, 0), Vec2(500.25, 2000.5), Vec2(1999, 2399)}) {
    const Vec3 half = 0.3 * beam.source() + 0.7 * beam.on_detector(px);
    EXPECT_LT((beam.project(half) - px).norm(), 1e-9);
  }
}

// Two points at one level, dz apart in depth, h from the central ray: their shadows are
// h dz / (SOD - dz) apart, in mm of the nearer plane (derived). SID 1150, OFD 180 and 200.
TEST(Beam, DepthOffTheCentralRayLooksLikeDistance) {
  for (const auto& [height, expected] : {std::pair{50.0, 1.053}, {100.0, 2.105}}) {
    const Beam beam = beam_at(1150, 180);  // world origin 180 mm before the detector
    const Vec2 far = beam.project({0, height, 0});
    const Vec2 near = beam.project({0, height, -20});
    const double scale = beam.pixel_pitch.value / beam.magnification(Vec3::Zero());
    EXPECT_NEAR(std::abs(near.y() - far.y()) * scale, expected, 5e-4);
  }
}

// Flexion f about the medio-lateral axis: a length along the shaft shortens to L cos f, a gap g
// with difference of depth d becomes g cos f + d sin f (derived). Central ray at the object and a
// far source: perspective is out of the way.
TEST(Beam, FlexionShortensAndShiftsByDepth) {
  const Beam beam = beam_at(1e9, 180);
  const auto flexed = [](const Vec3& p, double deg) {
    const double c = std::cos(deg * kRad);
    const double s = std::sin(deg * kRad);
    return Vec3(p.x(), c * p.y() + s * p.z(), -s * p.y() + c * p.z());
  };
  const auto gap = [&](double g, double d, double deg) {
    const Vec2 a = beam.project(flexed({0, 0, 0}, deg));
    const Vec2 b = beam.project(flexed({0, g, d}, deg));
    return (b.y() - a.y()) * beam.pixel_pitch.value;
  };
  EXPECT_NEAR(gap(100, 0, 5), 99.619, 1e-3);
  EXPECT_NEAR(gap(150, 0, 15), 144.889, 1e-3);
  EXPECT_NEAR(gap(30, 15, 5), 31.193, 1e-3);
  EXPECT_NEAR(gap(30, 15, -5), 28.579, 1e-3);
  EXPECT_NEAR(gap(60, 10, 5), 60.643, 1e-3);
}

}  // namespace
}  // namespace tidemark::phantom
