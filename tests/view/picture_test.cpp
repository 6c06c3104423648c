#include "tidemark/view/picture.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "tidemark/view/snap.h"

namespace tidemark::view {
namespace {

/// Bright right of an edge at `at` px, blurred; expected places are where it was put.
Raster edge_at(double at) {
  Raster film(200, 160);
  for (int y = 0; y < film.height; ++y) {
    for (int x = 0; x < film.width; ++x) {
      film.at(x, y) = static_cast<float>(std::erf((x - at) / (1.5 * std::sqrt(2.0))));
    }
  }
  return film;
}

TEST(Snap, FindsTheEdgeToAFractionOfAPixel) {
  for (const double at : {90.0, 90.3, 90.5, 90.8}) {
    const auto found = snapped(edge_at(at), {95.0, 80.0}, 12.0);
    ASSERT_TRUE(found);
    EXPECT_NEAR(found->x(), at, 0.1);
    EXPECT_NEAR(found->y(), 80.0, 1.0) << "along the edge it stays";
  }
}

TEST(Snap, RefusesWhereNothingStandsOut) {
  EXPECT_FALSE(snapped(edge_at(90.0), {150.0, 80.0}, 12.0));
  EXPECT_FALSE(snapped(edge_at(90.0), {2.0, 80.0}, 12.0)) << "at the border";
  EXPECT_FALSE(snapped(Raster(200, 160, 3.0F), {90.0, 80.0}, 12.0));
}

Raster ramp() {
  Raster film(1024, 600);
  for (int y = 0; y < film.height; ++y) {
    for (int x = 0; x < film.width; ++x) film.at(x, y) = static_cast<float>(x);
  }
  return film;
}

int grey(std::uint32_t pixel) { return static_cast<int>(pixel & 0xFFU); }

TEST(Picture, ShowsAPixelAtItsPlaceAtAnySize) {
  const Picture picture = picture_of(ramp());
  // The range is cut by half a percent at the dark end and 0.05 % at the bright one.
  const double dark = 0.005 * 1023;
  const double bright = 0.9995 * 1023;
  for (const double step : {0.25, 1.0, 2.0, 3.0}) {
    Affine2 film_from_screen;
    film_from_screen.linear *= step;
    film_from_screen.offset = Vec2(200.0, 100.0);
    const auto out = drawn({{&picture, film_from_screen}, {}, Mix::kFirst, 0.5, {}}, 200, 100, 2);
    const double x = 200.0 + step * 150.0;
    EXPECT_NEAR(grey(out.at(150, 50)), 255.0 * (x - dark) / (bright - dark), 2.0) << step;
  }
}

/// The middle of the greys above `ground`, px of the screen.
Vec2 centre_of(const RasterOf<std::uint32_t>& screen, int ground) {
  Vec2 sum = Vec2::Zero();
  double weight = 0.0;
  for (int y = 0; y < screen.height; ++y) {
    for (int x = 0; x < screen.width; ++x) {
      const double more = std::max(0, grey(screen.at(x, y)) - ground);
      sum += more * Vec2(x, y);
      weight += more;
    }
  }
  return sum / weight;
}

// A spot at a known place, drawn at sizes that take it from the film itself and from halves and
// quarters of it, upright and turned: half a film px too far is 0.25 px of the screen or more.
TEST(Picture, ShowsASpotAtItsPlaceToATenthOfAPixel) {
  const Vec2 spot(512.3, 301.7);
  constexpr double kSigma = 10.0;
  Raster film(1024, 600);
  for (int y = 0; y < film.height; ++y) {
    for (int x = 0; x < film.width; ++x) {
      const double away = (Vec2(x, y) - spot).squaredNorm() / (2.0 * kSigma * kSigma);
      film.at(x, y) = static_cast<float>(std::exp(-away));
    }
  }
  const Picture picture = picture_of(film);
  ASSERT_EQ(picture.levels.size(), 3U);
  for (const double step : {0.5, 1.0, 2.0, 3.0, 4.0}) {
    for (const double turn : {0.0, 0.4, 2.5}) {
      Affine2 film_from_screen;
      film_from_screen.linear = step * Rigid2{turn, Vec2::Zero()}.rotation();
      film_from_screen.offset = spot - film_from_screen.linear * Vec2(100.2, 79.6);
      const auto out = drawn({{&picture, film_from_screen}, {}, Mix::kFirst, 0.5, {}}, 200, 160, 1);
      const Vec2 seen = centre_of(out, 2);
      EXPECT_NEAR(seen.x(), 100.2, 0.1) << step << ", turned by " << turn;
      EXPECT_NEAR(seen.y(), 79.6, 0.1) << step << ", turned by " << turn;
    }
  }
}

TEST(Picture, MixesTwoFilms) {
  const Picture dark = picture_of(ramp());
  Affine2 left;   // near the dark end
  Affine2 right;  // near the bright end
  right.offset.x() = 900.0;
  left.offset.x() = 20.0;
  Scene scene{{&dark, left}, {&dark, right}, Mix::kEdge, 0.5, {}};
  const auto edge = drawn(scene, 40, 8, 1);
  EXPECT_LT(grey(edge.at(10, 4)), 30);
  EXPECT_GT(grey(edge.at(30, 4)), 220);
  scene.mix = Mix::kDifference;
  const std::uint32_t pixel = drawn(scene, 40, 8, 1).at(5, 4);
  EXPECT_GT((pixel >> 16U) & 0xFFU, 200U) << "the second alone is bright: orange";
  EXPECT_LT(grey(pixel), 30);
  scene.second = scene.first;
  const std::uint32_t same = drawn(scene, 40, 8, 1).at(5, 4);
  EXPECT_EQ((same >> 16U) & 0xFFU, same & 0xFFU) << "grey where they agree";
  scene.mix = Mix::kBlend;
  scene.second.film_from_screen = right;
  scene.share = 0.0;
  EXPECT_LT(grey(drawn(scene, 40, 8, 1).at(5, 4)), 30);
  scene.share = 1.0;
  EXPECT_GT(grey(drawn(scene, 40, 8, 1).at(5, 4)), 220);
}

TEST(Picture, IsBlackOutsideOfTheFilm) {
  const Picture picture = picture_of(ramp());
  Affine2 away;
  away.offset.x() = -500.0;
  EXPECT_EQ(drawn({{&picture, away}, {}, Mix::kFirst, 0.5, {}}, 100, 50, 1).at(50, 25),
            0xFF000000U);
}

}  // namespace
}  // namespace tidemark::view
