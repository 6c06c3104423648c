#include "tidemark/lucency/lysis.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

#include "lucency/invented_lines.h"

namespace tidemark::lucency {
namespace {

using testing::HasSubstr;

constexpr double kPxPerMm = 5.0;
constexpr int kWidth = 400;
constexpr int kHeight = 720;
constexpr double kAxisX = 200.0;
constexpr double kEntryY = 50.0;
constexpr double kStemMm = 120.0;  ///< from the entry level to the tip
constexpr double kOuterMm = 16.0;  ///< radius of the bone
constexpr double kInnerMm = 8.5;   ///< of its canal
constexpr double kHalfStemMm = 6.0;
constexpr double kSoft = 20.0;  ///< grey of soft tissue
constexpr double kBone = 3.0;   ///< grey of 1 mm of bone

/// A hole in the projected bone: an ellipse about (level, across), mm.
struct Hole {
  double level = 60.0;
  double across = 11.5;
  double half_level = 4.0;
  double half_across = 3.0;
  double depth = 20.0;  ///< grey
  /// How deep it is at a part of the way to its border, as a share of the depth.
  std::function<double(double)> shape = [](double) { return 1.0; };
};

/// How a film was made.
struct Room {
  unsigned seed = 7;
  double noise = 1.5;
  double halo = 0.0;  ///< dark overshoot beside the metal, share of the step to it
  double halo_mm = 1.5;
  double gain = 1.0;
  double offset = 0.0;
  double shift_mm = 0.0;  ///< of the stem, distally, against the bone
  std::vector<Hole> holes;
};

double chord(double radius, double x) {
  return std::abs(x) < radius ? 2.0 * std::sqrt(radius * radius - x * x) : 0.0;
}

/// Grey of a place, mm: bone as a tube with waves of texture, holes taken out, metal on top.
double grey_at(const Room& room, double x, double y) {
  double grey = kSoft + kBone * (chord(kOuterMm, x) - 0.85 * chord(kInnerMm, x));
  if (std::abs(x) < kOuterMm) grey += 2.0 * std::sin(0.9 * y + x) * std::cos(1.3 * x - 0.4 * y);
  for (const Hole& hole : room.holes) {
    const double part =
        std::hypot((y - hole.level) / hole.half_level, (x - hole.across) / hole.half_across);
    if (part < 1.0) grey -= hole.depth * hole.shape(part);
  }
  const double out = std::abs(x) - kHalfStemMm;
  const bool beside = y < kStemMm + room.shift_mm;
  if (beside && out > 0.0) grey -= 200.0 * room.halo * std::exp(-out / room.halo_mm);
  if (beside && out < 0.0) grey = 300.0;
  return room.offset + room.gain * grey;
}

film::FilmImage film_of(const Room& room) {
  film::FilmImage out;
  out.pixels = Raster(kWidth, kHeight);
  std::mt19937 generator(room.seed);
  std::normal_distribution<double> normal(0.0, 1.0);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      double sum = 0.0;  // nine rays: blur of about 0.2 mm
      for (int k = 0; k < 9; ++k) {
        const int down = k / 3 - 1;
        const int right = k % 3 - 1;
        sum += grey_at(room, (x - kAxisX) / kPxPerMm + 0.2 * right,
                       (y - kEntryY) / kPxPerMm + 0.2 * down) /
               9.0;
      }
      out.pixels.at(x, y) = static_cast<float>(sum + room.gain * room.noise * normal(generator));
    }
  }
  return out;
}

ZonePlan plan_of() {
  ZonePlan out = invented::plan(0.0);
  const auto carry = [&](Vec2& p) {
    // invented::plan: 10 px a mm about x = 0, half width 5 mm.
    p = Vec2(kAxisX + p.x() / 50.0 * kHalfStemMm * kPxPerMm, kEntryY + p.y() / 10.0 * kPxPerMm);
  };
  carry(out.axis_px.point);
  for (auto& zone : out.zones) {
    std::for_each(zone.interface_px.begin(), zone.interface_px.end(), carry);
  }
  return out;
}

anatomy::Implant implant_of(const Room& room) {
  anatomy::Implant out;
  out.metal = Mask(kWidth, kHeight);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      const bool stem = std::abs(x - kAxisX) <= kHalfStemMm * kPxPerMm &&
                        (y - kEntryY) / kPxPerMm < kStemMm + room.shift_mm;
      out.metal.at(x, y) = stem ? 1 : 0;
    }
  }
  return out;
}

anatomy::Femur femur_of() {
  anatomy::Femur out;
  for (int y = 0; y < kHeight; y += 10) {
    out.lateral_cortex_px.emplace_back(kAxisX - kOuterMm * kPxPerMm, y);
    out.medial_cortex_px.emplace_back(kAxisX + kOuterMm * kPxPerMm, y);
  }
  return out;
}

std::vector<ZoneLysis> compared(const Room& then, const Room& now,
                                const anatomy::Femur& femur = femur_of()) {
  const film::FilmImage a = film_of(then);
  const film::FilmImage b = film_of(now);
  const anatomy::Implant stem_a = implant_of(then);
  const anatomy::Implant stem_b = implant_of(now);
  const ZonePlan plan = plan_of();
  const MillimetresPerPixel scale{1.0 / kPxPerMm};
  return compare_lysis({a, stem_a, femur, plan, scale}, {b, stem_b, femur, plan, scale}, {});
}

const ZoneLysis& zone(const std::vector<ZoneLysis>& all, int number) {
  return *std::find_if(all.begin(), all.end(),
                       [&](const ZoneLysis& one) { return one.zone == number; });
}

Room with(Hole hole, Room room = {.seed = 8, .holes = {}}) {
  room.holes.push_back(std::move(hole));
  return room;
}

// Area of an ellipse with steep walls, exact. Cells of 0.5 mm and a smoothing of 0.6 mm on a curved
// border of radius 3 to 4 mm: 3 %.
TEST(Lysis, AreaOfASteepHoleIsThatOfItsEllipse) {
  for (const double half : {3.0, 4.0, 6.0}) {
    const Hole hole{.half_level = half};
    const auto found = compared({}, with(hole));
    const ZoneLysis& six = zone(found, 6);
    ASSERT_EQ(six.state, State::kPresent) << six.reason;
    const double truth = std::numbers::pi * half * 3.0;
    EXPECT_NEAR(six.area->value.value, truth, std::max(six.area->u95.value, 0.03 * truth));
    EXPECT_NEAR(six.area->value.value, truth, 0.1 * truth);
    EXPECT_LT(six.area->u95.value, 0.45 * truth);
    EXPECT_NEAR(six.middle_px->x(), kAxisX + 11.5 * kPxPerMm, 2.0);
    EXPECT_NEAR(six.middle_px->y(), kEntryY + 60.0 * kPxPerMm, 2.0);
    for (const int other : {1, 2, 3, 5, 7}) {
      EXPECT_EQ(zone(found, other).state, State::kAbsent) << other << zone(found, other).reason;
    }
  }
}

// An ellipsoid is darker by half of its depth on three quarters of its shadow (derived).
TEST(Lysis, AreaOfAnEllipsoidIsThreeQuartersOfItsShadow) {
  const Hole hole{.half_level = 6.0, .half_across = 3.6, .depth = 30.0, .shape = [](double part) {
                    return std::sqrt(1.0 - part * part);
                  }};
  const auto found = compared({}, with(hole));
  ASSERT_EQ(zone(found, 6).state, State::kPresent) << zone(found, 6).reason;
  const double truth = 0.75 * std::numbers::pi * 6.0 * 3.6;
  EXPECT_NEAR(zone(found, 6).area->value.value, truth, zone(found, 6).area->u95.value);
  EXPECT_NEAR(zone(found, 6).area->value.value, truth, 0.15 * truth);
}

// Depth in units of the step from soft tissue to bone: known greys of the drawing, median of the
// bone beside the stem.
TEST(Lysis, DepthIsAShareOfTheBonesStep) {
  std::vector<double> bone;
  const auto steps = static_cast<int>((kOuterMm - 1.5 - kHalfStemMm - 1.2) / 0.1);
  for (int i = 0; i <= steps; ++i) {
    const double x = kHalfStemMm + 1.2 + 0.1 * i;
    bone.push_back(kBone * (chord(kOuterMm, x) - 0.85 * chord(kInnerMm, x)));
  }
  std::nth_element(bone.begin(), bone.begin() + std::ssize(bone) / 2, bone.end());
  const double truth = 20.0 / bone[bone.size() / 2];
  const auto found = compared({}, with({}));
  ASSERT_EQ(zone(found, 6).state, State::kPresent);
  EXPECT_NEAR(zone(found, 6).depth->value, truth, zone(found, 6).depth->u95);
  EXPECT_NEAR(zone(found, 6).depth->value, truth, 0.1 * truth);
}

TEST(Lysis, AnotherNoiseHaloAndGainAreNoLoss) {
  for (const Room& now : {Room{.seed = 8, .holes = {}}, Room{.seed = 9, .halo = 0.15, .holes = {}},
                          Room{.seed = 9, .halo = 0.3, .halo_mm = 3.0, .holes = {}},
                          Room{.seed = 10, .gain = 0.6, .offset = 40.0, .holes = {}},
                          Room{.seed = 11, .noise = 3.0, .halo = 0.1, .gain = 1.7, .holes = {}}}) {
    for (const ZoneLysis& one : compared({}, now)) {
      if (one.zone == 4) continue;
      EXPECT_EQ(one.state, State::kAbsent)
          << "zone " << one.zone << " seed " << now.seed << ": " << one.reason;
    }
  }
}

TEST(Lysis, IsFoundUnderAnotherHaloAndGain) {
  const Room other{.seed = 12, .halo = 0.1, .gain = 0.6, .offset = 40.0, .holes = {}};
  const ZoneLysis found = zone(compared({}, with({.across = -11.5}, other)), 2);
  ASSERT_EQ(found.state, State::kPresent) << found.reason;
  const double truth = std::numbers::pi * 4.0 * 3.0;
  EXPECT_NEAR(found.area->value.value, truth, found.area->u95.value);
}

TEST(Lysis, WhatWasThereBeforeIsNotNew) {
  const Room then = with({}, {.holes = {}});
  EXPECT_EQ(zone(compared(then, with({})), 6).state, State::kAbsent);
}

TEST(Lysis, ALineBesideTheMetalIsNone) {
  const Hole line{.across = 7.25, .half_level = 30.0, .half_across = 1.25};
  EXPECT_NE(zone(compared({}, with(line)), 6).state, State::kPresent);
  // A long band, wide enough for the disc.
  const Hole band{.across = 10.5, .half_level = 30.0, .half_across = 3.0};
  EXPECT_NE(zone(compared({}, with(band)), 6).state, State::kPresent);
}

TEST(Lysis, ASmallOneIsNotBelieved) {
  EXPECT_NE(zone(compared({}, with({.half_level = 2.0, .half_across = 2.0})), 6).state,
            State::kPresent);
}

TEST(Lysis, BoneThatThinsWithoutABorderIsNone) {
  const Hole cone{.half_level = 18.0, .half_across = 9.0, .depth = 25.0, .shape = [](double part) {
                    return std::pow(1.0 - part, 2.0);
                  }};
  EXPECT_NE(zone(compared({}, with(cone)), 6).state, State::kPresent);
}

TEST(Lysis, BrighterElsewhereInTheZoneLeavesItOpen) {
  Room now = with({.level = 52.0, .depth = 30.0});
  ASSERT_EQ(zone(compared({}, now), 6).state, State::kPresent);
  now.holes.push_back({.level = 68.0, .depth = -30.0});
  const ZoneLysis found = zone(compared({}, now), 6);
  EXPECT_EQ(found.state, State::kCannotTell);
  EXPECT_THAT(found.reason, HasSubstr("otherwise on both films"));
}

TEST(Lysis, AStemThatMovedIsNoLoss) {
  const auto found = compared({}, {.seed = 13, .shift_mm = 4.0, .holes = {}});
  ASSERT_EQ(found.size(), 7U);
  int told = 0;
  for (const ZoneLysis& one : found) {
    EXPECT_NE(one.state, State::kPresent) << one.zone;
    told += one.state == State::kAbsent ? 1 : 0;
  }
  EXPECT_GE(told, 3) << "what is left open proves nothing";
}

TEST(Lysis, ZonesWithoutBoneAreNotSeen) {
  anatomy::Femur femur = femur_of();
  femur.medial_cortex_px.clear();
  const auto found = compared({}, with({}), femur);
  EXPECT_EQ(zone(found, 6).state, State::kNotSeen);
  EXPECT_FALSE(zone(found, 6).reason.empty());
  EXPECT_EQ(zone(found, 2).state, State::kAbsent) << zone(found, 2).reason;
  EXPECT_EQ(zone(found, 4).state, State::kCannotTell);
}

}  // namespace
}  // namespace tidemark::lucency
