#include "tidemark/film/tone.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace tidemark::film {
namespace {

using testing::HasSubstr;

constexpr int kSide = 640;

/// Soft tissue in broad waves and, on a twelfth of the film, a bright bar beside a less bright one,
/// as metal lies in bone; every grey differs a little from the next.
FilmImage drawn() {
  FilmImage film;
  film.pixels = Raster(kSide, kSide);
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      const double soft = 0.3 + 0.15 * std::sin(0.006 * x) * std::cos(0.004 * y);
      const double fine = 1e-4 * ((31 * x + 17 * y) % 101);
      const bool bone = std::abs(x - 300) < 150;
      const bool metal = std::abs(x - 300) < 25;
      film.pixels.at(x, y) = static_cast<float>(soft + fine + (metal ? 0.3 : bone ? 0.15 : 0.0));
    }
  }
  return film;
}

template <class Curve>
FilmImage toned(const Curve& curve) {
  FilmImage film = drawn();
  for (float& v : film.pixels.values) v = static_cast<float>(curve(static_cast<double>(v)));
  return film;
}

/// A curve so steep that metal and bone both come to lie near 1.
double steep(double v) { return 1.0 / (1.0 + std::exp(-18.0 * (v - 0.3))); }

TEST(Tone, OfAFilmAsItWasTakenHasNoFault) {
  EXPECT_FALSE(fault_of_tone(drawn()));
  EXPECT_FALSE(tone_of(drawn().pixels).is_pressed());
  const FilmImage same = with_room_for_bright(drawn());
  EXPECT_EQ(same.pixels.values, drawn().pixels.values);
  EXPECT_TRUE(same.facts.notes.empty());
}

TEST(Tone, SteepCurvePressesBrightGreysAndSpreadingUndoesIt) {
  const FilmImage pressed = toned(steep);
  ASSERT_TRUE(tone_of(pressed.pixels).can_be_spread());
  const FilmImage spread = with_room_for_bright(pressed);
  ASSERT_EQ(spread.facts.notes.size(), 1U);
  // A monotone curve changes no rank: the same film without the curve, spread.
  const FilmImage plain = with_spread_greys(drawn());
  for (std::size_t i = 0; i < plain.pixels.values.size(); i += 997) {
    EXPECT_NEAR(spread.pixels.values[i], plain.pixels.values[i], 0.05) << i;
  }
  EXPECT_FALSE(tone_of(spread.pixels).is_pressed());
  EXPECT_TRUE(spread.greys_spread);
  EXPECT_FALSE(with_room_for_bright(drawn()).greys_spread);
  // What was done stays known where the film is not measured all the same, whatever its notes say.
  FilmImage in_other_words = as_right_hip(spread, Side::kLeft);
  in_other_words.facts.notes.clear();
  EXPECT_THAT(fault_of_tone(in_other_words).value_or(""), HasSubstr("pressed together"));
}

// A second look blames the tone of no film as taken; one whose bright greys have little room, but
// too much to be spread at once, it does.
TEST(Tone, SecondLookSpreadsAnyFilmOnce) {
  EXPECT_FALSE(asks_for_second_look(drawn()));
  const auto plain = spread_for_second_look(drawn());
  ASSERT_TRUE(plain.has_value());
  EXPECT_TRUE(plain->greys_spread);
  EXPECT_FALSE(fault_of_tone(*plain));
  EXPECT_EQ(plain->pixels.values, with_spread_greys(drawn()).pixels.values);
  EXPECT_FALSE(spread_for_second_look(*plain));
  const FilmImage tight = toned([](double v) { return 1.0 / (1.0 + std::exp(-9.0 * (v - 0.3))); });
  ASSERT_FALSE(tone_of(tight.pixels).is_pressed());
  EXPECT_TRUE(asks_for_second_look(tight));
  EXPECT_THAT(fault_of_tone(spread_for_second_look(tight).value()).value_or(""),
              HasSubstr("pressed together"));
}

/// Greys as the absorption itself: nothing, bone at some 7 % of metal, and metal.
FilmImage bare() {
  FilmImage film = drawn();
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      const double fine = 1e-4 * ((31 * x + 17 * y) % 101);
      const int off = std::abs(x - 300);
      film.pixels.at(x, y) = static_cast<float>(off < 25    ? 0.9 + fine
                                                : off < 150 ? 0.06 + fine
                                                            : 0.0);
    }
  }
  return film;
}

// By hand: the power 0.4 of 0.07 is 0.35, so bone has a third of metal's grey instead of a
// fifteenth.
TEST(Tone, DarkBoneIsDrawnApartForASecondLookAlone) {
  EXPECT_FALSE(dark_opened_for_second_look(drawn()));
  const auto opened = dark_opened_for_second_look(bare());
  ASSERT_TRUE(opened.has_value());
  EXPECT_TRUE(opened->greys_spread);
  EXPECT_EQ(opened->facts.notes.size(), 1U);
  EXPECT_FLOAT_EQ(opened->pixels.at(5, 5), 0.0F);
  EXPECT_NEAR(opened->pixels.at(400, 5), std::pow(0.07, 0.4), 0.02);
  EXPECT_NEAR(opened->pixels.at(300, 5), 1.0, 0.02);
  EXPECT_FALSE(dark_opened_for_second_look(*opened));
}

// By hand: bone lies at 0.8 of the range at most, metal at 1, which becomes three times 0.8.
TEST(Tone, MetalThatIsCutOffIsSetApartForASecondLookAlone) {
  const auto window = [](double v) { return std::min(v, 0.75); };
  FilmImage cut = toned(window);
  EXPECT_FALSE(cut_off_metal_set_apart_for_second_look(drawn(), 0.99));
  for (int y = 0; y < kSide; ++y) {
    for (int x = 275; x < 326; ++x) cut.pixels.at(x, y) = 0.75F;
  }
  const auto apart = cut_off_metal_set_apart_for_second_look(cut, 0.99);
  ASSERT_TRUE(apart.has_value());
  EXPECT_TRUE(apart->greys_spread);
  EXPECT_EQ(apart->facts.notes.size(), 1U);
  const float metal = apart->pixels.at(300, 5);
  float bone = 0.0F;
  for (int y = 0; y < kSide; ++y) bone = std::max(bone, apart->pixels.at(200, y));
  EXPECT_GT(metal, 2.4F * bone);
  EXPECT_FALSE(cut_off_metal_set_apart_for_second_look(*apart, 0.99));
  // Bone far below what is cut off stands apart as it is.
  const FilmImage far = toned([](double v) { return v > 0.45 ? 1.0 : 0.5 * v; });
  EXPECT_FALSE(cut_off_metal_set_apart_for_second_look(far, 0.99));
}

// By hand: the median lies at 0.3, metal at 0.7; what is below 0.62 keeps its distances, and metal
// comes to lie 3 * 0.4 above the median.
TEST(Tone, MetalHardlyBrighterThanBoneIsSetApartToo) {
  FilmImage film;
  film.pixels = Raster(kSide, kSide);
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      film.pixels.at(x, y) = x < 350 ? 0.3F : x < 450 ? 0.6F : 0.7F;
    }
  }
  const auto apart = metal_set_apart_for_second_look(film, 0.7F);
  ASSERT_TRUE(apart.has_value());
  EXPECT_TRUE(apart->greys_spread);
  EXPECT_NEAR(apart->pixels.at(400, 5) - apart->pixels.at(5, 5), 0.3, 1e-5);
  EXPECT_NEAR(apart->pixels.at(500, 5) - apart->pixels.at(5, 5), 3.0 * 0.4, 1e-5);
  EXPECT_FALSE(metal_set_apart_for_second_look(*apart, 0.7F));
  EXPECT_FALSE(metal_set_apart_for_second_look(film, 0.3F)) << "no brighter than the median";
  EXPECT_FALSE(metal_set_apart_for_second_look(film, 0.6F)) << "a quarter of the film is brighter";
}

TEST(Tone, WhatWasCutOffCannotBeSpread) {
  EXPECT_FALSE(spread_for_second_look(toned([](double v) { return std::min(v, 0.4); })));
  const FilmImage cut = toned([](double v) { return std::min(v, 0.4); });
  EXPECT_TRUE(tone_of(cut.pixels).is_pressed());
  EXPECT_FALSE(tone_of(cut.pixels).can_be_spread());
  EXPECT_EQ(with_room_for_bright(cut).pixels.values, cut.pixels.values);
  EXPECT_THAT(fault_of_tone(cut).value_or(""), HasSubstr("cut off"));
}

TEST(Tone, EveningOutRegionByRegionIsSeen) {
  // Only what varies within a few pixels is left.
  FilmImage film = drawn();
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      const int fine = (7 * (x / 4) + 13 * (y / 4)) % 32;
      film.pixels.at(x, y) = static_cast<float>(fine) / 32.0F + 0.2F * film.pixels.at(x, y);
    }
  }
  EXPECT_TRUE(tone_of(film.pixels).is_levelled());
  EXPECT_THAT(fault_of_tone(film).value_or(""), HasSubstr("region by region"));
}

TEST(Tone, SpreadGreysAreNormalScoresOfTheirRanks) {
  FilmImage film;
  film.pixels = Raster(1000, 100);
  for (int y = 0; y < 100; ++y) {
    for (int x = 0; x < 1000; ++x) film.pixels.at(x, y) = static_cast<float>(x * x);
  }
  const FilmImage out = with_spread_greys(film);
  // z(0.5) = 0, z(0.975) = 1.96, z(0.16) = -0.994 (tables); the sample is every 31st pixel.
  EXPECT_NEAR(out.pixels.at(500, 50), 0.0, 0.01);
  EXPECT_NEAR(out.pixels.at(975, 50), 1.96, 0.03);
  EXPECT_NEAR(out.pixels.at(160, 50), -0.994, 0.01);
}

}  // namespace
}  // namespace tidemark::film
