#include "tidemark/lucency/signs.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "lucency/invented_lines.h"
#include "scratch.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/phantom/film.h"
#include "tidemark/phantom/write.h"

namespace tidemark::lucency {
namespace {

using testing::HasSubstr;

constexpr double kPxPerMm = 5.0;
constexpr int kWidth = 400;
constexpr int kHeight = 900;
constexpr double kAxisX = 200.0;
constexpr double kEntryY = 50.0;
constexpr double kStemMm = 120.0;  ///< from the entry level to the tip
constexpr double kOuterMm = 15.0;  ///< radius of the bone

/// A bone: a tube with its canal, a stem down its middle, and what may lie below its tip.
struct Bone {
  double inner_mm = 9.0;  ///< radius of the canal
  double stem_mm = 4.0;   ///< half width of the stem
  double shelf_mm = 0.0;  ///< where a shelf of 3 mm lies below the tip; 0 = none
  double shelf_half_width_mm = 20.0;
  double noise = 0.0;
};

double chord(double radius, double x) {
  return std::abs(x) < radius ? 2.0 * std::sqrt(radius * radius - x * x) : 0.0;
}

/// Grey of a ray at x mm from the axis, y mm from the entry level: lengths of bone, metal on top.
double ray(const Bone& bone, double x, double y) {
  double value = chord(kOuterMm, x) - 0.9 * chord(bone.inner_mm, x);
  if (std::abs(x) < bone.stem_mm && y < kStemMm) value += 80.0;
  const bool shelf = bone.shelf_mm > 0.0 && std::abs(y - kStemMm - bone.shelf_mm) < 1.5 &&
                     std::abs(x) < bone.shelf_half_width_mm;
  if (shelf) value += 0.5 * chord(bone.inner_mm, x);
  return value;
}

film::FilmImage film_of(const Bone& bone) {
  film::FilmImage out;
  out.pixels = Raster(kWidth, kHeight);
  std::mt19937 generator(7);
  std::normal_distribution<double> normal(0.0, 1.0);
  constexpr double kBlurMm = 0.2;
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      double sum = 0.0;
      // Nine rays stand for the blur across; along the shaft nothing changes but at ends.
      for (int k = -4; k <= 4; ++k) {
        sum += ray(bone, (x - kAxisX) / kPxPerMm + 0.5 * k * kBlurMm, (y - kEntryY) / kPxPerMm) *
               std::exp(-0.125 * k * k);
      }
      out.pixels.at(x, y) = static_cast<float>(
          sum / 4.97 + (bone.noise > 0.0 ? bone.noise * normal(generator) : 0.0));
    }
  }
  return out;
}

ZonePlan plan_of(const Bone& bone) {
  ZonePlan out = invented::plan(0.0);
  const auto carry = [&](Vec2& p) {
    // invented::plan: 10 px a mm about x = 0, half width 5 mm.
    p = Vec2(kAxisX + p.x() / 50.0 * bone.stem_mm * kPxPerMm, kEntryY + p.y() / 10.0 * kPxPerMm);
  };
  carry(out.axis_px.point);
  for (auto& zone : out.zones) {
    std::for_each(zone.interface_px.begin(), zone.interface_px.end(), carry);
  }
  out.entry_u = Millimetres{0.5};
  return out;
}

anatomy::Implant implant() {
  anatomy::Implant out;
  out.tip = {Vec2(kAxisX, kEntryY + kStemMm * kPxPerMm), 0.5, Source::kFound};
  return out;
}

/// Outer edges as found, deliberately 0.4 mm off: the thickness must not depend on it.
anatomy::Femur femur() {
  anatomy::Femur out;
  const double off = (kOuterMm + 0.4) * kPxPerMm;
  for (int y = 0; y < kHeight; y += 10) {
    out.lateral_cortex_px.emplace_back(kAxisX - off, y);
    out.medial_cortex_px.emplace_back(kAxisX + off, y);
  }
  out.shaft_axis = {{Vec2(kAxisX, kEntryY), Vec2::UnitY()}, Degrees{0.1}, Source::kFound};
  out.lesser_trochanter = {Vec2(kAxisX + 90.0, kEntryY + 20.0 * kPxPerMm), 2.0, Source::kFound};
  return out;
}

FilmSigns read(const Bone& bone, const std::optional<Fixation>& fixation = Fixation::kUncemented) {
  return read_signs(film_of(bone), implant(), femur(), plan_of(bone), {1.0 / kPxPerMm}, fixation);
}

// Outer minus inner radius of a tube, exact (derived: the projection of a tube is steepest at both
// radii). Blur of 0.2 mm moves both edges alike.
TEST(Cortex, ThicknessOfATubeIsThatOfItsWall) {
  for (const double inner : {7.5, 9.0, 11.0}) {
    const FilmSigns signs = read({.inner_mm = inner, .stem_mm = 3.0, .noise = 0.3});
    ASSERT_EQ(signs.cortex.size(), 6U);
    for (const CortexSign& one : signs.cortex) {
      ASSERT_TRUE(one.thickness.has_value()) << one.zone << ": " << one.reason;
      EXPECT_NEAR(one.thickness->value.value, kOuterMm - inner, 0.25) << one.zone;
      EXPECT_GE(one.thickness->u.value, 0.3);
      EXPECT_NEAR(one.seen, 1.0, 1e-9);
    }
  }
}

/// Thickness of the wall of the femur that rays meet (no blur, no noise): from the first bone to
/// where a ray meets most of it, which is where it touches the canal.
double wall_by_rays(const phantom::Scene& femur_only, const phantom::Beam& beam,
                    const Vec2& outer_px, const Vec2& inwards, double px_per_mm) {
  double first = 0.0;
  double most_at = 0.0;
  double most = 0.0;
  for (int i = 0; i < 150; ++i) {
    const double mm = -3.0 + 0.1 * i;
    const auto met = phantom::trace(femur_only, beam, outer_px + mm * px_per_mm * inwards);
    const double bone = met.at(static_cast<std::size_t>(phantom::Material::kCorticalBone));
    if (bone > 0.0 && most == 0.0) first = mm;
    if (bone <= most) continue;
    most = bone;
    most_at = mm;
  }
  return most_at - first;
}

// Outside check: a simulated film with blur, noise, scatter and a natural, uneven cortex, against
// its own surfaces met by rays. Tolerance: twice the shared u of 0.3 mm.
TEST(Cortex, AgreesWithTheRaysThroughASimulatedFemur) {
  phantom::CaseSpec spec = phantom::demo_case(Millimetres{0.2});
  const auto model = phantom::build_model(spec, 1).value();
  const phantom::FilmSpec& shot = spec.films[0];
  const test::Scratch folder;
  const auto file = folder / "film.dcm";
  ASSERT_TRUE(phantom::write_dicom(file, phantom::simulate(*model, spec, shot, 1).pixels, spec, 0));
  const auto view = film::as_right_hip(film::read(file).value(), Side::kRight);
  const auto implant = anatomy::find_implant(
      view, {.head_diameter = spec.head_diameter, .scale_hint = {}, .given = {}});
  ASSERT_TRUE(implant.has_value());
  const MillimetresPerPixel scale{spec.head_diameter.value /
                                  (2.0 * implant->head.circle_px.radius)};
  const auto femur =
      anatomy::find_femur(view, *implant, {.scale = scale, .given = {}, .lesser_level = {}});
  ASSERT_TRUE(femur.has_value());
  const auto plan = divide(*implant, scale, View::kAp, {});
  ASSERT_TRUE(plan.has_value());
  phantom::Scene scene = phantom::make_scene(*model, spec, shot);
  std::erase_if(scene.solids, [](const phantom::Solid& solid) {
    return solid.layer != phantom::Layer::kFemur && solid.layer != phantom::Layer::kFemurInside;
  });
  scene.spongiosa.top = scene.spongiosa.bottom = 0.0;
  const FilmSigns signs = read_signs(view, *implant, *femur, *plan, scale, {});
  const double tip = plan->zones[3].from.value;
  int compared = 0;
  for (const CortexSign& one : signs.cortex) {
    if (!one.thickness) continue;
    const bool lateral = one.zone <= 3;
    const Polyline& cortex = lateral ? femur->lateral_cortex_px : femur->medial_cortex_px;
    const CortexPlace& place = one.places[one.places.size() / 2];
    const double level = (place.at.value + tip) / scale.value;
    const auto outer = std::min_element(cortex.begin(), cortex.end(), [&](auto& a, auto& b) {
      return std::abs(along(plan->axis_px, a) - level) < std::abs(along(plan->axis_px, b) - level);
    });
    const Vec2 inwards =
        (lateral ? 1.0 : -1.0) * Vec2(plan->axis_px.direction.y(), -plan->axis_px.direction.x());
    const double wall = wall_by_rays(scene, shot.beam, view.stored_from_view.apply(*outer), inwards,
                                     1.0 / scale.value);
    EXPECT_NEAR(place.thickness.value, wall, 0.6) << "zone " << one.zone;
    ++compared;
  }
  EXPECT_GE(compared, 2);
}

TEST(Cortex, AStemThatFillsTheCanalLeavesItOpen) {
  const FilmSigns signs = read({.inner_mm = 9.0, .stem_mm = 9.0});
  for (const CortexSign& one : signs.cortex) {
    EXPECT_FALSE(one.thickness.has_value()) << one.zone;
    EXPECT_FALSE(one.reason.empty());
  }
}

TEST(Cortex, ChangeIsTheDifferenceOfTheWalls) {
  const auto changes = compare_signs(read({.inner_mm = 9.0, .noise = 0.3}),
                                     read({.inner_mm = 10.0, .noise = 0.3}), {});
  ASSERT_EQ(changes.cortex.size(), 6U);
  for (const auto& one : changes.cortex) {
    ASSERT_TRUE(one.change.has_value()) << one.reason;
    EXPECT_NEAR(one.change->value.value, -1.0, 0.25);
    EXPECT_GE(one.change->u.value, std::hypot(0.3, 0.3) - 1e-9);  // both films' shared errors
  }
}

TEST(Calcar, HeightIsTheWayFromTheCutNeckToTheLesserTrochanter) {
  const CalcarSign calcar = read({}).calcar;
  ASSERT_TRUE(calcar.height && calcar.above_tip);
  EXPECT_NEAR(calcar.height->value.value, 20.0, 1e-9);
  // derived: 22 mm x sin 4 degrees = 1.535 mm; landmark 2 px = 0.4 mm; entry 0.5 mm
  EXPECT_NEAR(calcar.height->u.value, std::hypot(1.535, 0.4, 0.5), 1e-3);
  EXPECT_NEAR(calcar.above_tip->value.value, kStemMm, 1e-9);
}

TEST(Calcar, LengthsOnOneFilmCarryTheScale) {
  FilmSigns signs;
  signs.calcar.above_tip = {{120.0}, {0.5}, {0.98}};
  signs.cortex.resize(1);
  signs.cortex[0].thickness = Measured<Millimetres>{{8.0}, {0.3}, {0.59}};
  const FilmSigns told = with_scale_u(signs, 0.007);
  EXPECT_NEAR(told.calcar.above_tip->u.value, std::hypot(0.5, 0.84), 1e-9);
  EXPECT_NEAR(told.cortex[0].thickness->u.value, std::hypot(0.3, 0.056), 1e-9);
  EXPECT_FALSE(told.calcar.height.has_value());
}

// A stem that sank by 3 mm in unchanged bone stands 3 mm deeper below the cut neck; if it stands
// only 1 mm deeper, 2 mm of the neck are gone.
TEST(Calcar, SubsidenceIsNoResorption) {
  FilmSigns then;
  FilmSigns now;
  then.calcar.above_tip = {{120.0}, {0.5}, {0.98}};
  const StemShift sank{.subsidence_at_tip = {{3.0}, {0.3}, {0.6}}};
  for (const auto& [deeper, change] : {std::pair{3.0, 0.0}, std::pair{1.0, -2.0}}) {
    now.calcar.above_tip = {{120.0 + deeper}, {0.5}, {0.98}};
    const auto changes = compare_signs(then, now, sank);
    ASSERT_TRUE(changes.calcar.has_value());
    EXPECT_NEAR(changes.calcar->value.value, change, 1e-9);
    EXPECT_NEAR(changes.calcar->u.value, std::hypot(0.5, 0.5, 0.3), 1e-9);
  }
  // Derived: lengths that cannot be held against each other to 1 % add 1.2 mm of 120.
  EXPECT_NEAR(compare_signs(then, now, sank, 0.01).calcar->u.value,
              std::hypot(std::hypot(0.5, 0.5), 0.3, 1.2), 1e-9);
  EXPECT_FALSE(compare_signs(then, now, {}).calcar.has_value());
  EXPECT_THAT(compare_signs(then, now, {}).calcar_reason, HasSubstr("not known"));
}

/// A tapered stem that moved in a bone that stays: turned about its tip (varus positive), and the
/// tip shifted. The cut of the neck is an oblique line of the bone.
struct MovedStem {
  double tilt_deg = 0.0;
  double distal_mm = 0.0;  ///< of the tip
  double medial_mm = 0.0;
  double cut_slope = 0.9;  ///< distally per way medially

  static constexpr double kHalfMm = 8.0;    ///< at the cut, before it moved
  static constexpr double kTaper = 0.1;     ///< of each flank, per way distally
  static constexpr double kAboveMm = 45.0;  ///< of the stem, over the cut

  [[nodiscard]] Vec2 in_bone(const Vec2& in_stem) const {
    const double turn = tilt_deg * std::numbers::pi / 180.0;
    const Vec2 tip(0.0, kStemMm);
    const Vec2 off = in_stem - tip;
    return tip + Vec2(medial_mm, distal_mm) +
           Vec2(off.x() * std::cos(turn) - off.y() * std::sin(turn),
                off.y() * std::cos(turn) + off.x() * std::sin(turn));
  }
  [[nodiscard]] Vec2 in_stem(const Vec2& in_bone) const {
    const double turn = -tilt_deg * std::numbers::pi / 180.0;
    const Vec2 tip(0.0, kStemMm);
    const Vec2 off = in_bone - tip - Vec2(medial_mm, distal_mm);
    return tip + Vec2(off.x() * std::cos(turn) - off.y() * std::sin(turn),
                      off.y() * std::cos(turn) + off.x() * std::sin(turn));
  }
  static double half_mm(double below_cut) { return kHalfMm - kTaper * below_cut; }
};

constexpr double kFineMm = 0.2;  // per px

Vec2 film_px(const Vec2& in_bone) { return (in_bone + Vec2(40.0, 60.0)) / kFineMm; }

film::FilmImage drawn(const MovedStem& stem) {
  const auto step = [](double d) { return 0.5 * std::erfc(-d / (0.2 * std::numbers::sqrt2)); };
  film::FilmImage out;
  out.pixels = Raster(400, 1000);
  std::mt19937 generator(5);
  std::normal_distribution<double> normal(0.0, 10.0);
  for (int y = 0; y < out.pixels.height; ++y) {
    for (int x = 0; x < out.pixels.width; ++x) {
      const Vec2 at = kFineMm * Vec2(x, y) - Vec2(40.0, 60.0);
      const Vec2 there = stem.in_stem(at);
      const double metal =
          step(MovedStem::half_mm(there.y()) - std::abs(there.x())) * step(kStemMm - there.y());
      const double bone = step(at.y() - stem.cut_slope * (at.x() - MovedStem::kHalfMm));
      const double beside = 800.0 + 400.0 * bone;
      out.pixels.at(x, y) =
          static_cast<float>(beside + metal * (3000.0 - beside) + normal(generator));
    }
  }
  return out;
}

anatomy::Implant implant_of(const MovedStem& stem, const film::FilmImage& film) {
  const auto at = [&](double x, double y) { return film_px(stem.in_bone({x, y})); };
  anatomy::Implant out;
  for (double y = -MovedStem::kAboveMm; y < kStemMm; y += 0.5) {
    out.outline_px.push_back(at(-MovedStem::half_mm(y), y));
  }
  for (double y = kStemMm; y >= -MovedStem::kAboveMm; y -= 0.5) {
    out.outline_px.push_back(at(MovedStem::half_mm(y), y));
  }
  out.axis.line_px = {at(0.0, 0.0), (at(0.0, 100.0) - at(0.0, 0.0)).normalized()};
  out.tip = {at(0.0, kStemMm), 0.5, Source::kFound};
  out.shoulder = {at(-MovedStem::half_mm(-12.0), -12.0), 0.5, Source::kFound};
  out.stem = Mask(film.pixels.width, film.pixels.height);
  for (int y = 0; y < film.pixels.height; ++y) {
    for (int x = 0; x < film.pixels.width; ++x) {
      const Vec2 there = stem.in_stem(kFineMm * Vec2(x, y) - Vec2(40.0, 60.0));
      const bool in = std::abs(there.x()) < MovedStem::half_mm(there.y()) && there.y() < kStemMm;
      out.stem.at(x, y) = in ? 1 : 0;
    }
  }
  out.metal = out.stem;
  return out;
}

/// Calcar and slope of the cut as the film shows them.
FilmSigns calcar_of(const MovedStem& stem) {
  const film::FilmImage film = drawn(stem);
  const anatomy::Implant implant = implant_of(stem, film);
  const MillimetresPerPixel scale{kFineMm};
  const auto entry = find_entry(film, implant, scale);
  EXPECT_TRUE(entry.has_value());
  const auto plan = divide(implant, scale, View::kAp, entry);
  EXPECT_TRUE(plan.has_value());
  return read_signs(film, implant, femur(), *plan, scale, {});
}

TEST(Calcar, TheCutsSlopeIsReadOffTheFilm) {
  for (const double slope : {0.3, 0.9, 1.3}) {
    const CalcarSign calcar = calcar_of({.cut_slope = slope}).calcar;
    EXPECT_NEAR(calcar.cut_slope.value, slope, 2.0 * calcar.cut_slope.u);
    EXPECT_LT(calcar.cut_slope.u, 0.35);
    EXPECT_NEAR(calcar.flank_slope, -MovedStem::kTaper, 0.01);
    EXPECT_NEAR(calcar.medial.value, MovedStem::kHalfMm, 0.2);
  }
}

// The bone stays as it is, however the stem moves past it: a tilt turns the medial flank distally,
// a shift or a taper lets it meet the oblique cut elsewhere.
TEST(Calcar, NoMotionOfTheStemIsResorption) {
  const FilmSigns then = calcar_of({});
  for (const MovedStem& moved :
       {MovedStem{.tilt_deg = 3.0, .medial_mm = -3.0},
        MovedStem{.tilt_deg = 3.0, .medial_mm = -6.3},
        MovedStem{.tilt_deg = -3.0, .medial_mm = 6.3}, MovedStem{.medial_mm = 2.0},
        MovedStem{.distal_mm = 4.0}, MovedStem{.tilt_deg = 2.0, .distal_mm = 3.0}}) {
    const auto exactly = [](double value) {
      return measured(Millimetres{value}, Millimetres{0.1});
    };
    const double shift = moved.in_bone({0.0, 20.0}).x();  // of a place on the axis
    const StemShift known{exactly(moved.distal_mm), exactly(shift), Millimetres{kStemMm - 20.0},
                          measured(Degrees{moved.tilt_deg}, Degrees{0.1})};
    const auto changes = compare_signs(then, calcar_of(moved), known);
    ASSERT_TRUE(changes.calcar.has_value());
    EXPECT_NEAR(changes.calcar->value.value, 0.0, 0.6)
        << moved.tilt_deg << " degrees, " << moved.distal_mm << " and " << moved.medial_mm << " mm";
    EXPECT_LE(std::abs(changes.calcar->value.value), changes.calcar->u95.value);
  }
}

TEST(Pedestal, AShelfAcrossTheCanalIsOne) {
  const PedestalSign shelf = read({.shelf_mm = 8.0, .noise = 0.3}).pedestal;
  EXPECT_EQ(shelf.present, Answer::kYes) << shelf.reason;
  ASSERT_TRUE(shelf.below_tip.has_value());
  EXPECT_NEAR(shelf.below_tip->value, 8.0, 1.0);
}

TEST(Pedestal, AnEmptyCanalHasNone) {
  EXPECT_EQ(read({.noise = 0.3}).pedestal.present, Answer::kNo);
}

TEST(Pedestal, WhatDoesNotReachAcrossIsNone) {
  EXPECT_NE(read({.shelf_mm = 8.0, .shelf_half_width_mm = 1.0, .noise = 0.3}).pedestal.present,
            Answer::kYes);
}

TEST(Pedestal, CementLeavesItOpen) {
  const PedestalSign sign = read({}, Fixation::kCemented).pedestal;
  EXPECT_EQ(sign.present, Answer::kCannotTell);
  EXPECT_THAT(sign.reason, HasSubstr("Cement"));
}

// The stem may be a cemented one.
TEST(Pedestal, AnUnknownFixationLeavesItOpen) {
  const PedestalSign sign = read({.shelf_mm = 8.0, .noise = 0.3}, std::nullopt).pedestal;
  EXPECT_EQ(sign.present, Answer::kCannotTell);
  EXPECT_THAT(sign.reason, HasSubstr("fixation is not given"));
}

TEST(Pedestal, IsNewOnlyAgainstAFilmWithoutOne) {
  FilmSigns none;
  none.pedestal.present = Answer::kNo;
  FilmSigns one;
  one.pedestal.present = Answer::kYes;
  EXPECT_EQ(compare_signs(none, one, {}).new_pedestal, Answer::kYes);
  EXPECT_EQ(compare_signs(one, one, {}).new_pedestal, Answer::kNo);
  EXPECT_EQ(compare_signs(none, none, {}).new_pedestal, Answer::kNo);
  EXPECT_EQ(compare_signs(FilmSigns{}, one, {}).new_pedestal, Answer::kCannotTell);
}

}  // namespace
}  // namespace tidemark::lucency
