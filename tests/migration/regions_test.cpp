#include "tidemark/migration/regions.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <ostream>
#include <string>

#include "migration/by_hand.h"

namespace tidemark::migration {
namespace {

using by_hand::kDegree;
using by_hand::Place;

constexpr double kPitch = 0.11;  // mm per px: two pixels of the film make one of the reduced film

/// A hip drawn as outlines: stem from the shoulder at (-12, -10) to the tip at (0, 125), lesser
/// trochanter at (24, 38), greater trochanter at (-26, -24); (medial, distal) mm of the stem.
struct Hip {
  Place place;
  by_hand::Film film;

  explicit Hip(const Place& at) : place(at) {
    by_hand::Anatomy a;
    a.shoulder = Vec2(-12.0, -10.0);
    a.tip = Vec2(0.0, 125.0);
    a.head_centre = Vec2(38.0, -30.0);
    a.lesser = Vec2(24.0, 38.0);
    a.greater = Vec2(-26.0, -24.0);
    film = by_hand::film(at, a);
    film.scale = {{kPitch}, {0.0}, {0.0}};
    rescale();
    draw_stem();
    draw_bone();
  }
  [[nodiscard]] Vec2 px(const Vec2& p) const { return place.film_from_frame().apply(p) / kPitch; }
  /// Reduced pixel nearest to a place of the anatomical frame.
  [[nodiscard]] Eigen::Vector2i reduced(const ReducedFilm& r, const Vec2& p) const {
    const Vec2 q = (place.film_from_frame().apply(p) - r.offset_mm) / r.mm_per_px;
    return {static_cast<int>(std::lround(q.x())), static_cast<int>(std::lround(q.y()))};
  }

 private:
  void rescale() {
    const double k = by_hand::kMmPerPx / kPitch;
    film.implant.reference_px *= k;
    film.implant.shoulder.px *= k;
    film.implant.tip.px *= k;
    film.implant.head.circle_px.centre *= k;
    film.implant.axis.line_px.point *= k;
    film.femur.shaft_axis->line_px.point *= k;
    film.femur.lesser_trochanter->px *= k;
    film.femur.greater_trochanter->px *= k;
  }
  void line(Polyline& to, const Vec2& a, const Vec2& b) const {
    const int n = static_cast<int>((b - a).norm() / 0.5);
    for (int i = 0; i < n; ++i) to.push_back(px(a + (b - a) * i / n));
  }
  void draw_stem() {
    Polyline& o = film.implant.outline_px;
    line(o, {-4.0, -16.0}, {-12.0, -10.0});
    line(o, {-12.0, -10.0}, {-4.0, 122.0});
    line(o, {-4.0, 122.0}, {4.0, 122.0});
    line(o, {4.0, 122.0}, {12.0, 10.0});
    line(o, {12.0, 10.0}, {20.0, -12.0});
    film.implant.metal = Mask(1200, 2000);
    for (double s = -10.0; s < 122.0; s += 0.05) {
      for (double x = -4.0; x <= 4.0; x += 0.05) mark({x, s});
    }
  }
  void mark(const Vec2& p) {
    const Vec2 q = px(p);
    film.implant.metal.at(static_cast<int>(std::lround(q.x())),
                          static_cast<int>(std::lround(q.y()))) = 255;
  }
  void draw_bone() {
    line(film.femur.lateral_cortex_px, {-17.0, 15.0}, {-17.0, 125.0});
    line(film.femur.medial_cortex_px, {15.0, 52.0}, {15.0, 125.0});
    for (double s = 2.0; s < 60.0; s += 0.5) {
      const double bulge = 8.0 * std::exp(-std::pow((s - 38.0) / 9.0, 2));
      film.femur.lesser_trochanter_outline_px.push_back(px({16.0 + bulge, s}));
    }
    for (double a = -100.0; a < 60.0; a += 1.5) {
      const Vec2 out(std::sin(a * kDegree), -std::cos(a * kDegree));
      film.femur.greater_trochanter_outline_px.push_back(px(Vec2(-20.0, -8.0) + 16.0 * out));
    }
  }
};

/// Hips lie upright and turned; the same pixels of bone vote.
const Place kPlaces[] = {{Vec2(60.0, 55.0), 0.0, 0.0}, {Vec2(70.0, 50.0), 5.0, 5.0}};

Raster blank_film() { return {1200, 2000}; }

double weight_at(const Raster& region, const Eigen::Vector2i& p) {
  return region.contains(p.x(), p.y()) ? static_cast<double>(region.at(p.x(), p.y())) : -1.0;
}

const Raster& feature(const Regions& r, const std::string& name) {
  const auto it = std::find_if(r.features.begin(), r.features.end(),
                               [&](const auto& f) { return f.name == name; });
  EXPECT_NE(it, r.features.end()) << name;
  return it->region;
}

double total(const Raster& r) {
  double sum = 0.0;
  for (const float v : r.values) sum += static_cast<double>(v);
  return sum;
}

// ---------------------------------------------------------------- reduced films

// Derived: the mean of whole blocks of a linear ramp is its value at the block's centre, and
// offset_mm says where that centre lies.
TEST(Reduce, PutsEveryPixelWhereOffsetSays) {
  Raster ramp(101, 75);
  for (int y = 0; y < ramp.height; ++y) {
    for (int x = 0; x < ramp.width; ++x) ramp.at(x, y) = static_cast<float>(3 * x - 2 * y);
  }
  for (const double pitch : {0.05, 0.07, 0.11, 0.14, 0.3}) {
    const ReducedFilm r = reduce(ramp, pitch);
    EXPECT_GT(r.mm_per_px, 0.14) << pitch;
    EXPECT_LT(r.mm_per_px, 0.34) << pitch;
    for (const Eigen::Vector2i& p : {Eigen::Vector2i(0, 0), Eigen::Vector2i(7, 4)}) {
      const Vec2 film_px = (r.mm_per_px * p.cast<double>() + r.offset_mm) / pitch;
      EXPECT_NEAR(r.pixels.at(p.x(), p.y()), 3.0 * film_px.x() - 2.0 * film_px.y(), 1e-3) << pitch;
    }
  }
}

TEST(ReducedFrames, LeadThereAndBack) {
  ReducedFilm a;
  a.offset_mm = Vec2(0.05, 0.05);
  ReducedFilm b;
  b.offset_mm = Vec2(0.11, 0.11);
  const Rigid2 full{0.07, Vec2(12.0, -5.0)};
  const Rigid2 there = to_reduced(full, a, b);
  const Rigid2 back = from_reduced(there, a, b);
  EXPECT_NEAR(back.angle_rad, full.angle_rad, 1e-15);
  EXPECT_LT((back.translation - full.translation).norm(), 1e-12);
  // The same point of the films, told in either pair of frames (derived: p_reduced = p - offset).
  const Vec2 p(33.0, 44.0);
  EXPECT_LT((there.apply(p - a.offset_mm) - (full.apply(p) - b.offset_mm)).norm(), 1e-12);
}

// ---------------------------------------------------------------- what may not vote

TEST(BoneExcluded, IsMetalAndThreeMillimetresAround) {
  Hip hip(kPlaces[0]);
  hip.film.implant.metal = Mask(1200, 2000);
  hip.film.implant.metal.at(501, 700) = 1;
  const ReducedFilm r = reduce(blank_film(), kPitch);
  const Mask out = bone_excluded(r, hip.film.measured());
  const Vec2 metal = Vec2(501.0, 700.0) * kPitch;
  int wrong = 0;
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      const double far = (r.mm_per_px * Vec2(x, y) + r.offset_mm - metal).cwiseAbs().maxCoeff();
      // A block is metal when any of its pixels is: half a block of slack.
      if (far < 3.0 - r.mm_per_px / 2.0 && out.at(x, y) == 0) ++wrong;
      if (far > 3.0 + r.mm_per_px && out.at(x, y) != 0) ++wrong;
    }
  }
  EXPECT_EQ(wrong, 0);
}

TEST(BoneExcluded, LeavesNoVoterWithinThreeMillimetresOfTheStem) {
  const Hip hip(kPlaces[1]);
  const ReducedFilm r = reduce(blank_film(), kPitch);
  const Mask out = bone_excluded(r, hip.film.measured());
  const Regions regions = find_regions(r, hip.film.measured());
  double kept = 0.0;
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      if (out.at(x, y) != 0 || regions.bone.at(x, y) == 0.0F) continue;
      const Vec2 p =
          hip.place.film_from_frame().inverse().apply(r.mm_per_px * Vec2(x, y) + r.offset_mm);
      kept += 1.0;
      // The metal was drawn as the strip |x| <= 4 mm from -10 to 122 mm.
      const double from_strip = std::hypot(std::max(0.0, std::abs(p.x()) - 4.0),
                                           std::max({0.0, -10.0 - p.y(), p.y() - 122.0}));
      ASSERT_GT(from_strip, 3.0 - r.mm_per_px) << p.transpose();
    }
  }
  EXPECT_GT(kept, 0.3 * total(regions.bone));  // enough bone is left to vote
}

// ---------------------------------------------------------------- who votes for what

struct PlaceRow {
  std::string name;
  Vec2 at;  ///< (medial, distal) mm
  std::string expected;
  friend void PrintTo(const PlaceRow& row, std::ostream* os) { *os << row.name; }
};

class FeatureTable : public testing::TestWithParam<PlaceRow> {};

// Source: derived from the drawing above and the names of anatomy.
TEST_P(FeatureTable, APlaceBelongsToItsFeature) {
  const PlaceRow& row = GetParam();
  for (const Place& place : kPlaces) {
    const Hip hip(place);
    const ReducedFilm r = reduce(blank_film(), kPitch);
    const Regions regions = find_regions(r, hip.film.measured());
    const Eigen::Vector2i p = hip.reduced(r, row.at);
    for (const auto& f : regions.features) {
      EXPECT_EQ(weight_at(f.region, p), f.name == row.expected ? 1.0 : 0.0)
          << f.name << " with the shaft at " << place.shaft_deg << " degrees";
    }
  }
}

INSTANTIATE_TEST_SUITE_P(
    Places, FeatureTable,
    testing::Values(PlaceRow{"TipOfTheGreaterTrochanter", {-26.0, -23.0}, kGreaterTrochanter},
                    PlaceRow{"LateralRimOfTheGreaterTrochanter", {-35.0, -6.0}, kGreaterTrochanter},
                    PlaceRow{"LesserTrochanter", {23.0, 38.0}, kLesserTrochanter},
                    PlaceRow{"UpperSlopeOfTheLesserTrochanter", {18.0, 28.0}, kLesserTrochanter},
                    PlaceRow{"Calcar", {16.0, 8.0}, kCalcar},
                    PlaceRow{"LateralMetaphysis", {-14.0, 25.0}, kMetaphysis},
                    PlaceRow{"LateralCortexOfTheShaft", {-15.0, 100.0}, kShaft},
                    PlaceRow{"MedialCortexOfTheShaft", {13.0, 100.0}, kShaft},
                    PlaceRow{"Ischium", {45.0, 30.0}, ""}, PlaceRow{"Cup", {38.0, -45.0}, ""},
                    PlaceRow{"NeckOfTheStem", {18.0, -14.0}, ""},
                    PlaceRow{"SoftTissueLaterally", {-60.0, 60.0}, ""},
                    PlaceRow{"AboveTheGreaterTrochanter", {-26.0, -34.0}, ""}),
    [](const auto& row) { return row.param.name; });

TEST(Regions, APixelVotesForOneFeatureAtMost) {
  for (const Place& place : kPlaces) {
    const Hip hip(place);
    const Regions regions = find_regions(reduce(blank_film(), kPitch), hip.film.measured());
    double sum = 0.0;
    for (std::size_t i = 0; i < regions.bone.values.size(); ++i) {
      float votes = 0.0F;
      for (const auto& f : regions.features) votes += f.region.values[i];
      ASSERT_LE(votes, 1.0F);
      ASSERT_LE(votes, regions.bone.values[i]);  // and only bone votes
      sum += static_cast<double>(votes);
    }
    EXPECT_GT(sum, 0.5 * total(regions.bone));
  }
}

TEST(Regions, StemIsABandAlongTheBodyWithoutTheNeck) {
  for (const Place& place : kPlaces) {
    const Hip hip(place);
    const ReducedFilm r = reduce(blank_film(), kPitch);
    const Regions regions = find_regions(r, hip.film.measured());
    const auto at = [&](double x, double s) {
      return weight_at(regions.stem, hip.reduced(r, Vec2(x, s)));
    };
    EXPECT_EQ(at(-11.0, -9.0), 1.0);  // shoulder
    EXPECT_EQ(at(-8.0, 56.0), 1.0);   // lateral flank, straight from (-12, -10) to (-4, 122)
    EXPECT_EQ(at(0.0, 122.5), 1.0);   // tip
    EXPECT_EQ(at(0.0, 50.0), 0.0);    // inside
    EXPECT_EQ(at(-20.0, 50.0), 0.0);  // bone
    EXPECT_EQ(at(16.0, -1.0), 0.0);   // neck, medial: at another depth
  }
}

TEST(Regions, AFeatureWhoseLandmarkWasNotSeenIsLeftOut) {
  Hip hip(kPlaces[0]);
  hip.film.femur.lesser_trochanter.reset();
  hip.film.femur.lesser_trochanter_outline_px.clear();
  const ReducedFilm r = reduce(blank_film(), kPitch);
  Regions regions = find_regions(r, hip.film.measured());
  EXPECT_EQ(total(feature(regions, kLesserTrochanter)), 0.0);
  EXPECT_GT(total(feature(regions, kGreaterTrochanter)), 0.0);
  EXPECT_GT(total(feature(regions, kShaft)), 0.0);

  hip.film.femur.greater_trochanter.reset();
  hip.film.femur.greater_trochanter_outline_px.clear();
  regions = find_regions(r, hip.film.measured());
  EXPECT_EQ(total(feature(regions, kGreaterTrochanter)), 0.0);
  EXPECT_GT(total(feature(regions, kMetaphysis)), 0.0);
}

// ---------------------------------------------------------------- start of the search

TEST(RoughAlignment, CarriesReferencePointAndAxisOver) {
  const Place first{Vec2(60.0, 55.0), 2.0, 1.0};
  const Place then{Vec2(85.0, 40.0), -3.0, -5.0};
  const auto a = by_hand::film(first);
  const auto b = by_hand::film(then);
  const Rigid2 start = rough_alignment(a.measured(), b.measured());
  const Vec2 at = by_hand::kMmPerPx * a.implant.reference_px;
  EXPECT_LT((start.apply(at) - by_hand::kMmPerPx * b.implant.reference_px).norm(), 1e-9);
  const Vec2 axis = start.rotation() * a.implant.axis.line_px.direction;
  EXPECT_LT((axis - b.implant.axis.line_px.direction).norm(), 1e-9);
}

}  // namespace
}  // namespace tidemark::migration
