#include "tidemark/phantom/film.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include "testdata.h"

namespace tidemark::phantom {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;

CaseSpec small_case(std::uint64_t seed, double pitch = 0.5) {
  CaseOptions options;
  options.pixel_pitch.value = pitch;
  CaseSpec spec = random_case(seed, 1, options);
  spec.side = Side::kRight;
  for (FilmSpec& film : spec.films) {
    film.field = FieldOfView::kHip;
    film.beam.columns = static_cast<int>(280 / pitch);
    film.beam.rows = static_cast<int>(336 / pitch);
    film.beam.pixel_pitch.value = pitch;
    film.beam.centre_mm = {-6, 62};
  }
  return spec;
}

/// The implant alone, without patient, noise or blur.
Raster metal_only(const Model& model, const CaseSpec& spec, const FilmSpec& film, Layer layer) {
  Scene scene = make_scene(model, spec, film);
  std::erase_if(scene.solids, [&](const Solid& solid) { return solid.layer != layer; });
  scene.struts.clear();
  return render(scene, film.beam, 2);
}

/// Place along a line from `from` (outside) to `to` (metal) where half of the edge's fall is
/// reached, sampled bilinearly.
std::optional<double> edge_on_line(const Raster& image, const Vec2& from, const Vec2& to,
                                   double half) {
  const double length = (to - from).norm();
  const auto value = [&](double s) {
    const Vec2 p = from + s / length * (to - from);
    const int x = static_cast<int>(std::floor(p.x()));
    const int y = static_cast<int>(std::floor(p.y()));
    const double u = p.x() - x;
    const double v = p.y() - y;
    return (1 - v) * ((1 - u) * image.at(x, y) + u * image.at(x + 1, y)) +
           v * ((1 - u) * image.at(x, y + 1) + u * image.at(x + 1, y + 1));
  };
  for (double s = 0.0; s < length; s += 0.02) {
    if (value(s) < half) return s;
  }
  return std::nullopt;
}

TEST(Truth, HeadCircleLiesOnTheMetalsEdge) {
  const CaseSpec spec = small_case(3, 0.25);
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  const FilmSpec& film = spec.films.back();
  const FilmTruth truth = make_truth(**model, spec, film);
  const Raster head = metal_only(**model, spec, film, Layer::kHead);
  double sum_x = 0, sum_y = 0, sum_r = 0;
  constexpr int kDirections = 72;
  for (int i = 0; i < kDirections; ++i) {
    const Vec2 way(std::cos(i * 5 * kRad), std::sin(i * 5 * kRad));
    const double far = truth.head.radius + 6.0;
    const auto edge = edge_on_line(head, truth.head.centre + far * way, truth.head.centre, 0.5);
    ASSERT_TRUE(edge.has_value());
    const double radius = far - *edge;
    EXPECT_NEAR(radius, truth.head.radius, 0.25);  // the shadow is an ellipse by some tenths
    sum_x += 2.0 * (radius - truth.head.radius) * way.x() / kDirections;
    sum_y += 2.0 * (radius - truth.head.radius) * way.y() / kDirections;
    sum_r += (radius - truth.head.radius) / kDirections;
  }
  EXPECT_NEAR(sum_x, 0.0, 0.1);  // first harmonic of the radius = shift of the centre
  EXPECT_NEAR(sum_y, 0.0, 0.1);
  EXPECT_NEAR(sum_r, 0.0, 0.1);
}

TEST(Truth, TipAndShoulderLieOnTheMetalsEdge) {
  for (const std::uint64_t seed : {3U, 8U}) {
    const CaseSpec spec = small_case(seed, 0.25);
    const auto model = build_model(spec, 2);
    ASSERT_TRUE(model.has_value());
    const FilmSpec& film = spec.films.back();
    const FilmTruth truth = make_truth(**model, spec, film);
    const Raster stem = metal_only(**model, spec, film, Layer::kStem);
    const Vec2 down = (truth.stem_axis[1] - truth.stem_axis[0]).normalized();
    const Vec2 medial(down.y(), -down.x());
    const auto tip = edge_on_line(stem, truth.stem_tip + 8 * down, truth.stem_tip - 8 * down, 0.7);
    ASSERT_TRUE(tip.has_value());
    EXPECT_NEAR(*tip, 8.0, 0.6);  // thin titanium at the round end: the edge is soft
    const Vec2 inwards = (down + medial).normalized();
    const auto shoulder = edge_on_line(stem, truth.stem_shoulder - 8 * inwards,
                                       truth.stem_shoulder + 8 * inwards, 0.7);
    ASSERT_TRUE(shoulder.has_value());
    EXPECT_NEAR(*shoulder, 8.0, 0.6);
  }
}

TEST(Truth, StemAxisRunsInTheMiddleOfTheDistalMetal) {
  const CaseSpec spec = small_case(5, 0.25);
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  const FilmSpec& film = spec.films.back();
  const FilmTruth truth = make_truth(**model, spec, film);
  const Raster stem = metal_only(**model, spec, film, Layer::kStem);
  const Vec2 down = (truth.stem_axis[1] - truth.stem_axis[0]).normalized();
  const Vec2 medial(down.y(), -down.x());
  for (const double part : {0.2, 0.5, 0.8}) {
    const Vec2 p = truth.stem_axis[0] + part * (truth.stem_axis[1] - truth.stem_axis[0]);
    const auto from_medial = edge_on_line(stem, p + 40 * medial, p, 0.5);
    const auto from_lateral = edge_on_line(stem, p - 40 * medial, p, 0.5);
    ASSERT_TRUE(from_medial.has_value() && from_lateral.has_value());
    EXPECT_NEAR(*from_medial, *from_lateral, 0.5);  // centre to 0.25 px = 0.05 mm
  }
}

// With the femur held still and seen square from afar, what the film shows is what was set.
TEST(Truth, MotionOnTheFilmIsTheMotionThatWasSet) {
  CaseSpec spec = small_case(4);
  for (FilmSpec& film : spec.films) {
    film.pose = Pose{};
    film.beam.source_to_detector.value = 1e7;
    film.beam.turn.value = 0.0;
  }
  spec.films[1].motion = {{3.0}, {-0.8}, {1.5}};
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  const FilmTruth before = make_truth(**model, spec, spec.films[0]);
  const FilmTruth after = make_truth(**model, spec, spec.films[1]);
  const auto in_bone = [](const FilmTruth& t, const Vec2& p) {
    return Vec2((p - t.greater_trochanter) * t.mm_per_px);
  };
  const Vec2 reference =
      in_bone(after, after.stem_reference) - in_bone(before, before.stem_reference);
  EXPECT_NEAR(reference.y(), 3.0, 1e-3);
  EXPECT_NEAR(reference.x(), -0.8, 1e-3);
  EXPECT_NEAR(after.tilt_deg - before.tilt_deg, 1.5, 0.02);
  const PointSubsidence at = subsidence_of_points(**model, spec, spec.films[1].motion);
  EXPECT_NEAR((in_bone(after, after.head.centre) - in_bone(before, before.head.centre)).y(),
              at.head_centre, 5e-3);
  // The outline's tip is another point of the round end after a turn: second order.
  EXPECT_NEAR((in_bone(after, after.stem_tip) - in_bone(before, before.stem_tip)).y(), at.tip,
              0.03);
  EXPECT_GT(at.head_centre, 3.5);  // 1.5 degrees of varus carry the head distally
}

// FO cos(theta), the law of the offset under rotation (derived): 45 -> 42.286 at 20 degrees, as a
// ratio, since the invented offset differs. Rotation is counted from the neck in the film plane.
TEST(Truth, OffsetShortensWithTheCosineOfRotation) {
  CaseSpec spec = small_case(6);
  spec.seat_tilt.value = 0.0;
  spec.femur.anteversion_deg = 2.0;  // the stem is set 2 degrees less: its neck lies in the plane
  spec.films.resize(1);
  FilmSpec& film = spec.films[0];
  film.beam.source_to_detector.value = 1e7;
  film.beam.turn.value = 0.0;
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  const auto offset = [&](double rotation) {
    film.pose = {{0.0}, {0.0}, {rotation}};
    const FilmTruth t = make_truth(**model, spec, film);
    return (t.head.centre.x() - t.stem_reference.x()) * t.mm_per_px;
  };
  EXPECT_NEAR(offset(20.0) / offset(0.0), 42.286 / 45.0, 2e-5);
  EXPECT_NEAR(offset(-10.0) / offset(0.0), 44.316 / 45.0, 2e-5);
}

TEST(Simulate, GivesTheSamePixelsOnAnyNumberOfThreads) {
  const CaseSpec spec = small_case(9, 1.0);
  const auto one = build_model(spec, 1);
  const auto three = build_model(spec, 3);
  ASSERT_TRUE(one.has_value() && three.has_value());
  const SimulatedFilm a = simulate(**one, spec, spec.films[1], 1);
  const SimulatedFilm b = simulate(**three, spec, spec.films[1], 3);
  EXPECT_EQ(a.pixels.values, b.pixels.values);
  EXPECT_EQ(a.truth.stem_tip, b.truth.stem_tip);
}

TEST(Simulate, LeftHipIsTheMirrorImageOfTheRight) {
  CaseSpec spec = small_case(9, 1.0);
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  const SimulatedFilm right = simulate(**model, spec, spec.films[0], 2);
  spec.side = Side::kLeft;
  const SimulatedFilm left = simulate(**model, spec, spec.films[0], 2);
  const int last = right.pixels.width - 1;
  EXPECT_EQ(left.pixels.at(last - 40, 100), right.pixels.at(40, 100));
  EXPECT_DOUBLE_EQ(left.truth.head.centre.x(), last - right.truth.head.centre.x());
  EXPECT_DOUBLE_EQ(left.truth.tilt_deg, right.truth.tilt_deg);
}

// Counting statistics: the standard deviation of n quanta is sqrt(n) (Poisson). No blur, no
// scatter.
TEST(Expose, NoiseIsThatOfCountedQuanta) {
  FilmSpec film;
  film.exposure = {1600.0, 0.0, {0.0}, {0.0}};
  const Raster primary(200, 200, 0.01F);
  const Raster signal = expose(primary, film, 2);
  double sum = 0, squares = 0;
  for (const float v : signal.values) {
    sum += v / 0.01;
    squares += v / 0.01 * (v / 0.01);
  }
  const double n = 40000.0;
  const double mean = sum / n;
  EXPECT_NEAR(mean, 1.0, 4 * 0.025 / std::sqrt(n));
  EXPECT_NEAR(std::sqrt(squares / n - mean * mean), 0.025, 4 * 0.025 / std::sqrt(2 * n));
}

TEST(Develop, PhotometricKindsAreEachOthersNegative) {
  FilmSpec film;
  Raster signal(64, 64, 0.02F);
  for (int i = 0; i < 64; ++i) signal.at(i, i) = 0.002F;
  film.processing.photometric = Photometric::kMonochrome2;
  const auto bright = develop(signal, film, 1);
  film.processing.photometric = Photometric::kMonochrome1;
  const auto dark = develop(signal, film, 1);
  for (std::size_t i = 0; i < bright.values.size(); ++i) {
    EXPECT_NEAR(bright.values[i] + dark.values[i], 4095, 1);
  }
  EXPECT_GT(bright.at(5, 5), bright.at(5, 30));  // dense = bright in MONOCHROME2
}

TEST(Simulate, ShuttersAndClutterAreOnTheFilm) {
  CaseSpec spec = small_case(9, 1.0);
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  FilmSpec film = spec.films[0];
  film.processing = Processing{};
  film.exposure.quanta_per_pixel = 1e6;
  const std::size_t plain = make_scene(**model, spec, film).solids.size();
  film.clutter = {5, 2, true, Collimation{{90.0}, {120.0}, {0.0}}};
  EXPECT_EQ(make_scene(**model, spec, film).solids.size(),
            plain + 5 + 2 * 2 + 2);  // R: two strokes
  const SimulatedFilm shot = simulate(**model, spec, film, 2);
  const auto outside = shot.pixels.at(20, 168);  // 120 mm from the middle: behind the shutter
  const auto open = shot.pixels.at(60, 270);     // thigh: exposed
  EXPECT_GT(outside, open);
  // Truth does not depend on what else is on the film.
  EXPECT_EQ(shot.truth.stem_tip, make_truth(**model, spec, spec.films[0]).stem_tip);
}

// Wires go with the femur, not with the stem.
TEST(MakeScene, WiresGoWithTheFemur) {
  CaseSpec spec = small_case(9, 1.0);
  spec.films[1] = spec.films[0];
  spec.films[1].motion.subsidence.value = 4.0;
  for (FilmSpec& film : spec.films) film.clutter.wires = 1;
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value());
  const auto heights = [&](const FilmSpec& film) {
    std::array<double, 2> y{};  // of a wire and of the femur
    for (const Solid& solid : make_scene(**model, spec, film).solids) {
      if (solid.layer == Layer::kMarker) y[0] = solid.mesh.points[0].y();
      if (solid.layer == Layer::kFemur) y[1] = solid.mesh.points[0].y();
    }
    return y;
  };
  const auto before = heights(spec.films[0]);
  const auto after = heights(spec.films[1]);
  EXPECT_NEAR(after[0] - before[0], after[1] - before[1], 1e-9);
  // The head stays in the cup, so it is the femur that rises when the stem sinks in it.
  EXPECT_LT(after[1] - before[1], -3.8);
}

TEST(BuildModel, TakesRealBones) {
  CaseSpec spec = small_case(2, 1.0);
  const std::string folder = tidemark::test::testdata().string() + "/meshes/ssm-lower-limb/";
  spec.surfaces.femur = folder + "subject00_femur_left.obj";
  spec.surfaces.pelvis = folder + "subject00_pelvis.obj";
  const auto model = build_model(spec, 2);
  ASSERT_TRUE(model.has_value()) << model.error().sentence();
  const FilmTruth truth = make_truth(**model, spec, spec.films[0]);
  // Landmarks that come with the surface: the lesser trochanter is 52 mm below the head.
  const Vec2 down = (truth.shaft_axis[1] - truth.shaft_axis[0]).normalized();
  const double below = down.dot(truth.lesser_trochanter - truth.head.centre) * truth.mm_per_px;
  EXPECT_NEAR(below, 52.0, 9.0);  // pose and perspective are those of the film
  EXPECT_LT(std::abs(truth.tilt_deg), 4.0);
  spec.surfaces.axes = "RPI";  // upside down: refused, not crashed
  EXPECT_EQ(build_model(spec, 2).error().kind, ErrorKind::kCannotTell);
  spec.surfaces.femur = folder + "none.obj";
  EXPECT_FALSE(build_model(spec, 2).has_value());
}

}  // namespace
}  // namespace tidemark::phantom
