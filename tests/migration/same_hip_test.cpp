#include "tidemark/migration/same_hip.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "by_hand.h"

namespace tidemark::migration {
namespace {

using by_hand::kDegree;
using testing::HasSubstr;

/// A stem as a surgeon's drawing has it, mm, in its own axes: (medial, distal) of the shoulder's
/// level on the axis, and a shaft of even width about the same axis.
struct Drawing {
  double length = 122.0;
  double head_medial = 41.0;
  double head_up = 18.0;        ///< head's centre above the shoulder's level
  double half_width = 8.0;      ///< at the shoulder
  double tip_half_width = 5.0;  ///< at the tip
  double flare = 4.0;           ///< of the lateral flank at the shoulder; gone at 50 mm
  double shaft_width = 29.0;
  double size = 1.0;  ///< of the stem against its head
};

/// The drawing under a pose, as a film by hand: flexion and rotation of a stem anteverted by 12
/// degrees under a beam that meets it at 5 degrees (the model of pose.h, derived).
by_hand::Film film_of(const Drawing& d, double flexion_deg = 0.0, double rotation_deg = 0.0) {
  const double f = flexion_deg * kDegree;
  const double a = 12.0 * kDegree;
  const double k = by_hand::kMmPerPx;
  const double stretch = std::cos(f + 5.0 * kDegree) / std::cos(5.0 * kDegree);
  const double offset = d.head_medial / std::cos(a);
  const double turned = a - rotation_deg * kDegree;
  const Vec2 shoulder(90.0, 60.0);  // on the axis, at the shoulder's level
  const auto at = [&](double medial, double distal) {
    return Vec2((shoulder + d.size * Vec2(medial, distal)) / k);
  };
  by_hand::Film out;
  anatomy::Implant& i = out.implant;
  i.head = {{at(offset * std::cos(turned),
                -d.head_up * stretch + offset * std::sin(turned) * std::sin(f)),
             16.0 / k},
            0.1,
            0.3,
            Source::kFound};
  i.axis = {{at(0.0, 10.0), Vec2::UnitY()}, {0.05}, Source::kFound};
  i.reference_px = at(0.0, 10.0 / d.size);
  i.shoulder = {at(-d.half_width - d.flare, 0.0), 0.3 / k, Source::kFound};
  i.tip = {at(0.0, d.length * stretch), 0.3 / k, Source::kFound};
  const auto half = [&](double s) {
    return d.half_width + (d.tip_half_width - d.half_width) * s / d.length;
  };
  for (double s = 0.0; s <= d.length; s += 1.0) {
    const double flare = d.flare * std::max(0.0, 1.0 - s / 50.0);
    i.outline_px.push_back(at(-half(s) - flare, s * stretch));
  }
  i.outline_px.push_back(i.tip.px);
  for (double s = d.length; s >= 20.0; s -= 1.0) {
    i.outline_px.push_back(at(half(s), s * stretch));
  }
  out.femur.shaft_axis = {{at(0.0, 100.0), Vec2::UnitY()}, {0.1}, Source::kFound};
  for (double y = 130.0; y < 230.0; y += 1.0) {
    out.femur.lateral_cortex_px.push_back(Vec2(90.0 - 0.5 * d.shaft_width, y) / k);
    out.femur.medial_cortex_px.push_back(Vec2(90.0 + 0.5 * d.shaft_width, y) / k);
  }
  return out;
}

/// The relative u of a ratio of two scales by good heads.
constexpr double kScaleU = 0.004;

Likeness between(const by_hand::Film& a, const by_hand::Film& b) {
  return likeness(a.measured(), b.measured(), {}, kScaleU);
}

std::string refusal(const Likeness& l) {
  const auto verdict = doubts(l);
  return verdict ? "" : verdict.error().wrong;
}

bool flagged(const Likeness& l, const std::string& id) {
  const auto verdict = doubts(l);
  if (!verdict) return false;
  for (const Flag& flag : *verdict) {
    if (flag.id == id) return true;
  }
  return false;
}

TEST(SameHip, IsBelievedInAnyOrdinaryPose) {
  const auto reference = film_of({}, 2.0, -3.0);
  for (const double flexion : {-8.0, 0.0, 8.0}) {
    for (const double rotation : {-12.0, 0.0, 12.0}) {
      const Likeness l = between(reference, film_of({}, flexion, rotation));
      EXPECT_GT(l.implant, kUnlikely) << flexion << ' ' << rotation;
      EXPECT_GT(l.bone, 0.5);
      const auto verdict = doubts(l);
      ASSERT_TRUE(verdict.has_value());
      EXPECT_TRUE(verdict->empty());
    }
  }
}

// What is left of a pose the fit knows how to explain is no misfit: shown by taking away the marks'
// own floors' worth of difference only.
TEST(SameHip, TheSameFilmTwiceFitsPerfectly) {
  const auto film = film_of({});
  const Likeness l = between(film, film);
  EXPECT_NEAR(l.implant, 1.0, 1e-6);
  EXPECT_NEAR(l.stem, 1.0, 1e-6);
  EXPECT_NEAR(l.bone, 1.0, 1e-9);
  EXPECT_NEAR(l.size_ratio, 1.0, 1e-6);
}

TEST(SameHip, ALongerStemIsAnotherStem) {
  const Likeness l = between(film_of({}), film_of({.length = 166.0}));
  EXPECT_LT(l.implant, kImpossible);
  EXPECT_THAT(refusal(l), HasSubstr("do not show the same implant: the stem looks 44.0 mm longer"));
}

TEST(SameHip, AWiderAndBlunterStemIsAnotherStem) {
  const Likeness l = between(film_of({}), film_of({.half_width = 11.0, .tip_half_width = 8.5}));
  EXPECT_THAT(refusal(l), HasSubstr("wider"));
}

// A head of 36 mm taken for one of 32 mm: every length of the stem comes out 32/36 as long.
TEST(SameHip, AnotherHeadDiameterShowsInEveryLengthAlike) {
  Drawing resized{.shaft_width = 29.0 * 32.0 / 36.0};
  resized.size = 32.0 / 36.0;
  const Likeness l = between(film_of({}), film_of(resized));
  EXPECT_NEAR(l.size_ratio, 32.0 / 36.0, 0.01);
  EXPECT_GT(l.implant_resized, kUnlikely);
  EXPECT_THAT(refusal(l), HasSubstr("every length of the stem is 0.89"));
  EXPECT_THAT(refusal(l), HasSubstr("the head has another diameter or was marked wrong"));
}

// A head elsewhere is flagged, not refused, since the stem is the same. Along the neck by 7 mm it
// may as well be a turned leg, which is said as it is; by 3.5 mm it is nothing to be said of.
TEST(SameHip, AnotherNeckIsFlaggedAndMeasured) {
  const auto with_neck = [](double longer) {
    const double each = longer * std::sqrt(0.5);  // 45 degrees
    return between(film_of({}), film_of({.head_medial = 41.0 + each, .head_up = 18.0 + each}));
  };
  EXPECT_TRUE(doubts(with_neck(3.5))->empty());
  EXPECT_TRUE(flagged(with_neck(7.0), "head_differs"));
  EXPECT_GT(with_neck(11.0).stem, kUnlikely);
  EXPECT_TRUE(flagged(with_neck(11.0), "implant_differs"));
  EXPECT_FALSE(flagged(with_neck(11.0), "head_differs"));
}

TEST(SameHip, AnotherBoneAroundTheSameStemIsAnotherPatient) {
  EXPECT_THAT(refusal(between(film_of({}), film_of({.shaft_width = 34.5}))),
              HasSubstr("do not show the same bone: the shaft of the femur looks 5.5 mm wider"));
  EXPECT_TRUE(flagged(between(film_of({}), film_of({.shaft_width = 32.0})), "bone_differs"));
}

// Each by itself would only be flagged; by chance both happen less than once in 10,000 pairs.
TEST(SameHip, StemAndBoneThatDifferALittleAreAnotherHip) {
  const Drawing other{.length = 134.0, .shaft_width = 25.8};
  Likeness l = between(film_of({}), film_of(other));
  EXPECT_GT(l.implant, kImpossible);
  EXPECT_GT(l.bone, kImpossible);
  EXPECT_THAT(refusal(l), HasSubstr("neither the same implant nor the same bone"));
  l.bone = 1.0;
  EXPECT_TRUE(flagged(l, "implant_differs"));
}

// Fisher's method for two probabilities in closed form: q (1 - ln q), q their product.
TEST(SameHip, TwoProbabilitiesTogether) {
  Likeness l;
  EXPECT_DOUBLE_EQ(one_hip(l), 1.0);
  l.implant = 0.01;
  l.bone = 0.01;
  EXPECT_NEAR(one_hip(l), 1e-4 * (1.0 + 4.0 * std::log(10.0)), 1e-12);
  l.bone = 0.0;
  EXPECT_EQ(one_hip(l), 0.0);
}

TEST(SameHip, WithoutShaftOrOutlineNothingIsMadeUp) {
  auto bare = film_of({});
  bare.femur.shaft_axis.reset();
  bare.implant.outline_px.clear();
  const Likeness l = between(film_of({}), bare);
  EXPECT_EQ(l.bone, 1.0);
  EXPECT_FALSE(l.bone_difference.has_value());
  EXPECT_GT(l.implant, 0.5);
}

// A shaft whose cortex was lost to something else on half of its levels says nothing sure.
TEST(SameHip, CortexFollowedWronglyIsNoOtherBone) {
  auto wrong = film_of({});
  for (std::size_t i = 0; i < wrong.femur.medial_cortex_px.size(); ++i) {
    wrong.femur.medial_cortex_px[i].x() += 0.35 * static_cast<double>(i);  // 7 mm by its end
  }
  EXPECT_EQ(refusal(between(film_of({}), wrong)), "");
}

Migration motion(double subsidence, double medial, double tilt) {
  Migration m;
  m.subsidence = {{subsidence}, {0.4}, {0.8}};
  m.medial = {{medial}, {0.3}, {0.6}};
  m.tilt_change = {{tilt}, {0.3}, {0.6}};
  return m;
}

std::string ids_of(const Migration& m, Order order = Order::kAfterReference) {
  std::string out;
  for (const Flag& flag : doubts(m, order)) out += flag.id + " ";
  return out;
}

TEST(Motion, ThatNoStemMakesIsFlagged) {
  const auto ids = [](const Migration& m) { return ids_of(m); };
  EXPECT_EQ(ids(motion(8.0, 1.0, 3.0)), "");
  EXPECT_EQ(ids(motion(-1.7, 0.0, 0.0)), "");  // within 1 mm and its interval
  EXPECT_EQ(ids(motion(-1.9, 0.0, 0.0)), "stem_rises ");
  EXPECT_EQ(ids(motion(15.1, 0.0, 0.0)), "motion_implausible ");
  EXPECT_EQ(ids(motion(2.0, -6.1, 0.0)), "motion_implausible ");
  EXPECT_EQ(ids(motion(2.0, 0.0, -10.1)), "motion_implausible ");
}

// On a film that was taken before the reference film a stem that sinks stands higher.
TEST(Motion, BeforeTheReferenceFilmRunsTheOtherWay) {
  const auto ids = [](const Migration& m) { return ids_of(m, Order::kBeforeReference); };
  EXPECT_EQ(ids(motion(-4.0, 0.0, 0.0)), "");
  EXPECT_EQ(ids(motion(1.9, 0.0, 0.0)), "stem_rises ");
  EXPECT_EQ(ids(motion(-15.1, 0.0, 0.0)), "motion_implausible ");
}

}  // namespace
}  // namespace tidemark::migration
