#include "tidemark/phantom/cavity.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>

#include "tidemark/phantom/film.h"

namespace tidemark::phantom {
namespace {

/// A right hip seen square from afar with one cavity in the cancellous bone of zone 1.
CaseSpec hip_with(const Cavity& cavity) {
  CaseOptions options;
  options.pixel_pitch.value = 0.4;
  CaseSpec spec = random_case(3, 1, options);
  spec.side = Side::kRight;
  spec.seat_tilt.value = 0.0;
  spec.femur.anteversion_deg = 2.0;  // the stem is set 2 degrees less
  for (FilmSpec& film : spec.films) {
    film.field = FieldOfView::kHip;
    film.pose = Pose{};
    film.motion = Motion{};
    film.beam.columns = 700;
    film.beam.rows = 840;
    film.beam.pixel_pitch.value = 0.4;
    film.beam.centre_mm = {-6, 62};
    film.beam.turn.value = 0.0;
    film.beam.source_to_detector.value = 1e4;  // farther off crossings lose their last digits
  }
  spec.films[1].cavities = {cavity};
  return spec;
}

Cavity in_zone_1() {
  Cavity cavity;
  cavity.zone = 1;
  cavity.level = 0.1;
  cavity.in_bone = 0.5;  // in cancellous bone all about
  cavity.half_axes_mm = {4.0, 5.0, 3.0};
  return cavity;
}

std::shared_ptr<const Model> parts_of(const CaseSpec& spec) {
  const auto model = build_model(spec, 2);
  if (!model) throw std::runtime_error(model.error().sentence());
  return *model;
}

double length_of(const Model& model, const CaseSpec& spec, std::size_t film, Material material,
                 const Vec2& px) {
  const Scene scene = make_scene(model, spec, spec.films[film]);
  return trace(scene, spec.films[film].beam, px)[static_cast<std::size_t>(material)];
}

// Through the middle of an ellipsoid with rays along z lies twice its half axis of soft tissue. The
// surface is a contour on a grid of 0.5 mm: its facets miss a sphere of 3 mm by 0.5^2 / (8 x 3).
TEST(Cavity, PutsSoftTissueOfItsChordInPlaceOfBone) {
  const CaseSpec spec = hip_with(in_zone_1());
  const auto model = parts_of(spec);
  const auto truth = simulate(*model, spec, spec.films[1], 2).truth;
  ASSERT_EQ(truth.cavities.size(), 1U);
  const Vec2 middle = truth.cavities[0].centre_px;
  const auto gained = [&](Material m) {
    return length_of(*model, spec, 1, m, middle) - length_of(*model, spec, 0, m, middle);
  };
  EXPECT_NEAR(gained(Material::kMuscle), 6.0, 0.15);
  EXPECT_NEAR(gained(Material::kMuscle),
              -gained(Material::kMarrow) - gained(Material::kCorticalBone), 0.1);
  EXPECT_LT(gained(Material::kCorticalBone), 0.0);
}

// Area of an ellipse; the chord of an ellipsoid is more than half of its greatest on three quarters
// of that (derived: sqrt(1 - r^2) > 1/2). Grid of the truth 0.25 mm; the cancellous bone thins a
// little from one end of the cavity to the other.
TEST(Cavity, TruthIsTheAreaOfAnEllipse) {
  const CaseSpec spec = hip_with(in_zone_1());
  const auto model = parts_of(spec);
  const CavityTruth truth = simulate(*model, spec, spec.films[1], 2).truth.cavities.at(0);
  const double ellipse = std::numbers::pi * 4.0 * 5.0;
  EXPECT_EQ(truth.zone, 1);
  EXPECT_NEAR(truth.area_mm2, ellipse, 0.05 * ellipse);
  EXPECT_NEAR(truth.half_area_mm2, 0.75 * ellipse, 0.05 * ellipse);
  EXPECT_GT(truth.depth, 0.0);
  EXPECT_GT(truth.depth_share, 0.0);
  EXPECT_LT(truth.depth_share, 1.0);
}

TEST(Cavity, TruthTellsWhatIsNewSinceTheFirstFilm) {
  CaseSpec spec = hip_with(in_zone_1());
  spec.films[0].cavities = spec.films[1].cavities;
  const auto model = parts_of(spec);
  EXPECT_TRUE(simulate(*model, spec, spec.films[1], 2).truth.cavities.empty());
  EXPECT_TRUE(simulate(*model, spec, spec.films[0], 2).truth.cavities.empty());
}

TEST(Cavity, ARimIsDenseBoneAboutIt) {
  Cavity cavity = in_zone_1();
  cavity.rim = Millimetres{0.8};
  const CaseSpec spec = hip_with(cavity);
  const auto model = parts_of(spec);
  CaseSpec bare = spec;
  bare.films[1].cavities[0].rim.reset();
  const Vec2 middle = simulate(*model, bare, bare.films[1], 2).truth.cavities.at(0).centre_px;
  const double more = length_of(*model, spec, 1, Material::kCorticalBone, middle) -
                      length_of(*model, bare, 1, Material::kCorticalBone, middle);
  EXPECT_GT(more, 1.0);  // twice 0.8 mm, less the cancellous bone that was there
  EXPECT_LT(more, 1.6);
}

// What docs/truth.md promises for the set "lysis", and that no other set has any of it.
TEST(Cavity, LysisGrowsInTwoHipsOfThree) {
  CaseOptions options;
  options.set = CaseSet::kLysis;
  options.follow_ups = 2;
  int with = 0, at_once = 0, rims = 0, moved = 0;
  for (int number = 1; number <= 300; ++number) {
    const CaseSpec hip = random_case(11, number, options);
    const auto& last = hip.films.back();
    EXPECT_EQ(last.cavities.empty(), number % 3 == 0);
    EXPECT_TRUE(std::all_of(hip.films.begin(), hip.films.end(),
                            [](const FilmSpec& film) { return film.gaps.empty(); }));
    EXPECT_LE(last.motion.subsidence.value, 2.0);
    moved += last.motion.subsidence.value > 0.0 ? 1 : 0;
    if (last.cavities.empty()) continue;
    ++with;
    at_once += hip.films[0].cavities[0].there() ? 1 : 0;
    rims += last.cavities[0].rim ? 1 : 0;
    for (std::size_t i = 1; i < hip.films.size(); ++i) {
      for (std::size_t k = 0; k < last.cavities.size(); ++k) {
        EXPECT_GT(hip.films[i].cavities[k].half_axes_mm.x(),
                  hip.films[i - 1].cavities[k].half_axes_mm.x());
      }
    }
  }
  EXPECT_EQ(with, 200);
  EXPECT_NEAR(at_once, 40, 34);  // 6 SD
  EXPECT_NEAR(rims, 100, 42);
  EXPECT_NEAR(moved, 150, 52);
  for (const CaseSet set : {CaseSet::kSeat, CaseSet::kStill, CaseSet::kHard, CaseSet::kLucency}) {
    options.set = set;
    for (int number = 1; number <= 20; ++number) {
      for (const FilmSpec& film : random_case(11, number, options).films) {
        EXPECT_TRUE(film.cavities.empty());
      }
    }
  }
}

}  // namespace
}  // namespace tidemark::phantom
