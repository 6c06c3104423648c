#include "tidemark/migration/pose.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <optional>
#include <vector>

#include "../../modules/migration/src/consensus.h"
#include "../../modules/migration/src/stem_in_beam.h"
#include "migration/by_hand.h"
#include "tidemark/core/monte_carlo.h"
#include "tidemark/core/usual_pose.h"
#include "tidemark/migration/regions.h"

namespace tidemark::migration {
namespace {

// The scale of a film reckons with the same hips (film/calibration.h).
static_assert(PoseModel{}.anteversion.value == kAnteversionDeg);
static_assert(PoseModel{}.anteversion_spread.value == kAnteversionSpreadDeg);
static_assert(PoseModel{}.film_flexion.value == kFlexionDeg);
static_assert(PoseModel{}.beam_shift.value == kBeamShiftMm);
static_assert(PoseModel{}.source.value == kSourceToHipMm);
static_assert(surface::Belief{}.source.value == kSourceToHipMm);
static_assert(surface::Belief{}.anteversion.value == kAnteversionDeg);

using by_hand::kDegree;
using Eigen::Vector3d;

struct Posed {
  double flexion = 0.0;   ///< knee towards the tube +
  double rotation = 0.0;  ///< internal +
};

/// A stem with its head as points in space: x medial, y distal, z towards the tube, origin the
/// head's centre; shown by a camera at the tube's focus with Eigen's rotations.
struct Stem {
  double version = 12.0 * kDegree;
  double offset = 40.0, shoulder = 10.0, level = 30.0, length = 130.0;
  Vec2 head_from_beam = Vec2(0.0, -60.0);
  double source = 950.0;

  /// Of a point `from_axis` of the stem's axis in the plane of the neck, and then `beside` it:
  /// (medial, distal, towards the tube) of the leg.
  [[nodiscard]] Vec2 shadow(double from_axis, double distal, const Posed& p,
                            const Vector3d& beside = Vector3d::Zero()) const {
    const double x = from_axis - offset;
    const Vector3d point = Vector3d(x * std::cos(version), distal, x * std::sin(version)) + beside;
    const Eigen::AngleAxisd turn(p.rotation, Vector3d::UnitY());
    const Eigen::AngleAxisd flex(p.flexion, Vector3d::UnitX());
    const Vector3d placed =
        flex * (turn * point) + Vector3d(head_from_beam.x(), head_from_beam.y(), 0.0);
    return placed.head<2>() * source / (source - placed.z()) - head_from_beam;
  }

  [[nodiscard]] StemLook look(const Posed& p) const {
    const Vec2 top = shadow(0.0, level + 0.2 * length, p);
    const Vec2 down = (shadow(0.0, level + 0.9 * length, p) - top).normalized();
    const Vec2 medial(down.y(), -down.x());
    const Vec2 corner = shadow(-shoulder, level, p);
    return {.head_medial_mm = -top.dot(medial),
            .head_from_shoulder_mm = -corner.dot(down),
            .shoulder_medial_mm = (corner - top).dot(medial),
            .length_mm = (shadow(0.0, level + length, p) - corner).dot(down),
            .head_from_middle_mm = head_from_beam};
  }
};

StemLooks looks_of(const Stem& stem, const Posed& a, const Posed& b) {
  return {.reference = stem.look(a),
          .follow_up = stem.look(b),
          .turn_rad = 0.0,
          .shoulder_u_mm = 0.05,
          .tips_u_mm = 0.1};
}

/// The follow-up as it looks by a scale that is wrong by this factor.
StemLooks wrongly_scaled(StemLooks looks, double factor) {
  looks.follow_up.head_medial_mm *= factor;
  looks.follow_up.head_from_shoulder_mm *= factor;
  looks.follow_up.shoulder_medial_mm *= factor;
  looks.follow_up.length_mm *= factor;
  looks.follow_up.head_from_middle_mm *= factor;
  return looks;
}

/// Places in a PoseVector.
constexpr Eigen::Index kFlexed = 0;
constexpr Eigen::Index kRolled = 3;

double mean_of(const PoseChange& p, Eigen::Index part) {
  double sum = 0.0;
  for (const PoseDraw& d : p.draws) sum += d.probability * vector_of(d)(part);
  return sum;
}

double variance_of(const PoseChange& p, Eigen::Index part) {
  double sum = p.about_draw(part, part);
  for (const PoseDraw& d : p.draws) {
    sum += d.probability * std::pow(vector_of(d)(part) - mean_of(p, part), 2);
  }
  return sum;
}

double mean_flexion(const PoseChange& p) { return mean_of(p, kFlexed); }
double variance_of_flexion(const PoseChange& p) { return variance_of(p, kFlexed); }

/// PoseDraw::flexion of two poses: knee away from the tube +.
double flexion_between(const Posed& a, const Posed& b) {
  return std::cos(a.rotation) * std::sin(a.flexion) - std::cos(b.rotation) * std::sin(b.flexion);
}

/// A point of the bone: mm medial and distal of the stem's reference point, and behind it.
struct Place {
  const char* feature;
  double x, l, d;
};

/// Where it is seen from the reference point, in the axes of the stem's shadow: (medial, distal).
Vec2 seen_from_stem(const Stem& stem, const Posed& p, const Place& place) {
  const double level = stem.level + 10.0;
  const Vec2 top = stem.shadow(0.0, stem.level + 0.2 * stem.length, p);
  const Vec2 down = (stem.shadow(0.0, stem.level + 0.9 * stem.length, p) - top).normalized();
  const Vec2 from =
      stem.shadow(0.0, level + place.l, p, {place.x, 0.0, -place.d}) - stem.shadow(0.0, level, p);
  return {from.dot(Vec2(down.y(), -down.x())), from.dot(down)};
}

PoseDraw known_pose(const Stem& stem, const Posed& a, const Posed& b) {
  const StemFigure figure{.offset_mm = stem.offset,
                          .shoulder_mm = stem.shoulder,
                          .level_mm = stem.level,
                          .length_mm = stem.length,
                          .anteversion_rad = stem.version};
  const auto leg = [&](const Posed& p) {
    return LegInBeam{p.flexion, p.rotation, stem.head_from_beam, stem.source};
  };
  PoseDraw out = pose_between(figure, leg(a), leg(b));
  out.probability = 1.0;
  return out;
}

constexpr Place kPlaces[] = {{kGreaterTrochanter, -28.0, -22.0, 6.0},
                             {kLesserTrochanter, 20.0, 40.0, 16.0},
                             {kMetaphysis, 14.0, 25.0, 2.0},
                             {kShaft, 0.0, 110.0, 0.0}};

struct Laid {
  const char* what;
  Posed a, b;
  Vec2 head_from_beam;
};

const Laid kLaid[] = {
    {"flexed", {}, {5.0 * kDegree, 0.0}, {0.0, -60.0}},
    {"extended", {}, {-6.0 * kDegree, 0.0}, {0.0, -60.0}},
    {"turned", {}, {0.0, 10.0 * kDegree}, {0.0, -100.0}},
    {"of a pelvis", {}, {5.0 * kDegree, 0.0}, {100.0, -20.0}},
    {"both", {-2.0 * kDegree, -4.0 * kDegree}, {3.0 * kDegree, 6.0 * kDegree}, {80.0, -60.0}}};

/// The stem stands still: what each feature sees of its motion in these two poses, by the camera.
std::vector<Opinion> votes_by_camera(const Stem& stem, const Laid& laid) {
  std::vector<Opinion> out;
  for (const Place& place : kPlaces) {
    const Vec2 gone = seen_from_stem(stem, laid.b, place) - seen_from_stem(stem, laid.a, place);
    out.push_back({.feature = place.feature,
                   .at = Vec2(place.x, place.l),
                   .along = Reading{-gone.y(), 0.01},
                   .across = Reading{-gone.x(), 0.01}});
  }
  return out;
}

// A feature goes on the film as a camera shows it, to the second order of the angles.
TEST(PoseDraw, CarriesAPointAsACameraShowsIt) {
  for (const Laid& laid : kLaid) {
    const Stem stem{.head_from_beam = laid.head_from_beam};
    const PoseDraw pose = known_pose(stem, laid.a, laid.b);
    for (const Place& p : kPlaces) {
      const Vec2 gone = seen_from_stem(stem, laid.b, p) - seen_from_stem(stem, laid.a, p);
      const double along = -(pose.flexion * p.d + pose.turned * p.x +
                             pose.bent * (p.l * p.l - p.d * p.d) + pose.twisted * p.x * p.l) +
                           pose.stretch * p.l;
      const double across =
          -(pose.rolled * p.d + pose.bent * p.x * p.l + pose.twisted * (p.x * p.x - p.d * p.d)) +
          pose.narrowed * p.x;
      EXPECT_NEAR(along, gone.y(), 0.06) << laid.what << ", " << p.feature;
      EXPECT_NEAR(across, gone.x(), 0.06) << laid.what << ", " << p.feature;
    }
  }
}

// The stem stands still, the pose and the depths are known: no motion is told.
TEST(PoseDraw, TellsNoMotionOfAStemThatStandsStill) {
  for (const Laid& laid : kLaid) {
    const Stem stem{.head_from_beam = laid.head_from_beam};
    SharedErrors shared;
    shared.pose.draws = {known_pose(stem, laid.a, laid.b)};
    shared.depths.covariance *= 1e-4;
    for (const Place& p : kPlaces) shared.depths.mean_mm(depth_index(p.feature)) = p.d;
    const auto told = consensus(votes_by_camera(stem, laid), shared, {.depths_apart_mm = 0.0});
    ASSERT_TRUE(told.has_value());
    EXPECT_NEAR(told->mean, 0.0, 0.03) << laid.what;
  }
}

TEST(PoseChange, WithoutTheStemIsTheModel) {
  const PoseChange p = pose_change({.flexion = {4.6}, .rotation = {7.0}});
  EXPECT_NEAR(p.flexion_rms_rad, 4.6 * kDegree, 1e-12);
  EXPECT_NEAR(p.rotation_rms_rad, 7.0 * kDegree, 1e-12);
  EXPECT_EQ(mean_flexion(p), 0.0);
  EXPECT_NEAR(std::sqrt(variance_of_flexion(p)), 4.6 * kDegree, 1e-12);
}

/// Root mean square of error over stated u, and how much of the change of flexion stays unknown,
/// over poses drawn with the given spread.
struct Scatter {
  double pull;
  double left;    ///< mean square error over mean square change
  double rolled;  ///< pull of PoseDraw::rolled
};

/// @param ratio_u  of the films' scales, relative, drawn and stated
Scatter scatter(double flexion_deg, double rotation_deg, double ratio_u = 0.0) {
  Random random(5);
  Random scales(6);  // of its own: the same poses with and without
  constexpr int kDraws = 60;
  double pulls = 0.0;
  double rolled = 0.0;
  double errors = 0.0;
  double changes = 0.0;
  for (int i = 0; i < kDraws; ++i) {
    Stem stem;
    stem.version = random.normal(12.0, 5.0) * kDegree;
    stem.offset = random.normal(40.0, 4.0);
    stem.source = random.normal(950.0, 40.0);
    const auto any = [&] {
      return Posed{random.normal(0.0, flexion_deg) * kDegree,
                   random.normal(0.0, rotation_deg) * kDegree};
    };
    const Posed a = any();
    const Posed b = any();
    StemLooks looks = looks_of(stem, a, b);
    looks.follow_up.head_medial_mm += random.normal(0.0, 0.15);
    looks.follow_up.head_from_shoulder_mm += random.normal(0.0, 0.2);
    looks.follow_up.length_mm += random.normal(0.0, 0.2);
    looks.reference.head_from_middle_mm.y() += random.normal(0.0, 15.0);
    looks.follow_up.head_from_middle_mm.y() += random.normal(0.0, 15.0);
    looks = wrongly_scaled(looks, std::exp(scales.normal(0.0, ratio_u)));
    looks.scale_ratio_u = ratio_u;
    const PoseChange p = pose_change({}, looks);
    const double error = mean_flexion(p) - flexion_between(a, b);
    const double off = mean_of(p, kRolled) - known_pose(stem, a, b).rolled;
    rolled += off * off / variance_of(p, kRolled) / kDraws;
    pulls += error * error / variance_of_flexion(p) / kDraws;
    errors += error * error;
    changes += std::pow(flexion_between(a, b), 2);
  }
  return {std::sqrt(pulls), errors / changes, std::sqrt(rolled)};
}

// Well laid and badly laid legs alike: the change of flexion comes back within what is stated, and
// little of it is left unknown.
TEST(PoseChange, TellsFlexionOfLegsLaidWell) {
  const Scatter s = scatter(3.0, 5.0);
  EXPECT_GT(s.pull, 0.4);
  EXPECT_LT(s.pull, 1.2);
  EXPECT_LT(s.left, 0.5);
}

TEST(PoseChange, TellsFlexionOfLegsLaidBadly) {
  const Scatter s = scatter(8.0, 12.0);
  EXPECT_GT(s.pull, 0.4);
  EXPECT_LT(s.pull, 1.4);
  EXPECT_LT(s.left, 0.5);
}

// A hip in 12 degrees of anteversion, taken from behind: the head lies away from the tube, and the
// knee went towards it. By the model for films from before it hardly moved.
TEST(PoseChange, FromBehindIsToldAgainstTheTube) {
  Stem stem;
  stem.version = -12.0 * kDegree;
  const Posed b{8.0 * kDegree, 0.0};
  PoseModel behind;
  behind.view = View::kPa;
  const double truth = flexion_between({}, b);
  const double told = mean_flexion(pose_change(behind, looks_of(stem, {}, b)));
  EXPECT_LT(told, 0.5 * truth);  // both negative
  EXPECT_GT(told, 1.5 * truth);
  EXPECT_GT(mean_flexion(pose_change({}, looks_of(stem, {}, b))), 0.5 * truth);
}

// Two scales given as numbers, 1.4 % each: what they err is not taken for pose.
TEST(PoseChange, KnowsThatTheRatioOfScalesErrs) {
  const Scatter s = scatter(3.0, 5.0, 0.02);
  RecordProperty("pull", std::to_string(s.pull));
  RecordProperty("rolled", std::to_string(s.rolled));
  EXPECT_GT(s.pull, 0.4);
  EXPECT_LT(s.pull, 1.1);
  EXPECT_GT(s.rolled, 0.4);
  EXPECT_LT(s.rolled, 1.1);
}

// The same film twice, the scale of the one wrong by as much as is said of it: 1.3 % of a length of
// 130 mm are 1.7 mm, which read as pose are 3 degrees and more.
TEST(PoseChange, TakesNoWrongScaleForFlexion) {
  const Stem stem;
  for (const double factor : {1.0133, 1.0 / 1.0133}) {
    StemLooks looks = wrongly_scaled(looks_of(stem, {}, {}), factor);
    looks.scale_ratio_u = 0.014;
    const PoseChange p = pose_change({}, looks);
    EXPECT_LT(std::abs(mean_flexion(p)), 1.0 * kDegree) << factor;
    EXPECT_LT(std::abs(mean_of(p, kRolled)), 1.5 * kDegree) << factor;
  }
}

// The same film twice, the head marked 1 mm further along or across: what its centre may err is not
// taken for pose either.
TEST(PoseChange, TakesNoHeadMarkedCoarselyForPose) {
  const Stem stem;
  for (const Vec2& off : {Vec2(1.0, 0.0), Vec2(0.0, 1.0)}) {
    StemLooks looks = looks_of(stem, {}, {});
    looks.follow_up.head_medial_mm += off.x();
    looks.follow_up.head_from_shoulder_mm += off.y();
    const PoseChange by_word = pose_change({}, looks);
    looks.heads_u_mm = 1.0;
    const PoseChange p = pose_change({}, looks);
    const Eigen::Index told = off.x() > 0.0 ? kRolled : kFlexed;
    EXPECT_LT(std::abs(mean_of(p, told)), 0.6 * std::abs(mean_of(by_word, told))) << off.x();
    EXPECT_GT(variance_of(p, told), variance_of(by_word, told)) << off.x();
  }
}

// A leg that is turned a lot was laid badly: its flexion is less certain too. The beam's centre,
// whose doubt counts as flexion, is taken as known here.
TEST(PoseChange, DoubtsFlexionWhereRotationChanged) {
  const Stem stem;
  PoseModel model;
  model.beam_shift = {1e-3};
  const auto still = pose_change(model, looks_of(stem, {}, {}));
  const auto turned = pose_change(model, looks_of(stem, {0.0, -0.2}, {0.0, 0.2}));
  EXPECT_GT(std::sqrt(variance_of_flexion(turned)), 1.15 * std::sqrt(variance_of_flexion(still)));
  EXPECT_GT(turned.rotation_rms_rad, 2.0 * still.rotation_rms_rad);
}

// The head comes nearer the tube as the leg turns outwards, which shrinks the stem beside it
// (derived: 40 mm off the axis, 0.4 rad, 950 mm from the focus: 1.6 %).
TEST(PoseChange, KnowsThatTheHeadsScaleChangesWithRotation) {
  const Stem stem;
  const auto p = pose_change({}, looks_of(stem, {0.0, 0.2}, {0.0, -0.2}));
  double stretch = 0.0;
  for (const PoseDraw& d : p.draws) stretch += d.probability * d.stretch;
  EXPECT_NEAR(stretch, -0.016, 0.006);
}

TEST(PoseChange, IsTheSameFromRunToRun) {
  const StemLooks looks = looks_of({}, {0.02, 0.1}, {-0.12, -0.05});
  const auto once = pose_change({}, looks);
  const auto again = pose_change({}, looks);
  ASSERT_EQ(once.draws.size(), again.draws.size());
  EXPECT_EQ(mean_flexion(once), mean_flexion(again));
  EXPECT_EQ(once.rotation_rms_rad, again.rotation_rms_rad);
}

TEST(PoseChange, SpreadsOneProbabilityOverItsDraws) {
  const auto p = pose_change({}, looks_of({}, {0.02, 0.1}, {-0.12, -0.05}));
  double sum = 0.0;
  for (const PoseDraw& d : p.draws) sum += d.probability;
  EXPECT_NEAR(sum, 1.0, 1e-12);
  EXPECT_GT(p.draws.size(), 50U);
}

TEST(PoseChange, OfAStemWithoutLengthIsTheModel) {
  const PoseChange p = pose_change({}, StemLooks{});
  EXPECT_NEAR(p.flexion_rms_rad, 4.6 * kDegree, 1e-12);
}

TEST(StemLook, IsReadInTheStemsOwnAxes) {
  const auto film = by_hand::film({Vec2(90.0, 80.0), 7.0, 7.0});
  MeasuredFilm measured = film.measured();
  measured.middle_px =
      film.implant.head.circle_px.centre + 60.0 / by_hand::kMmPerPx * by_hand::turned(7.0);
  const StemLook l = stem_look(measured);
  EXPECT_NEAR(l.head_medial_mm, 35.0, 1e-9);
  EXPECT_NEAR(l.head_from_shoulder_mm, -25.0, 1e-9);
  EXPECT_NEAR(l.shoulder_medial_mm, 20.0, 1e-9);
  EXPECT_NEAR(l.length_mm, 140.0, 1e-9);
  EXPECT_NEAR(l.head_from_middle_mm.x(), 0.0, 1e-9);
  EXPECT_NEAR(l.head_from_middle_mm.y(), -60.0, 1e-9);
}

// Both heads' centres, in mm of their films.
TEST(StemLooks, CarryWhatTheHeadsCentresErr) {
  auto before = by_hand::film({});
  auto after = before;
  before.implant.head.centre_u_px = 0.3 / by_hand::kMmPerPx;
  after.implant.head.centre_u_px = 0.4 / by_hand::kMmPerPx;
  const auto held = held_at_near_end({}, {}, before.measured(), after.measured());
  ASSERT_TRUE(held.looks.has_value());
  EXPECT_NEAR(held.looks->heads_u_mm, 0.5, 1e-9);
}

// A stem that went as a whole looks as before.
TEST(StemLooks, OfAStemThatWentAsAWholeAreTheSame) {
  const by_hand::Place place{Vec2(90.0, 80.0), 3.0, 5.0};
  const auto before = by_hand::film(place);
  const Rigid2 motion{0.05, Vec2(4.0, -2.0)};
  const auto after = by_hand::carried(before, motion, motion);
  alignment::Alignment stem;
  stem.moving_from_fixed_mm = motion;
  const auto held = held_at_near_end(stem, {}, before.measured(), after.measured());
  ASSERT_TRUE(held.looks.has_value());
  EXPECT_NEAR(held.looks->follow_up.head_medial_mm, held.looks->reference.head_medial_mm, 1e-9);
  EXPECT_NEAR(held.looks->follow_up.length_mm, held.looks->reference.length_mm, 1e-9);
  EXPECT_NEAR(held.looks->turn_rad, 0.05, 1e-12);
  EXPECT_NEAR((held.alignment.moving_from_fixed_mm.translation - motion.translation).norm(), 0.0,
              1e-9);
}

// The stem shrank on the film by 2 mm and was aligned by its tip: it is held by its shoulder, and
// the length is seen to have changed.
TEST(StemLooks, HoldAShrunkStemByItsShoulder) {
  const auto before = by_hand::film({});
  auto after = before;
  const Vec2 distal(0.0, 2.0 / by_hand::kMmPerPx);
  after.implant.shoulder.px += distal;
  after.implant.head.circle_px.centre += distal;
  const auto held = held_at_near_end({}, {}, before.measured(), after.measured());
  ASSERT_TRUE(held.looks.has_value());
  EXPECT_NEAR(held.alignment.moving_from_fixed_mm.translation.y(), 2.0, 1e-9);
  EXPECT_NEAR(held.looks->follow_up.length_mm - held.looks->reference.length_mm, -2.0, 1e-9);
  EXPECT_NEAR(
      held.looks->follow_up.head_from_shoulder_mm - held.looks->reference.head_from_shoulder_mm,
      0.0, 1e-9);
}

/// What the surface says of two poses of this stem, seen from where its head is: derived from the
/// signs of surface::PoseMode.
surface::PoseChangeBySurface by_surface(const Stem& stem, const Posed& a, const Posed& b,
                                        double u_rad) {
  const Vec2 ray = stem.head_from_beam / stem.source;
  surface::SeenMode mode;
  mode.mean << a.flexion - ray.y(), stem.version - a.rotation - ray.x(), b.flexion - ray.y(),
      stem.version - b.rotation - ray.x();
  mode.covariance = u_rad * u_rad * Eigen::Matrix4d::Identity();
  mode.probability = 1.0;
  surface::PoseChangeBySurface out;
  out.modes = {mode};
  return out;
}

TEST(PoseChangeBySurface, FollowsTheSurfaceInTheSignsOfTheVotes) {
  const Stem stem;
  const Posed a{2.0 * kDegree, -3.0 * kDegree};
  const Posed b{-4.0 * kDegree, 5.0 * kDegree};
  const double u = 0.5 * kDegree;
  const PoseChange p = pose_change({}, looks_of(stem, a, b), by_surface(stem, a, b, u));
  // A feature behind the stem is carried distally by sin f: the votes' flexion is its fall.
  const double expected =
      std::cos(a.rotation) * std::sin(a.flexion) - std::cos(b.rotation) * std::sin(b.flexion);
  double variance = p.about_draw(0, 0);
  double sum = 0.0;
  for (const PoseDraw& d : p.draws) {
    sum += d.probability;
    variance += d.probability * std::pow(d.flexion - mean_flexion(p), 2);
  }
  EXPECT_NEAR(sum, 1.0, 1e-9);
  // The prior draws the angles to nought by (u / 4 degrees)^2 of their size: 2 % of 6 degrees.
  EXPECT_NEAR(mean_flexion(p), expected, 0.25 * kDegree);
  EXPECT_NEAR(std::sqrt(variance), std::sqrt(2.0) * u, 0.3 * u);
  EXPECT_NEAR(p.rotation_rms_rad, 8.0 * kDegree, 1.5 * kDegree);
}

TEST(PoseChangeBySurface, WeighsModesByHowLegsAreLaid) {
  // The same shadow with both signs turned: 30 degrees of retroversion are nowhere near usual.
  const Stem stem;
  const Posed a{3.0 * kDegree, -10.0 * kDegree};
  const Posed b{1.0 * kDegree, -8.0 * kDegree};
  auto both = by_surface(stem, a, b, 0.5 * kDegree);
  surface::SeenMode other = both.modes.front();
  other.mean = -other.mean;
  both.modes.push_back(other);
  for (auto& m : both.modes) m.probability = 0.5;
  const PoseChange p = pose_change({}, looks_of(stem, a, b), both);
  EXPECT_NEAR(mean_flexion(p), 2.0 * kDegree, 0.7 * kDegree);
}

}  // namespace
}  // namespace tidemark::migration
