#include "../../modules/followup/src/unroll.h"

#include <gtest/gtest.h>

#include <cmath>

#include "lucency/invented_lines.h"

namespace tidemark::followup {
namespace {

using lucency::FilmLucency;
using lucency::Interface;

FilmLucency film_at(double entry_mm) {
  return lucency::invented::film(entry_mm, [](int, double) { return 1.0; });
}

double x_of(const Unrolled& unrolled, const FilmLucency& film, int zone, double y_px) {
  double best = 1e9;
  double x = 0.0;
  for (const UnrolledPoint& p : unrolled.points(film, Interface::kStemBone)) {
    const double off = std::abs(p.point->edge_px.y() - y_px);
    if (p.zone != zone || off >= best) continue;
    best = off;
    x = p.x;
  }
  return x;
}

TEST(Unrolled, ZonesStandInTheOrderOfTheirNumbers) {
  const FilmLucency film = film_at(0.0);
  const Unrolled unrolled({&film}, 100.0, 1100.0);
  const auto spans = unrolled.spans(film);
  ASSERT_EQ(spans.size(), 7U);
  for (std::size_t i = 0; i < spans.size(); ++i) {
    EXPECT_EQ(spans[i].zone, static_cast<int>(i) + 1);
    if (i == 0) continue;
    EXPECT_GE(spans[i].from, spans[i - 1].to - 1e-9);
  }
  EXPECT_NEAR(spans.front().from, 100.0, 1e-9);
  EXPECT_NEAR(spans.back().to, 1100.0, 1e-9);
  // derived: 120 + 10 + 120 mm on 1000 px less two gaps of 16 px
  EXPECT_NEAR(unrolled.px_per_mm(), 968.0 / 250.0, 1e-9);
}

// The stem of the second film stands 3 mm deeper in the bone: the same place of the stem (here by
// its y on the film, as invented_lines.h keeps the tip in place) stands at the same x.
TEST(Unrolled, FilmsShareThePlacesOfTheStem) {
  const FilmLucency before = film_at(0.0);
  const FilmLucency after = film_at(3.0);
  const Unrolled unrolled({&before, &after}, 0.0, 1000.0);
  for (const double y : {300.0, 600.0, 1000.0}) {
    const int lateral = y < 400.0 ? 1 : y < 800.0 ? 2 : 3;
    EXPECT_NEAR(x_of(unrolled, before, lateral, y), x_of(unrolled, after, lateral, y),
                0.6 * unrolled.px_per_mm());
    EXPECT_NEAR(x_of(unrolled, before, 8 - lateral, y), x_of(unrolled, after, 8 - lateral, y),
                0.6 * unrolled.px_per_mm());
  }
}

// A film whose grey is its column: the strip of the lateral flank must fall off by the distance
// from the metal's edge, that of the medial flank must rise.
TEST(Unrolled, StripHoldsThePixelsAcrossTheEdge) {
  HipFilm film;
  film.scale = {{0.1}, {0.0}, {0.0}};
  film.hip_view.pixels = Raster(400, 1400);
  for (int y = 0; y < 1400; ++y) {
    for (int x = 0; x < 400; ++x) film.hip_view.pixels.at(x, y) = static_cast<float>(x);
  }
  FilmLucency lines = film_at(0.0);
  for (auto& line : lines.lines) {
    for (auto& point : line.points) point.edge_px += Vec2(200.0, 0.0);  // the axis at x = 200
  }
  const Box box{0.0, 0.0, 1000.0, 145.0};  // ten rows a mm
  const Unrolled unrolled({&lines}, 0.0, 1000.0);
  const Tone tone{0.0, 400.0 * kBoneShare, 400.0};  // value / 400
  const Raster strip = straightened(film, tone, unrolled.points(lines, Interface::kStemBone), box);
  for (const double mm : {-2.0, 0.5, 5.0, 11.0}) {
    const int row = static_cast<int>(std::lround((kOutsideMm - mm) * 10.0 - 0.5));
    // derived: the edges stand at columns 150 and 250, 10 px a mm; half a row is 0.5 px
    EXPECT_NEAR(400.0 * static_cast<double>(strip.at(250, row)), 150.0 - 10.0 * mm, 0.51) << mm;
    EXPECT_NEAR(400.0 * static_cast<double>(strip.at(750, row)), 250.0 + 10.0 * mm, 0.51) << mm;
  }
}

}  // namespace
}  // namespace tidemark::followup
