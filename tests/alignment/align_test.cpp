#include "tidemark/alignment/align.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <ostream>
#include <string>

#include "alignment/scene.h"

namespace tidemark::alignment {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
/// Middle of the scene in the films, mm.
const Rigid2 kSceneFromFixed{0.0, {-31.5, -54.0}};

struct Pair {
  FilmSetup fixed{};
  FilmSetup moving{.width = 450, .height = 760, .mm_per_px = 0.143, .seed = 2};
};

Raster limb(const FilmSetup& setup) { return rectangle(setup, 60, 360, 40, 680); }

/// Error of the region's centre (mm) and angle.
Eigen::Vector3d error_of(const Rigid2& truth, const Alignment& found) {
  const Vec2 shift =
      found.moving_from_fixed_mm.apply(found.centre_mm) - truth.apply(found.centre_mm);
  return {shift.x(), shift.y(), (found.moving_from_fixed_mm.angle_rad - truth.angle_rad) / kDegree};
}

Expected<Alignment> align_moved(const Pair& pair, const Rigid2& truth,
                                const AlignOptions& options = {}) {
  const Scene scene(7);
  const auto fixed =
      prepare(draw(scene, kSceneFromFixed, pair.fixed), pair.fixed.mm_per_px, {}, options);
  const auto moving = prepare(draw(scene, kSceneFromFixed.after(truth.inverse()), pair.moving),
                              pair.moving.mm_per_px, {}, options);
  if (!fixed) return tl::unexpected(fixed.error());
  if (!moving) return tl::unexpected(moving.error());
  return align(*fixed, limb(pair.fixed), *moving, {}, options);
}

struct MotionRow {
  std::string name;
  Rigid2 truth;

  friend void PrintTo(const MotionRow& row, std::ostream* os) { *os << row.name; }
};

class KnownMotion : public testing::TestWithParam<MotionRow> {};

// The films are drawn from a formula at two scales, so the truth is exact. Source: derived.
TEST_P(KnownMotion, IsFoundToFiveHundredthsOfAPixel) {
  const auto found = align_moved({}, GetParam().truth);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const Eigen::Vector3d error = error_of(GetParam().truth, *found);
  EXPECT_NEAR(error.x(), 0.0, 0.007);
  EXPECT_NEAR(error.y(), 0.0, 0.007);
  EXPECT_NEAR(error.z(), 0.0, 0.01);
  EXPECT_GT(found->agreement, 0.7);
  EXPECT_LT(found->runner_up, 0.7 * found->agreement);
}

INSTANTIATE_TEST_SUITE_P(Table, KnownMotion,
                         testing::Values(MotionRow{"SubPixel", {0.0, {0.37, 0.81}}},
                                         MotionRow{"RightAndUp", {0.0, {2.1, -5.3}}},
                                         MotionRow{"ClockwiseAboutTheCorner",
                                                   {1.0 * kDegree, {0.4, 0.8}}},
                                         MotionRow{"Anticlockwise", {-2.5 * kDegree, {-3.1, 7.3}}},
                                         MotionRow{"NearTheEndOfTheSearch", {0.0, {-5.0, 11.0}}}),
                         [](const auto& row) { return row.param.name; });

}  // namespace
}  // namespace tidemark::alignment
