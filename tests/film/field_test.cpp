#include "tidemark/film/field.h"

#include <gtest/gtest.h>

#include <cmath>

namespace tidemark::film {
namespace {

// Films drawn from formulas: where each border lies is known exactly.

constexpr int kWidth = 960;
constexpr int kHeight = 800;
constexpr double kBlockPx = 3.0;  // kWidth / 320

/// Something to see everywhere: soft shades of 0 to 1 and a bright upright bar, as of a stem.
double shade(double x, double y) {
  const double bar = std::abs(x - 500.0) < 30.0 ? 1.2 : 0.0;
  return 0.5 + 0.3 * std::sin(x / 90.0) + 0.2 * std::cos(y / 70.0) + bar;
}

/// A film of `shade` where inside(x, y), of `outside` elsewhere.
template <class Inside>
FilmImage film_of(const Inside& inside, double outside) {
  FilmImage film;
  film.pixels = Raster(kWidth, kHeight);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      film.pixels.at(x, y) = static_cast<float>(inside(x, y) ? shade(x, y) : outside);
    }
  }
  film.stored_from_view.offset = Vec2(7.0, 11.0);
  return film;
}

const auto kAll = [](int, int) { return true; };

double left_at(const ExposedField& f, double y) {
  return f.left.point.x() + (y - f.left.point.y()) * f.left.direction.x() / f.left.direction.y();
}

TEST(ExposedField, AFilmWithoutBordersStaysAsItIs) {
  const FilmImage film = film_of(kAll, 0.0);
  EXPECT_FALSE(find_exposed_field(film.pixels));
  const FilmImage same = within_exposed_field(film);
  EXPECT_EQ(same.pixels.values, film.pixels.values);
  EXPECT_EQ(same.stored_from_view.offset, film.stored_from_view.offset);
}

// As exports pad films: the border is no edge along the greater part of the film's side.
TEST(ExposedField, LeavesOutMarginsThatTakeMostOfTheFilm) {
  for (const double margin : {0.0, 3.0}) {
    const auto film =
        film_of([](int x, int y) { return x >= 250 && x < 740 && y >= 200 && y < 670; }, margin);
    const auto field = find_exposed_field(film.pixels);
    ASSERT_TRUE(field) << margin;
    const FilmImage part = within_exposed_field(film);
    EXPECT_NEAR(part.pixels.width, 490, 20) << margin;
    EXPECT_NEAR(part.pixels.height, 470, 20) << margin;
    EXPECT_GE(part.stored_from_view.offset.x(), 7.0 + 250.0) << margin;
    EXPECT_GE(part.stored_from_view.offset.y(), 11.0 + 200.0) << margin;
  }
}

// An unsharp mask leaves a dark halo inside of a bright border, which falls outwards as a cortex
// does.
TEST(ExposedField, LeavesTheHaloOfABrightBorderOut) {
  FilmImage film = film_of([](int x, int) { return x > 120; }, 3.0);
  const auto sharp = find_exposed_field(film.pixels);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 121; x < kWidth; ++x) {
      film.pixels.at(x, y) -= static_cast<float>(3.5 * std::exp(-(x - 120.0) / 10.0));
    }
  }
  const auto haloed = find_exposed_field(film.pixels);
  ASSERT_TRUE(sharp && haloed);
  EXPECT_LT(left_at(*sharp, 400.0), 120.0 + 4.0 * kBlockPx) << "no halo, nothing more given away";
  EXPECT_GE(left_at(*haloed, 400.0), left_at(*sharp, 400.0) + kBlockPx);
  EXPECT_LT(left_at(*haloed, 400.0), 120.0 + 8.0 * kBlockPx) << "four blocks more at most";
}

TEST(ExposedField, FindsASlantingBrightBorderThroughWhichMetalRuns) {
  // 3 degrees, through (120, 400); and the lower side at y = 700, across the bar.
  const double slope = 0.0524;
  const auto film =
      film_of([&](int x, int y) { return x > 120.0 + slope * (y - 400.0) && y < 700; }, 2.0);
  const auto field = find_exposed_field(film.pixels);
  ASSERT_TRUE(field);
  for (const double y : {100.0, 400.0, 650.0}) {
    const double border = 120.0 + slope * (y - 400.0);
    EXPECT_GT(left_at(*field, y), border) << "not outside";
    EXPECT_LT(left_at(*field, y), border + 4.0 * kBlockPx) << "little is given away";
  }
  EXPECT_LT(field->bottom.point.y(), 700.0);
  EXPECT_GT(field->bottom.point.y(), 700.0 - 4.0 * kBlockPx);
  EXPECT_LT(field->top.point.y(), 0.0) << "the film's own side";
  EXPECT_GE(field->right.point.x(), kWidth - 1.0);
}

TEST(ExposedField, WhatIsLeftStandsWhereItStood) {
  const double slope = 0.0524;
  const auto film =
      film_of([&](int x, int y) { return x > 120.0 + slope * (y - 400.0) && y < 700; }, 2.0);
  const FilmImage cut = within_exposed_field(film);
  EXPECT_LT(cut.pixels.width, kWidth - 90);
  EXPECT_LT(cut.pixels.height, 700);
  const Affine2 film_from_cut = film.stored_from_view.inverse().after(cut.stored_from_view);
  float brightest_left = 0.0F;
  for (int y = 0; y < cut.pixels.height; y += 7) {
    for (int x = 0; x < cut.pixels.width; x += 5) {
      const Vec2 at = film_from_cut.apply(Vec2(x, y));
      const bool seen = at.x() > 120.0 + slope * (at.y() - 400.0) + 4.0 * kBlockPx;
      if (seen) {
        EXPECT_FLOAT_EQ(cut.pixels.at(x, y), static_cast<float>(shade(at.x(), at.y())));
      } else {
        brightest_left = std::max(brightest_left, cut.pixels.at(x, y));
      }
    }
  }
  EXPECT_LT(brightest_left, 1.1F) << "no lead is left in the corners";
}

// 2,000 x 2,400 px are 285 x 342 blocks of 7 px, with 5 px left over at the right and 6 below. The
// film is a mirror image of itself about the middle of the blocks, and so must its field be.
TEST(ExposedField, GivesAsMuchAwayOnAllSidesWhateverIsLeftOver) {
  const double across = 7.0 * 285.0;
  const double down = 7.0 * 342.0;
  FilmImage film;
  film.pixels = Raster(2000, 2400);
  for (int y = 0; y < 2400; ++y) {
    for (int x = 0; x < 2000; ++x) {
      const bool in = x >= 140 && x < across - 140.0 && y >= 210 && y < down - 210.0;
      const double right = x - 0.5 * (across - 1.0);
      const double below = y - 0.5 * (down - 1.0);
      const double seen = 0.5 + 0.3 * std::cos(right / 90.0) + 0.2 * std::cos(below / 70.0);
      film.pixels.at(x, y) = static_cast<float>(in ? seen : 2.0);
    }
  }
  const auto field = find_exposed_field(film.pixels);
  ASSERT_TRUE(field);
  const double left = field->left.point.x() - 139.5;
  const double top = field->top.point.y() - 209.5;
  EXPECT_GT(left, 0.0);
  EXPECT_GT(top, 0.0);
  EXPECT_NEAR(across - 140.5 - field->right.point.x(), left, 1.0);
  EXPECT_NEAR(down - 210.5 - field->bottom.point.y(), top, 1.0);
}

TEST(ExposedField, AirBeyondAStraightSkinIsNoBorder) {
  const auto film = film_of([](int x, int) { return x > 150; }, -1.0);
  EXPECT_FALSE(find_exposed_field(film.pixels));
}

TEST(ExposedField, ABlackBarBelowIsAMask) {
  const auto film = film_of([](int, int y) { return y < 640; }, -1.0);
  const FilmImage cut = within_exposed_field(film);
  EXPECT_EQ(cut.pixels.width, kWidth);
  EXPECT_NEAR(cut.pixels.height, 640, 4.0 * kBlockPx);
  for (const float v : cut.pixels.values) ASSERT_GT(v, -0.5F);
}

TEST(ExposedField, ABlackMaskAllAroundIsOne) {
  const auto film =
      film_of([](int x, int y) { return x > 60 && x < 900 && y > 45 && y < 740; }, -1.0);
  const FilmImage cut = within_exposed_field(film);
  EXPECT_NEAR(cut.pixels.width, 840, 8.0 * kBlockPx);
  EXPECT_NEAR(cut.pixels.height, 695, 8.0 * kBlockPx);
  for (const float v : cut.pixels.values) ASSERT_GT(v, -0.5F);
}

TEST(ExposedField, ABorderThatWouldLeaveHardlyAnythingIsSomethingElse) {
  const auto film =
      film_of([](int x, int y) { return x > 310 && x < 650 && y > 260 && y < 540; }, 2.0);
  EXPECT_FALSE(find_exposed_field(film.pixels));
}

}  // namespace
}  // namespace tidemark::film
