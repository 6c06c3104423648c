#include "tidemark/alignment/align.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <ostream>
#include <string>
#include <utility>

#include "alignment/scene.h"
#include "testdata.h"
#include "tidemark/film/film.h"

namespace tidemark::alignment {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
/// Middle of the scene in the films, mm.
const Rigid2 kSceneFromFixed{0.0, {-31.5, -54.0}};

struct Pair {
  FilmSetup fixed{};
  FilmSetup moving{.width = 450, .height = 760, .mm_per_px = 0.143, .seed = 2};
};

Raster limb(const FilmSetup& setup) { return rectangle(setup, 60, 360, 40, 680); }

/// Error of the region's centre (mm) and angle.
Eigen::Vector3d error_of(const Rigid2& truth, const Alignment& found) {
  const Vec2 shift =
      found.moving_from_fixed_mm.apply(found.centre_mm) - truth.apply(found.centre_mm);
  return {shift.x(), shift.y(), (found.moving_from_fixed_mm.angle_rad - truth.angle_rad) / kDegree};
}

Expected<Alignment> align_moved(const Pair& pair, const Rigid2& truth,
                                const AlignOptions& options = {}) {
  const Scene scene(7);
  const auto fixed =
      prepare(draw(scene, kSceneFromFixed, pair.fixed), pair.fixed.mm_per_px, {}, options);
  const auto moving = prepare(draw(scene, kSceneFromFixed.after(truth.inverse()), pair.moving),
                              pair.moving.mm_per_px, {}, options);
  if (!fixed) return tl::unexpected(fixed.error());
  if (!moving) return tl::unexpected(moving.error());
  return align(*fixed, limb(pair.fixed), *moving, {}, options);
}

struct MotionRow {
  std::string name;
  Rigid2 truth;

  friend void PrintTo(const MotionRow& row, std::ostream* os) { *os << row.name; }
};

class KnownMotion : public testing::TestWithParam<MotionRow> {};

// The films are drawn from a formula at two scales, so the truth is exact. Source: derived.
TEST_P(KnownMotion, IsFoundToFiveHundredthsOfAPixel) {
  const auto found = align_moved({}, GetParam().truth);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const Eigen::Vector3d error = error_of(GetParam().truth, *found);
  EXPECT_NEAR(error.x(), 0.0, 0.007);
  EXPECT_NEAR(error.y(), 0.0, 0.007);
  EXPECT_NEAR(error.z(), 0.0, 0.01);
  EXPECT_GT(found->agreement, 0.7);
  EXPECT_LT(found->runner_up, 0.8);
}

INSTANTIATE_TEST_SUITE_P(Table, KnownMotion,
                         testing::Values(MotionRow{"SubPixel", {0.0, {0.37, 0.81}}},
                                         MotionRow{"RightAndUp", {0.0, {2.1, -5.3}}},
                                         MotionRow{"ClockwiseAboutTheCorner",
                                                   {1.0 * kDegree, {0.4, 0.8}}},
                                         MotionRow{"Anticlockwise", {-2.5 * kDegree, {-3.1, 7.3}}},
                                         MotionRow{"NearTheEndOfTheSearch", {0.0, {-5.0, 11.0}}}),
                         [](const auto& row) { return row.param.name; });

/// Unsharp masking with a box of 2 r + 1 pixels: the halo that processing puts around edges.
Raster sharpened(const Raster& film, int r, float gain) {
  Raster out = film;
  for (int y = r; y < film.height - r; ++y) {
    for (int x = r; x < film.width - r; ++x) {
      float mean = 0.0F;
      for (int j = -r; j <= r; ++j) {
        for (int i = -r; i <= r; ++i) mean += film.at(x + i, y + j);
      }
      mean /= static_cast<float>((2 * r + 1) * (2 * r + 1));
      out.at(x, y) += gain * (film.at(x, y) - mean);
    }
  }
  return out;
}

struct ProcessingRow {
  std::string name;
  std::function<double(double, int, int)> look_up;
  double noise;
  float sharpening;
  double tolerance_mm;

  friend void PrintTo(const ProcessingRow& row, std::ostream* os) { *os << row.name; }
};

class DifferentProcessing : public testing::TestWithParam<ProcessingRow> {};

// One film is processed, the other not. A monotonic look-up table turns no gradient, so what is
// left is its curvature across an edge; the tolerance is 0.02 mm, with noise four times the
// uncertainty reported. Source: derived (the scene is a formula).
TEST_P(DifferentProcessing, MovesTheAnswerByLessThanTwentyMicrometres) {
  const Scene scene(7);
  const Rigid2 truth{0.8 * kDegree, {1.37, -2.81}};
  FilmSetup fixed_setup;
  FilmSetup moving_setup{.width = 450, .height = 760, .mm_per_px = 0.143, .seed = 2};
  fixed_setup.noise = moving_setup.noise = GetParam().noise;
  moving_setup.processing = GetParam().look_up;
  Raster film = draw(scene, kSceneFromFixed.after(truth.inverse()), moving_setup);
  if (GetParam().sharpening > 0.0F) film = sharpened(film, 7, GetParam().sharpening);
  const auto fixed = prepare(draw(scene, kSceneFromFixed, fixed_setup), 0.15, {}, {});
  const auto moving = prepare(film, 0.143, {}, {});
  ASSERT_TRUE(fixed.has_value() && moving.has_value());
  const auto found = align(*fixed, limb(fixed_setup), *moving, {}, {});
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const Eigen::Vector3d error = error_of(truth, *found);
  RecordProperty("error_x_um", static_cast<int>(1000.0 * error.x()));
  RecordProperty("error_y_um", static_cast<int>(1000.0 * error.y()));
  EXPECT_NEAR(error.x(), 0.0, GetParam().tolerance_mm);
  EXPECT_NEAR(error.y(), 0.0, GetParam().tolerance_mm);
  EXPECT_NEAR(error.z(), 0.0, 0.03);
}

double same(double v, int, int) { return v; }
double gamma_curve(double v, int, int) { return 1000.0 * std::pow(std::max(v, 0.0) / 1.5, 1.8); }
double sigmoid(double v, int, int) { return 4095.0 / (1.0 + std::exp(-4.0 * (v - 0.9))); }
double exposure_gradient(double v, int x, int y) { return v + 0.0008 * x - 0.0005 * y; }

INSTANTIATE_TEST_SUITE_P(
    Table, DifferentProcessing,
    testing::Values(ProcessingRow{"Gamma", gamma_curve, 0.0, 0.0F, 0.02},
                    ProcessingRow{"Sigmoid", sigmoid, 0.0, 0.0F, 0.02},
                    ProcessingRow{"ExposureGradient", exposure_gradient, 0.0, 0.0F, 0.02},
                    ProcessingRow{"EdgeEnhancement", same, 0.0, 1.0F, 0.02},
                    ProcessingRow{"Noise", same, 0.02, 0.0F, 0.02},
                    ProcessingRow{"NoiseAndSharpening", same, 0.02, 1.0F, 0.04}),
    [](const auto& row) { return row.param.name; });

// A bright rod is laid over both films; between them it has moved by (0.4, 3.0) mm against the
// limb. Left out with 3 mm around it, it must not pull. Source: derived.
TEST(Align, MetalThatMovedDoesNotPullTheBone) {
  const Scene scene(7);
  const Rigid2 truth{0.0, {0.8, -1.6}};
  const FilmSetup setup;
  const auto film_and_mask = [&](const Rigid2& scene_from_film, const Vec2& rod_mm) {
    Raster film = draw(scene, scene_from_film, setup);
    Mask mask(setup.width, setup.height);
    for (int y = 0; y < setup.height; ++y) {
      for (int x = 0; x < setup.width; ++x) {
        const Vec2 p = setup.mm_per_px * Vec2(x, y) - rod_mm;
        const double outside = std::max({std::abs(p.x()) - 5.0, p.y() - 30.0, -40.0 - p.y()});
        film.at(x, y) += static_cast<float>(1.5 * std::erfc(outside / 0.4));
        mask.at(x, y) = outside < 3.0 ? 1 : 0;
      }
    }
    return std::pair(film, mask);
  };
  const Vec2 rod(31.5, 40.0);
  const auto a = film_and_mask(kSceneFromFixed, rod);
  const auto b =
      film_and_mask(kSceneFromFixed.after(truth.inverse()), truth.apply(rod) + Vec2(0.4, 3.0));
  const auto fixed = prepare(a.first, setup.mm_per_px, a.second, {});
  const auto moving = prepare(b.first, setup.mm_per_px, b.second, {});
  const auto found = align(*fixed, limb(setup), *moving, {}, {});
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_LT(error_of(truth, *found).head<2>().norm(), 0.01);
}

TEST(Align, IsTheSameBitForBitOnOneAndTwoThreads) {
  AlignOptions one;
  AlignOptions two;
  two.threads = 2;
  const auto a = align_moved({}, {0.01, {1.0, 2.0}}, one);
  const auto b = align_moved({}, {0.01, {1.0, 2.0}}, two);
  ASSERT_TRUE(a.has_value() && b.has_value());
  EXPECT_EQ(a->moving_from_fixed_mm.angle_rad, b->moving_from_fixed_mm.angle_rad);
  EXPECT_EQ(a->moving_from_fixed_mm.translation, b->moving_from_fixed_mm.translation);
  EXPECT_EQ(a->covariance, b->covariance);
}

// One pixel a square of sigma votes on the finest level whatever the film's pitch, within what
// steps of sqrt 2 in distance allow. Source: derived.
TEST(Align, VotersStandAboutOneSigmaApart) {
  for (const double mm_per_px : {0.1, 0.15, 0.2, 0.215, 0.22, 0.25, 0.29}) {
    const FilmSetup setup{.width = static_cast<int>(60.0 / mm_per_px),
                          .height = static_cast<int>(100.0 / mm_per_px),
                          .mm_per_px = mm_per_px};
    const auto at = [&](double mm) { return static_cast<int>(mm / mm_per_px); };
    const auto film = prepare(draw(Scene(7), kSceneFromFixed, setup), mm_per_px, {}, {});
    ASSERT_TRUE(film) << film.error().sentence();
    const auto found =
        align(*film, rectangle(setup, at(15.0), at(45.0), at(20.0), at(80.0)), *film, {}, {});
    ASSERT_TRUE(found) << found.error().sentence();
    const double per_sigma = found->votes * 0.3 * 0.3 / (30.0 * 60.0);
    EXPECT_GT(per_sigma, 0.68) << mm_per_px;
    EXPECT_LT(per_sigma, 1.46) << mm_per_px;
  }
}

/// A fixed and a moving film of waves: broad ones that lie still, and fine ones, seen on the finest
/// level only, that moved by `fine_mm` along x.
std::pair<PreparedFilm, PreparedFilm> waves(double fine_mm) {
  const auto film = [](double moved_mm) {
    Raster out(400, 400);
    for (int y = 0; y < 400; ++y) {
      for (int x = 0; x < 400; ++x) {
        const Vec2 p = 0.15 * Vec2(x, y);
        const double broad = std::sin(p.x()) * std::sin(0.9 * p.y());
        const double fine = std::sin(7.0 * (p.x() - moved_mm)) * std::sin(6.1 * p.y());
        out.at(x, y) = static_cast<float>(broad + 1.5 * fine);
      }
    }
    return *prepare(out, 0.15, {}, {});
  };
  return {film(0.0), film(fine_mm)};
}

// Whoever believes the fine structures and whoever believes the broad ones end apart: the
// uncertainty has to hold both. Source: derived.
TEST(Align, WaysThatDisagreeWidenTheUncertainty) {
  const FilmSetup setup{.width = 400, .height = 400};
  const auto u_of = [&](double fine_mm) {
    const auto films = waves(fine_mm);
    AlignOptions near;
    near.search_across_mm = near.search_along_mm = 1.0;
    const auto found =
        align(films.first, rectangle(setup, 40, 360, 40, 360), films.second, {}, near);
    EXPECT_TRUE(found.has_value());
    return std::pair(std::abs(found->moving_from_fixed_mm.translation.x()),
                     std::sqrt(found->covariance(0, 0)));
  };
  const auto [still, u_still] = u_of(0.0);
  const auto [moved, u_moved] = u_of(0.2);
  EXPECT_LT(still, 0.001);
  EXPECT_LT(u_still, 0.01);
  ASSERT_GT(moved, 0.05);            // the fine ones carry it along
  EXPECT_GT(u_moved, 0.45 * moved);  // broad ones: 0
}

TEST(Align, RefusesInOneSentence) {
  const FilmSetup setup;
  const auto film = prepare(draw(Scene(7), kSceneFromFixed, setup), setup.mm_per_px, {}, {});
  ASSERT_TRUE(film.has_value());
  EXPECT_EQ(align(*film, Raster(10, 10, 1.0F), *film, {}, {}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(align(*film, Raster(setup.width, setup.height), *film, {}, {}).error().kind,
            ErrorKind::kCannotTell);
  const Rigid2 far{0.0, {500.0, 0.0}};
  EXPECT_EQ(align(*film, limb(setup), *film, far, {}).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(prepare(Raster(400, 400), 0.0, {}, {}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(prepare(Raster(400, 400), 0.15, Mask(3, 3), {}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(prepare(Raster(4, 4), 0.15, {}, {}).error().kind, ErrorKind::kBadInput);
}

// A real radiograph (lower leg, no scale: 0.15 mm per pixel is made up), its lower part against the
// same film moved by whole and by half pixels. Half pixels: mean of two neighbours, which shifts by
// exactly half a pixel and blurs alike everywhere. Source: testdata/radiographs, derived shift.
TEST(Align, FindsARealFilmMovedByHalfPixels) {
  const auto film = film::read(tidemark::test::testdata().string() + "/radiographs/RG3_J2KR.dcm");
  ASSERT_TRUE(film.has_value()) << film.error().sentence();
  const Raster& source = film->pixels;
  Raster moved(source.width, source.height);
  for (int y = 0; y < source.height; ++y) {
    for (int x = 0; x < source.width; ++x) {
      const int from_x = std::clamp(x - 11, 1, source.width - 1);   // 10.5 px to the right
      const int from_y = std::clamp(y + 23, 0, source.height - 1);  // 23 px up
      moved.at(x, y) = 0.5F * (source.at(from_x, from_y) +
                               source.at(from_x + 1 < source.width ? from_x + 1 : from_x, from_y));
    }
  }
  const auto a = prepare(source, 0.15, {}, {});
  const auto b = prepare(moved, 0.15, {}, {});
  ASSERT_TRUE(a.has_value() && b.has_value());
  Raster region(source.width, source.height);
  for (int y = 500; y < 1300; ++y) {
    for (int x = 500; x < 1260; ++x) region.at(x, y) = 1.0F;
  }
  const auto found = align(*a, region, *b, {}, {});
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const Vec2 shift = found->moving_from_fixed_mm.apply(found->centre_mm) - found->centre_mm;
  EXPECT_NEAR(shift.x(), 10.5 * 0.15, 0.01);
  EXPECT_NEAR(shift.y(), -23.0 * 0.15, 0.01);
  EXPECT_NEAR(found->moving_from_fixed_mm.angle_rad / kDegree, 0.0, 0.01);
}

// Wider steps change what is believed of a place, not the place.
TEST(CurvatureStep, WiderSeesTheSameBasin) {
  Pair noisy;
  noisy.fixed.noise = noisy.moving.noise = 0.05;
  const Rigid2 truth{0.01, {0.4, -0.7}};
  const auto fine = align_moved(noisy, truth);
  AlignOptions wide;
  wide.curvature_step_mm = 0.4;
  const auto past_ripples = align_moved(noisy, truth, wide);
  ASSERT_TRUE(fine && past_ripples);
  EXPECT_LT((error_of(truth, *fine) - error_of(truth, *past_ripples)).norm(), 0.02);
  EXPECT_NE(fine->covariance, past_ripples->covariance);
  for (Eigen::Index i = 0; i < 3; ++i) {
    const double ratio = std::sqrt(past_ripples->covariance(i, i) / fine->covariance(i, i));
    EXPECT_GT(ratio, 0.3);
    EXPECT_LT(ratio, 3.0);
  }
}

}  // namespace
}  // namespace tidemark::alignment
