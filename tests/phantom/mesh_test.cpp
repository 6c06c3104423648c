#include "tidemark/phantom/mesh.h"

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <numbers>

#include "scratch.h"
#include "testdata.h"

namespace tidemark::phantom {
namespace {

const std::filesystem::path kMeshes = tidemark::test::testdata() / "meshes";

TEST(SphereMesh, IsClosedAndHasTheVolumeOfASphere) {
  const TriangleMesh mesh = sphere_mesh({3, -4, 5}, 16.0, 256);
  EXPECT_TRUE(is_closed(mesh));
  EXPECT_NEAR(signed_volume(mesh), 4.0 / 3.0 * std::numbers::pi * std::pow(16.0, 3), 10.0);
  for (const Vec3& p : mesh.points) EXPECT_NEAR((p - Vec3(3, -4, 5)).norm(), 16.0, 1e-9);
}

TEST(BarMesh, HasTheVolumeOfItsPolygonalPrism) {
  const std::vector<Vec3> chain{{0, 0, 0}, {0, 0, 5}, {0, 0, 10}};
  const TriangleMesh mesh = bar_mesh(chain, 2.0, 12);
  EXPECT_TRUE(is_closed(mesh));
  // Derived: regular 12-gon in radius 2 has the area 12/2 * 4 * sin(30 deg) = 12.
  EXPECT_NEAR(signed_volume(mesh), 120.0, 1e-9);
}

TEST(Mapped, MirroringKeepsTheSurfaceFacingOutwards) {
  const TriangleMesh mesh = sphere_mesh({10, 0, 0}, 5.0, 32);
  const TriangleMesh mirror = mapped(mesh, Vec3(-1, 1, 1).asDiagonal(), Vec3::Zero());
  EXPECT_NEAR(signed_volume(mirror), signed_volume(mesh), 1e-6);
  EXPECT_LT(signed_volume(turned_inside_out(mesh)), 0.0);
}

TEST(ReadSurface, TakesMillimetresAndPatientAxesAsTheyAre) {
  const auto mesh = read_surface(kMeshes / "ssm-lower-limb/subject00_femur_left.obj");
  ASSERT_TRUE(mesh.has_value()) << mesh.error().sentence();
  EXPECT_TRUE(is_closed(*mesh));
  EXPECT_GT(signed_volume(*mesh), 3e5);  // a femur is some 0.5 l
  EXPECT_LT(signed_volume(*mesh), 1e6);
}

// The file faces inwards and is in metres (derived: its signed volume is negative). Its frame is
// its own.
TEST(ReadSurface, TurnsAnInsideOutPelvisAndScalesMetres) {
  const auto file = kMeshes / "female-ct/PelvisL.obj";
  const auto mesh = read_surface(file, "ALS");
  ASSERT_TRUE(mesh.has_value()) << mesh.error().sentence();
  EXPECT_TRUE(is_closed(*mesh));
  EXPECT_GT(signed_volume(*mesh), 1e5);
  EXPECT_LT(signed_volume(*mesh), 1e6);
  // Turned for certain: a mirror in one axis is no mirror in the other sense.
  const auto as_if = read_surface(file, "LPS");
  ASSERT_TRUE(as_if.has_value());
  EXPECT_NEAR(signed_volume(*as_if), signed_volume(*mesh), 1.0);
}

TEST(ReadSurface, RefusesInOneSentence) {
  const test::Scratch folder;
  const auto open_surface = folder / "open.obj";
  std::ofstream(open_surface) << "v 0 0 0\nv 10 0 0\nv 0 10 0\nf 1 2 3\n";
  EXPECT_EQ(read_surface(open_surface).error().wrong, "the surface is not closed");
  EXPECT_EQ(read_surface(folder / "none.obj").error().wrong, "no such file");
  EXPECT_EQ(read_surface(open_surface, "LLS").error().wrong,
            "the axes are no three of L R A P S I");
  std::ofstream(folder / "bone.txt") << "x";
  EXPECT_EQ(read_surface(folder / "bone.txt").error().wrong, "unknown kind of surface");
}

}  // namespace
}  // namespace tidemark::phantom
