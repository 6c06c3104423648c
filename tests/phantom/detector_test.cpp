// What makes a simulated film hard, against closed forms: blur, noise, scatter, processing.

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "tidemark/phantom/film.h"

namespace tidemark::phantom {
namespace {

/// No scatter, and so many quanta that nothing of them is seen.
FilmSpec clean_film(double pitch_mm) {
  FilmSpec film;
  film.beam.pixel_pitch.value = pitch_mm;
  film.exposure = {1e15, 0.0, {0.0}, {0.0}};
  return film;
}

/// 0.02 left of the border between two columns, 0.01 right of it.
Raster half_plane(int width, int height) {
  Raster image(width, height, 0.01F);
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width / 2; ++x) image.at(x, y) = 0.02F;
  }
  return image;
}

double normal_share(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

// The edge spread function of Gaussian blurs is erf with the sum of their variances. A focal spot
// of width f throws a shadow of width f (M - 1), of standard deviation that over root 12; M = 1150
// / 970. Both in mm, so that a finer pitch makes the edge wider in px (derived).
TEST(Expose, AnEdgeIsAsWideAsFocalSpotAndDetectorMakeIt) {
  for (const double pitch : {0.02, 0.05}) {
    FilmSpec film = clean_film(pitch);
    film.exposure.focal_spot.value = 1.2;
    film.exposure.detector_blur.value = 0.1;
    const Raster signal = expose(half_plane(200, 32), film, 2);
    const double focal = 1.2 * (1150.0 / 970.0 - 1.0) / std::sqrt(12.0);
    const double spread_px = std::hypot(focal, 0.1) / pitch;
    for (int x = 60; x < 140; x += 3) {
      const double bright = normal_share((99.5 - x) / spread_px);
      EXPECT_NEAR(signal.at(x, 16), 0.01 + 0.01 * bright, 1e-4) << pitch << " mm, column " << x;
    }
  }
}

// White noise of standard deviation s, smoothed by a Gaussian of w px: s / (2 sqrt(pi) w) (derived:
// the integral of the square of a Gaussian in the plane).
TEST(Expose, TheDetectorsBlurSmoothsTheNoiseOfQuanta) {
  FilmSpec film = clean_film(0.14);
  film.exposure.quanta_per_pixel = 1600.0;
  film.exposure.detector_blur.value = 0.28;  // 2 px
  const Raster signal = expose(Raster(400, 400, 0.01F), film, 2);
  double sum = 0.0;
  double squares = 0.0;
  int n = 0;
  for (int y = 10; y < 390; ++y) {
    for (int x = 10; x < 390; ++x, ++n) {
      const double v = signal.at(x, y) / 0.01 - 1.0;
      sum += v;
      squares += v * v;
    }
  }
  const double expected = 0.025 / (2.0 * std::sqrt(std::numbers::pi) * 2.0);
  // Some 25 px share one deviate, so that 144,400 px are 5,700 of their own: 4 of 0.9 %.
  EXPECT_NEAR(std::sqrt(squares / n - sum / n * sum / n), expected, 0.04 * expected);
}

// Behind a slab without end as much is scattered as the ratio says, whatever the pitch.
TEST(Expose, ScatterOverPrimaryIsTheStatedRatio) {
  for (const double pitch : {0.2, 0.6}) {
    FilmSpec film = clean_film(pitch);
    film.exposure.scatter_to_primary = 0.4;
    const Raster signal = expose(Raster(320, 320, 0.01F), film, 2);
    EXPECT_NEAR(signal.at(160, 160), 0.014, 1e-5) << pitch;
  }
}

/// Two halves of depths (log exposure) 2.0 and 2.6, developed on a straight curve.
RasterOf<std::uint16_t> developed_step(const FilmSpec& film, int width) {
  Raster signal(width, 16, static_cast<float>(std::exp(-2.0)));
  for (int y = 0; y < 16; ++y) {
    for (int x = width / 2; x < width; ++x) signal.at(x, y) = static_cast<float>(std::exp(-2.6));
  }
  return develop(signal, film, 2);
}

/// A straight curve on which nothing of the step is cut off.
FilmSpec straight_film(double pitch_mm) {
  FilmSpec film = clean_film(pitch_mm);
  film.processing.curve = GreyCurve::kLinear;
  film.processing.bits_stored = 14;
  film.processing.window_scale = 2.0;
  film.processing.latitude = 1.0;
  return film;
}

// Unsharp mask: gain times what the smoothed image leaves of the step, half of it at the border and
// 1 - Phi(1) = 0.1587 of it one radius away, whatever the pitch (derived).
TEST(Develop, EdgesOvershootByHalfTheGain) {
  for (const double pitch : {0.05, 0.1}) {
    FilmSpec film = straight_film(pitch);
    film.processing.edge_gain = 0.8;
    film.processing.edge_radius_mm = 2.0;
    const auto grey = developed_step(film, 800);
    const double low = grey.at(20, 8);
    const double high = grey.at(780, 8);
    const double step = high - low;
    ASSERT_GT(step, 1000.0);
    const double radius_px = 2.0 / pitch;
    for (const double away : {0.5, radius_px + 0.5}) {
      const double share = 0.8 * normal_share(-away / radius_px);
      const int off = static_cast<int>(away);
      EXPECT_NEAR((grey.at(400 + off, 8) - high) / step, share, 0.01) << pitch << ", " << away;
      EXPECT_NEAR((low - grey.at(399 - off, 8)) / step, share, 0.01) << pitch << ", " << away;
    }
  }
}

// Of structures that are wide against 20 mm the stated share of contrast is kept, at their edges
// all of it.
TEST(Develop, LatitudeKeepsItsShareOfWideStructures) {
  FilmSpec film = straight_film(0.5);
  const auto all = developed_step(film, 800);
  film.processing.latitude = 0.5;
  const auto half = developed_step(film, 800);
  const auto contrast = [](const RasterOf<std::uint16_t>& grey, int from_edge) {
    return static_cast<double>(grey.at(399 + from_edge, 8)) - grey.at(400 - from_edge, 8);
  };
  EXPECT_NEAR(contrast(half, 390) / contrast(all, 390), 0.5, 0.01);
  EXPECT_NEAR(contrast(half, 2) / contrast(all, 2), 1.0, 0.06);  // blocks of 8 px
}

}  // namespace
}  // namespace tidemark::phantom
