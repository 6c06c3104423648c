#include "tidemark/phantom/bone_surface.h"

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <numbers>

#include "testdata.h"

namespace tidemark::phantom {
namespace {

// landmarks.csv that comes with the surfaces, subject 00; said to be good to 1 to 2 mm.
TEST(FindFemurLandmarks, AgreesWithPublishedLandmarks) {
  const auto mesh =
      read_surface(tidemark::test::testdata() / "meshes/ssm-lower-limb/subject00_femur_left.obj");
  ASSERT_TRUE(mesh.has_value());
  const auto found = find_femur_landmarks(*mesh, Side::kLeft);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_LT((found->head_centre - Vec3(106.085, -3.163, 1191.192)).norm(), 1.5);
  EXPECT_NEAR(found->head_radius_mm, 23.485, 1.0);
  EXPECT_NEAR(found->lesser_trochanter.z(), 1139.569, 4.0);
  EXPECT_LT((found->lesser_trochanter - Vec3(108.879, 29.842, 1139.569)).norm(), 6.0);
  // Their axis is fitted lower (90 to 220 mm below the head) on a bone that bows forwards, so only
  // the coronal direction is comparable: atan(0.161 / 0.987) = 9.26 degrees.
  const double coronal = std::atan2(found->shaft_way.x(), found->shaft_way.z());
  EXPECT_NEAR(coronal * 180.0 / std::numbers::pi, 9.26, 1.5);
  EXPECT_GT(found->shaft_way.z(), 0.98);
}

TEST(FindFemurLandmarks, RefusesAThingWithoutHeadAndShaft) {
  const auto found = find_femur_landmarks(sphere_mesh({0, 0, 0}, 60.0, 64), Side::kRight);
  ASSERT_FALSE(found.has_value());
  EXPECT_EQ(found.error().kind, ErrorKind::kCannotTell);
}

}  // namespace
}  // namespace tidemark::phantom
