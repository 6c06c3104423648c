#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "tidemark/phantom/scene.h"

namespace tidemark::phantom {
namespace {

Beam small_beam() {
  Beam beam;
  beam.pixel_pitch.value = 0.5;
  beam.columns = 160;
  beam.rows = 160;
  return beam;
}

TriangleMesh box(const Vec3& low, const Vec3& high) {
  const std::vector<std::vector<Vec3>> rings{{{low.x(), low.y(), low.z()},
                                              {high.x(), low.y(), low.z()},
                                              {high.x(), high.y(), low.z()},
                                              {low.x(), high.y(), low.z()}},
                                             {{low.x(), low.y(), high.z()},
                                              {high.x(), low.y(), high.z()},
                                              {high.x(), high.y(), high.z()},
                                              {low.x(), high.y(), high.z()}}};
  return swept_mesh(rings);
}

double length_of(const std::array<double, kMaterialCount>& lengths, Material material) {
  return lengths[static_cast<std::size_t>(material)];
}

// Derived: a ray through the middle of a sphere runs its diameter; nested solids displace each
// other in the order of Layer.
TEST(Trace, NestedSolidsDisplaceEachOther) {
  Scene scene;
  scene.solids = {{Layer::kMuscle, box({-50, -50, -60}, {50, 50, 60})},
                  {Layer::kFemur, sphere_mesh({0, 0, 0}, 30, 256)},
                  {Layer::kHead, sphere_mesh({0, 0, 0}, 16, 256)}};
  const Beam beam = small_beam();
  const auto lengths = trace(scene, beam, beam.project({0.1, 0.2, 0.0}));
  EXPECT_NEAR(length_of(lengths, Material::kCobaltChromium), 32.0, 0.02);
  EXPECT_NEAR(length_of(lengths, Material::kCorticalBone), 28.0, 0.02);
  EXPECT_NEAR(length_of(lengths, Material::kMuscle), 60.0, 0.02);
}

TEST(Trace, OverlappingSurfacesOfOneLayerCountOnce) {
  Scene scene;
  scene.solids = {{Layer::kFemur, box({-20, -20, -10}, {20, 20, 10})},
                  {Layer::kFemur, box({-20, -20, 0}, {20, 20, 25})}};
  const Beam beam = small_beam();
  EXPECT_NEAR(length_of(trace(scene, beam, beam.project({1, 2, 0})), Material::kCorticalBone), 35.0,
              0.01);
}

Scene busy_scene() {
  Scene scene;
  scene.solids = {{Layer::kFat, box({-60, -60, -50}, {60, 60, 50})},
                  {Layer::kMuscle, box({-25, -60, -40}, {28, 60, 40})},
                  {Layer::kFemur, sphere_mesh({4, 3, 2}, 22, 64)},
                  {Layer::kFemurInside, sphere_mesh({4, 3, 2}, 18, 64)},
                  {Layer::kStem, bar_mesh(std::vector<Vec3>{{-8, -30, 0}, {5, 25, 4}}, 5, 40)},
                  {Layer::kHead, sphere_mesh({-8, -26, 0}, 12, 96)}};
  return scene;
}

// Two ways of meeting triangles: sorted shadows with shared edges, and every triangle in turn.
TEST(Render, AgreesWithTracingEveryTriangle) {
  const Scene scene = busy_scene();
  const Beam beam = small_beam();
  const Raster image = render(scene, beam, 2);
  std::mt19937 random(5);
  int compared = 0;
  for (int i = 0; i < 400; ++i) {
    const int x = static_cast<int>(random() % 160);
    const int y = static_cast<int>(random() % 160);
    const auto lengths = trace(scene, beam, Vec2(x, y));
    const auto beside = trace(scene, beam, Vec2(x + 0.5, y + 0.5));
    const auto before = trace(scene, beam, Vec2(x - 0.5, y - 0.5));
    const double expected = transmission(default_spectrum(), lengths);
    const double smooth = std::abs(transmission(default_spectrum(), beside) - expected) +
                          std::abs(transmission(default_spectrum(), before) - expected);
    if (smooth > 0.02 * expected) continue;  // edges are averaged over the pixel
    ++compared;
    EXPECT_NEAR(image.at(x, y), expected, 2e-3 * expected + 0.5 * smooth) << x << " " << y;
  }
  EXPECT_GT(compared, 200);
}

TEST(Render, IsTheSameOnAnyNumberOfThreads) {
  const Scene scene = busy_scene();
  EXPECT_EQ(render(scene, small_beam(), 1).values, render(scene, small_beam(), 3).values);
}

// Derived: the shadow of a small opaque ball on the central ray covers pi (M r)^2 to second order
// in r/SOD (exactly pi (SID r)^2 / (SOD^2 - r^2)). Coverage of edge pixels makes the sum sub-pixel.
TEST(Render, MetalCoversItsTrueArea) {
  Scene scene;
  scene.solids = {{Layer::kHead, sphere_mesh({0, 0, 0}, 14, 256)}};
  const Beam beam = small_beam();
  const Raster image = render(scene, beam, 2);
  // Lead-like ball: what passes it is its rim only, so weigh by thickness instead of counting.
  double shadow_x = 0.0;
  double covered = 0.0;
  for (int y = 0; y < image.height; ++y) {
    for (int x = 0; x < image.width; ++x) {
      const double dark = 1.0 - image.at(x, y);
      covered += dark;
      shadow_x += dark * x;
    }
  }
  const double sod = 970.0;
  const double radius_px = 1150.0 * 14.0 / std::sqrt(sod * sod - 14.0 * 14.0) / 0.5;
  const double area = std::acos(-1.0) * radius_px * radius_px;
  EXPECT_NEAR(shadow_x / covered, 79.5, 0.002);
  // Rim: thinner than 1 mm of alloy within 1 - sqrt(1 - (0.5/14)^2) = 0.06 % of the radius.
  EXPECT_NEAR(covered / area, 1.0, 0.004);
}

// Derived: off the central ray by b on the detector, a ball's shadow is longer radially by
// 1/cos(alpha), alpha = atan(b / SID): 1.00847 at 150 mm of 1150 (small-ball limit).
TEST(Render, BallOffTheCentralRayBecomesAnEllipse) {
  Scene scene;
  const double off = 150.0 * (1150.0 - 180.0) / 1150.0;
  scene.solids = {{Layer::kHead, sphere_mesh({off, 0, 0}, 14, 256)}};
  Beam beam = small_beam();
  beam.pixel_pitch.value = 0.25;
  beam.field_shift_mm = {150, 0};
  const Raster image = render(scene, beam, 2);
  double weight = 0, sx = 0, sy = 0, sxx = 0, syy = 0;
  for (int y = 0; y < image.height; ++y) {
    for (int x = 0; x < image.width; ++x) {
      const double dark = 1.0 - image.at(x, y);
      weight += dark, sx += dark * x, sy += dark * y;
      sxx += dark * x * x, syy += dark * y * y;
    }
  }
  const double var_x = sxx / weight - sx * sx / weight / weight;
  const double var_y = syy / weight - sy * sy / weight / weight;
  EXPECT_NEAR(std::sqrt(var_x / var_y), 1.00847, 1e-3);
}

// A strut moves on the film by its own depth's magnification.
TEST(Render, TextureHasParallax) {
  Beam beam = small_beam();
  const auto centre_x = [&](double depth) {
    Scene scene;
    scene.solids = {{Layer::kMuscle, box({-60, -60, -50}, {60, 60, 50})}};
    const Raster plain = render(scene, beam, 1);
    scene.struts = {{{20, -2, depth}, {20, 2, depth}, 0.6, 2.0}};
    const Raster image = render(scene, beam, 1);
    double weight = 0, sum = 0;
    for (int y = 0; y < image.height; ++y) {
      for (int x = 0; x < image.width; ++x) {
        const double extra = plain.at(x, y) - image.at(x, y);
        weight += extra, sum += extra * x;
      }
    }
    return sum / weight;
  };
  for (const double depth : {-20.0, 25.0}) {
    EXPECT_NEAR(centre_x(depth), beam.project({20, 0, depth}).x(), 0.02);
  }
}

}  // namespace
}  // namespace tidemark::phantom
