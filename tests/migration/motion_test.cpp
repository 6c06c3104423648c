#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <ostream>
#include <string>

#include "migration/by_hand.h"
#include "tidemark/film/film.h"

namespace tidemark::migration {
namespace {

using by_hand::kDegree;
using by_hand::Place;

// A pose of the leg on the follow-up film that must not matter: everything turned and shifted.
const Rigid2 kElsewhere{4.0 * kDegree, Vec2(13.0, -7.0)};

Migration measured_motion(const Rigid2& motion, const Place& place) {
  const by_hand::Pair pair(by_hand::film(place), place, kElsewhere, motion);
  const auto m = derive(pair.evidence);
  EXPECT_TRUE(m.has_value());
  return m.value_or(Migration{});
}

bool has_flag(const Migration& m, const std::string& id) {
  for (const Flag& f : m.flags) {
    if (f.id == id) return true;
  }
  return false;
}

struct MotionRow {
  std::string name;
  std::string source;
  Place place;
  Rigid2 motion;  ///< about the reference point, anatomical frame
  double subsidence, medial, tilt, head, shoulder, tip;
  double tolerance;

  friend void PrintTo(const MotionRow& row, std::ostream* os) { *os << row.source; }
};

class MotionTable : public testing::TestWithParam<MotionRow> {};

TEST_P(MotionTable, IsReadBack) {
  const MotionRow& row = GetParam();
  SCOPED_TRACE(row.source);
  const Migration m = measured_motion(row.motion, row.place);
  EXPECT_NEAR(m.subsidence.value.value, row.subsidence, row.tolerance);
  EXPECT_NEAR(m.medial.value.value, row.medial, row.tolerance);
  EXPECT_NEAR(m.tilt_change.value.value, row.tilt, row.tolerance);
  EXPECT_NEAR(m.subsidence_at_head_centre.value.value, row.head, row.tolerance);
  EXPECT_NEAR(m.subsidence_at_shoulder.value.value, row.shoulder, row.tolerance);
  EXPECT_NEAR(m.subsidence_at_tip->value.value, row.tip, row.tolerance);
}

const char* const kPointSource =
    "derived: q = (x cos - y sin + 0.4, x sin + y cos + 1.5) for +2 degrees, by hand to 3 digits";
const Rigid2 kTwoDegrees{2.0 * kDegree, Vec2(0.4, 1.5)};

INSTANTIATE_TEST_SUITE_P(
    Sources, MotionTable,
    testing::Values(
        MotionRow{"DependsOnThePoint",
                  kPointSource,
                  {},
                  kTwoDegrees,  //
                  1.500,
                  0.400,
                  2.0,
                  2.743,
                  2.204,
                  1.700,
                  5e-4},
        MotionRow{"ShaftTurnedOnTheFilm",
                  kPointSource,
                  {Vec2(70.0, 95.0), 6.0, 6.0},
                  kTwoDegrees,
                  1.500,
                  0.400,
                  2.0,
                  2.743,
                  2.204,
                  1.700,
                  5e-4},
        MotionRow{"ShaftTurnedTheOtherWay",
                  kPointSource,
                  {Vec2(70.0, 95.0), -8.0, -7.0},
                  kTwoDegrees,
                  1.500,
                  0.400,
                  2.0,
                  2.743,
                  2.204,
                  1.700,
                  5e-4},
        MotionRow{"BesideTheAxis",
                  "derived: a point r beside the axis gains r sin(phi): 35 sin 2 deg = 1.2215; its "
                  "level loses 35 (1 - cos 2 deg) = 0.0213 towards the point; tip 8 sin - 130 (1 - "
                  "cos) = 0.2000; shoulder 20 sin + 10 (1 - cos) = 0.7041",
                  {},
                  {2.0 * kDegree, Vec2::Zero()},
                  0.0,
                  0.0,
                  2.0,
                  1.2428,
                  0.7041,
                  0.2000,
                  5e-5},
        MotionRow{"Nothing",
                  "derived: identity",
                  {Vec2(70.0, 95.0), 6.0, 5.0},
                  {},
                  0.0,
                  0.0,
                  0.0,
                  0.0,
                  0.0,
                  0.0,
                  1e-9},
        MotionRow{"PureDistal",
                  "sign of docs/design.md: distal +",
                  {},
                  {0.0, Vec2(0.0, 3.0)},
                  3.0,
                  0.0,
                  0.0,
                  3.0,
                  3.0,
                  3.0,
                  1e-9},
        MotionRow{"PureProximal",
                  "sign of docs/design.md: distal +",
                  {},
                  {0.0, Vec2(0.0, -0.5)},
                  -0.5,
                  0.0,
                  0.0,
                  -0.5,
                  -0.5,
                  -0.5,
                  1e-9},
        MotionRow{"PureMedial",
                  "sign of docs/design.md: medial +",
                  {},
                  {0.0, Vec2(1.2, 0.0)},
                  0.0,
                  1.2,
                  0.0,
                  0.0,
                  0.0,
                  0.0,
                  1e-9}),
    [](const auto& row) { return row.param.name; });

// docs/design.md: varus +, the tip swings laterally. Lateral is -x of the hip view. Lever about
// mid-stem: 70 mm and 2 degrees give 2.443 mm (derived: 70 sin 2 deg).
TEST(MotionSigns, VarusTakesTheTipLaterally) {
  const Rigid2 about_middle = Rigid2{0.0, Vec2(0.0, 70.0)}
                                  .after({2.0 * kDegree, Vec2::Zero()})
                                  .after({0.0, Vec2(0.0, -70.0)});
  EXPECT_NEAR(about_middle.apply(Vec2(0.0, 140.0)).x(), -2.443, 5e-4);
  const Migration m = measured_motion(about_middle, {});
  EXPECT_NEAR(m.tilt_change.value.value, 2.0, 1e-9);
  EXPECT_NEAR(m.medial.value.value, 2.443, 5e-4);  // the proximal end goes the other way
}

// The motion as radiostereometry counts it: right hip, x medial, y proximal, z anterior, right-hand
// rule (ISO 16087:2013; Valstar et al., Acta Orthop 76 (2005) 563: from memory). Ours: distal is
// -y, varus is -Rz, medial is x (derived).
TEST(MotionSigns, AreThoseOfIso16087TurnedOver) {
  const Eigen::Matrix3d turn =
      Eigen::AngleAxisd(-1.5 * kDegree, Eigen::Vector3d::UnitZ()).toRotationMatrix();
  const Eigen::Vector3d shift(0.3, -2.0, 0.0);
  // The hip view is seen from the front: x medial, y distal = -y of radiostereometry.
  const Eigen::DiagonalMatrix<double, 3> view_from_rsa(1.0, -1.0, 1.0);
  const Eigen::Matrix3d turn_in_view = view_from_rsa * turn * view_from_rsa;
  const Vec2 shift_in_view = (view_from_rsa * shift).head<2>();
  const double angle = std::atan2(turn_in_view(1, 0), turn_in_view(0, 0));
  const Migration m = measured_motion({angle, shift_in_view}, {});
  EXPECT_NEAR(m.subsidence.value.value, 2.0, 1e-9);
  EXPECT_NEAR(m.medial.value.value, 0.3, 1e-9);
  EXPECT_NEAR(m.tilt_change.value.value, 1.5, 1e-9);
}

// One anatomy, one set of numbers: the points of a left hip's film, mirrored by as_right_hip, are
// those of the right hip, and so is the motion.
TEST(MotionSigns, LeftIsMeasuredAsItsMirrorImage) {
  film::FilmImage upright;
  upright.pixels = Raster(1001, 1201);
  const film::FilmImage hip = film::as_right_hip(upright, Side::kLeft);
  const Affine2 view_from_stored = hip.stored_from_view.inverse();
  const auto mirrored = [&](const Vec2& p_mm) {
    return Vec2(by_hand::kMmPerPx * view_from_stored.apply(p_mm / by_hand::kMmPerPx));
  };
  const Place place{Vec2(90.0, 80.0), 3.0, 3.0};
  const Vec2 reference = place.film_from_frame().apply(Vec2::Zero());
  const Vec2 medial = place.film_from_frame().apply(Vec2(10.0, 0.0));
  // On the left hip's own film medial points to smaller columns.
  EXPECT_LT(mirrored(medial).x(), mirrored(reference).x());
  // The stem of that left hip sinks by 2 mm and goes 1 mm medially: drawn there, measured here.
  const Vec2 before = mirrored(reference);
  const Vec2 moved = place.film_from_frame().apply(Vec2(1.0, 2.0));
  const Vec2 after = mirrored(moved);
  const Rigid2 seen{0.0, mirrored(after) - mirrored(before)};
  const by_hand::Pair pair(by_hand::film(place), place, {}, by_hand::in_frame(seen, place));
  const auto m = derive(pair.evidence);
  ASSERT_TRUE(m.has_value());
  EXPECT_NEAR(m->subsidence.value.value, 2.0, 1e-9);
  EXPECT_NEAR(m->medial.value.value, 1.0, 1e-9);
}

// Derived: abduction turns bone and stem together and cancels in the bone's frame. The film's own
// axis instead of the shaft's, 6 degrees off, makes 1.989 of 2.0 mm, and 2 sin 6 deg = 0.209
// across.
TEST(ShaftAxis, NotTheFilmsAxisCarriesTheNumbers) {
  const Place place{Vec2(90.0, 80.0), 6.0, 0.0};  // stem axis upright on the film
  by_hand::Film reference = by_hand::film(place);
  const Rigid2 motion{0.0, Vec2(0.0, 2.0)};
  const by_hand::Pair with(reference, place, kElsewhere, motion);
  const auto seen = derive(with.evidence);
  ASSERT_TRUE(seen.has_value());
  EXPECT_NEAR(seen->subsidence.value.value, 2.0, 1e-9);
  EXPECT_NEAR(seen->medial.value.value, 0.0, 1e-9);
  EXPECT_FALSE(has_flag(*seen, "shaft_axis_missing"));

  reference.femur.shaft_axis.reset();  // the stem's axis, here the film's, stands in
  const by_hand::Pair blind(reference, place, kElsewhere, motion);
  const auto without = derive(blind.evidence);
  ASSERT_TRUE(without.has_value());
  EXPECT_NEAR(without->subsidence.value.value, 1.989, 5e-4);
  EXPECT_NEAR(without->medial.value.value, -0.209, 5e-4);
  EXPECT_TRUE(has_flag(*without, "shaft_axis_missing"));
}

TEST(Alignments, AreHandedOnForOverlays) {
  const Place place;
  const by_hand::Pair pair(by_hand::film(place), place, kElsewhere, kTwoDegrees);
  const auto m = derive(pair.evidence);
  ASSERT_TRUE(m.has_value());
  const Vec2 p(12.0, 34.0);
  EXPECT_EQ(m->follow_up_from_reference_bone_mm.apply(p), kElsewhere.apply(p));
  EXPECT_EQ(m->follow_up_from_reference_stem_mm.apply(p),
            pair.evidence.stem.alignment.moving_from_fixed_mm.apply(p));
}

}  // namespace
}  // namespace tidemark::migration
