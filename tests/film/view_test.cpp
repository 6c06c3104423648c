#include <gtest/gtest.h>

#include <algorithm>

#include "film/dicom_bytes.h"
#include "tidemark/film/film.h"

namespace tidemark::film {
namespace {

FilmImage some_film() {
  FilmImage film;
  film.pixels = Raster(5, 3);
  for (int y = 0; y < 3; ++y) {
    for (int x = 0; x < 5; ++x) film.pixels.at(x, y) = static_cast<float>(10 * y + x);
  }
  film.stored_from_view.linear << 0.0, 1.0, -2.0, 0.0;
  film.stored_from_view.offset = Vec2(1.0, 8.0);
  return film;
}

TEST(AsRightHip, RightIsUnchanged) {
  const FilmImage film = some_film();
  const FilmImage hip = as_right_hip(film, Side::kRight);
  EXPECT_EQ(hip.pixels.values, film.pixels.values);
  EXPECT_EQ(hip.stored_from_view.linear, film.stored_from_view.linear);
}

TEST(AsRightHip, LeftIsMirroredAndStillPointsAtTheSameStoredPixels) {
  const FilmImage film = some_film();
  const FilmImage hip = as_right_hip(film, Side::kLeft);
  for (int y = 0; y < 3; ++y) {
    for (int x = 0; x < 5; ++x) {
      EXPECT_EQ(hip.pixels.at(x, y), film.pixels.at(4 - x, y));
      EXPECT_EQ(hip.stored_from_view.apply(Vec2(x, y)),
                film.stored_from_view.apply(Vec2(4 - x, y)));
    }
  }
}

TEST(AsRightHip, TwiceIsTheFilmItself) {
  const FilmImage film = some_film();
  const FilmImage again = as_right_hip(as_right_hip(film, Side::kLeft), Side::kLeft);
  EXPECT_EQ(again.pixels.values, film.pixels.values);
  EXPECT_EQ(again.stored_from_view.linear, film.stored_from_view.linear);
  EXPECT_EQ(again.stored_from_view.offset, film.stored_from_view.offset);
}

TEST(Inverted, TurnsGreysOverAndNothingElse) {
  const FilmImage film = some_film();
  const FilmImage other = inverted(film);
  const auto& greys = film.pixels.values;
  const float low = *std::min_element(greys.begin(), greys.end());
  const float high = *std::max_element(greys.begin(), greys.end());
  for (std::size_t i = 0; i < film.pixels.values.size(); ++i) {
    // Between the ends of the film: its darkest grey is its brightest then.
    EXPECT_EQ(other.pixels.values[i], low + high - film.pixels.values[i]);
  }
  EXPECT_EQ(other.stored_from_view.linear, film.stored_from_view.linear);
}

}  // namespace
}  // namespace tidemark::film
