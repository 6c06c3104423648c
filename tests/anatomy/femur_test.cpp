#include "tidemark/anatomy/femur.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <ostream>
#include <string>

#include "anatomy/drawn.h"

namespace tidemark::anatomy {
namespace {

using drawn::Hip;
using drawn::kDegree;

struct Found {
  Implant implant;
  Femur femur;
};

/// @param film  of that hip
Found found_on(const Hip& hip, const film::FilmImage& film) {
  ImplantOptions options;
  options.head_diameter = Millimetres{32.0};
  const auto implant = find_implant(film, options);
  EXPECT_TRUE(implant.has_value()) << (implant ? "" : implant.error().sentence());
  if (!implant) return {};
  FemurOptions femur_options;
  femur_options.scale = MillimetresPerPixel{hip.pitch_mm};
  const auto femur = find_femur(film, *implant, femur_options);
  EXPECT_TRUE(femur.has_value());
  return {*implant, femur.value_or(Femur{})};
}

Found found_on(const Hip& hip) { return found_on(hip, drawn::film(hip)); }

/// A point of the film in the frame of the drawn shaft.
Vec2 in_bone(const Hip& hip, const Vec2& p_px) {
  return hip.stem_from_bone().inverse().apply(hip.mm(p_px));
}

bool has_flag(const Femur& femur, const std::string& id) {
  for (const Flag& f : femur.flags) {
    if (f.id == id) return true;
  }
  return false;
}

/// Within 2 mm of where it was drawn, and within three times its own u.
void expect_lesser(const Hip& hip, const Femur& femur) {
  ASSERT_TRUE(femur.lesser_trochanter.has_value());
  const double error = (hip.mm(femur.lesser_trochanter->px) - hip.lesser()).norm();
  EXPECT_LT(error, 2.0);
  EXPECT_LT(error, 3.0 * femur.lesser_trochanter->u_px * hip.pitch_mm);
}

struct FemurRow {
  std::string name;
  double pitch_mm, turn_deg, noise, shaft_deg;
  friend void PrintTo(const FemurRow& row, std::ostream* os) { *os << row.name; }
};

class FemurTable : public testing::TestWithParam<FemurRow> {
 protected:
  static Hip hip() {
    Hip h;
    h.pitch_mm = GetParam().pitch_mm;
    h.turn_deg = GetParam().turn_deg;
    h.noise = GetParam().noise;
    h.shaft_deg = GetParam().shaft_deg;
    return drawn::sized(h, 198.0, 288.0);
  }
};

/// Direction of the shaft's axis that was found against the drawn one, degrees.
double shaft_error(const Hip& hip, const Femur& femur) {
  const Vec2 direction =
      hip.stem_from_bone().rotation().transpose() *
      (hip.film_from_stem().rotation().transpose() * femur.shaft_axis->line_px.direction);
  return angle_between(Vec2::UnitY(), direction) / kDegree;
}

/// Root mean square distance of a cortex from the straight line x = truth, below 75 mm.
double off_line(const Hip& hip, const Polyline& cortex, double truth) {
  double squares = 0.0;
  double n = 0.0;
  for (const Vec2& p : cortex) {
    const Vec2 q = in_bone(hip, p);
    if (q.y() < 75.0) continue;
    squares += (q.x() - truth) * (q.x() - truth);
    n += 1.0;
  }
  EXPECT_GT(n, 100.0);
  return std::sqrt(squares / n);
}

// The truth is what was drawn. Landmarks within twice the standard uncertainty that they state
// (95 %); the shaft's axis within 0.25 degrees, which is what the tilt of one film needs (house
// choice: 0.2 degrees of tilt move the head by 0.1 mm); cortices within one cell of the search grid
// (0.4 mm).
TEST_P(FemurTable, IsFoundWhereItWasDrawn) {
  const Hip h = hip();
  const Femur f = found_on(h).femur;
  ASSERT_TRUE(f.shaft_axis.has_value());
  EXPECT_NEAR(shaft_error(h, f), 0.0, 0.25);
  EXPECT_NEAR(in_bone(h, f.shaft_axis->line_px.point).x(), -1.0, 0.3);
  EXPECT_GT(f.shaft_axis->direction_u.value, 0.0);
  EXPECT_LT(off_line(h, f.lateral_cortex_px, -16.0), 0.4);
  EXPECT_LT(off_line(h, f.medial_cortex_px, 14.0), 0.4);

  ASSERT_TRUE(f.lesser_trochanter.has_value());
  const Vec2 lesser = in_bone(h, f.lesser_trochanter->px) - Vec2(23.0, 42.0);
  EXPECT_LT(lesser.norm(), 2.0 * f.lesser_trochanter->u_px * h.pitch_mm);
  EXPECT_LT(f.lesser_trochanter->u_px * h.pitch_mm, 1.5);
  ASSERT_TRUE(f.greater_trochanter.has_value());
  const Vec2 greater = in_bone(h, f.greater_trochanter->px) - Vec2(-20.0, -20.0);
  EXPECT_LT(greater.norm(), 2.0 * f.greater_trochanter->u_px * h.pitch_mm);
  // Along the shaft, where it counts, its top is known far better than across.
  EXPECT_LT(std::abs(greater.y()), 0.6);
  EXPECT_TRUE(f.flags.empty());
}

INSTANTIATE_TEST_SUITE_P(Films, FemurTable,
                         testing::Values(FemurRow{"Upright", 0.3, 0.0, 0.0, -1.5},
                                         FemurRow{"TurnedBy3", 0.3, 3.0, 0.0, -1.5},
                                         FemurRow{"SmallerPixels", 0.2, 0.0, 0.0, -1.5},
                                         FemurRow{"StemInValgus", 0.3, -5.0, 0.02, 2.0},
                                         FemurRow{"Grain", 0.3, 0.0, 0.03, -1.5}),
                         [](const auto& row) { return row.param.name; });

// The cut's corner stands out as much; 20 mm and less are left between the two.
TEST(FindFemur, TellsALesserTrochanterFromTheCornerOfTheCut) {
  for (const double level : {22.0, 26.0, 30.0}) {
    Hip hip;
    hip.noise = 0.02;
    hip.lesser_bump = 8.0;
    hip.lesser_at = level;
    SCOPED_TRACE(level);
    expect_lesser(hip, found_on(hip).femur);
  }
}

// A thin stem in a wide femur: the trochanter's top stands 21 mm from the stem's flank.
TEST(FindFemur, FindsALesserTrochanterFarFromAThinStem) {
  Hip hip;
  hip.noise = 0.02;
  hip.lesser_bump = 14.0;
  expect_lesser(hip, found_on(hip).femur);
}

// Below the tip of a short stem that stands askew the shaft leaves the stem's axis.
TEST(FindFemur, FindsTheShaftBelowAShortStemThatStandsAskew) {
  for (const double lean : {-8.0, 8.0}) {
    Hip hip;
    hip.noise = 0.02;
    hip.tip = Vec2(0.0, 72.0);
    hip.shaft_deg = lean;
    const Femur f = found_on(hip).femur;
    ASSERT_TRUE(f.shaft_axis.has_value()) << lean;
    const double off = shaft_error(hip, f);
    EXPECT_LT(std::abs(off), 0.4) << lean;
    EXPECT_LT(std::abs(off), 3.0 * f.shaft_axis->direction_u.value) << lean;
  }
}

// ---------------------------------------------------------------- what is not there

TEST(FindFemur, LeavesOutALesserTrochanterThatIsNotThere) {
  Hip hip;
  hip.noise = 0.02;
  hip.lesser_bump = 0.0;
  const Femur f = found_on(hip).femur;
  EXPECT_FALSE(f.lesser_trochanter.has_value());
  EXPECT_TRUE(has_flag(f, "lesser_trochanter_not_seen"));
  EXPECT_TRUE(f.shaft_axis.has_value());
  EXPECT_TRUE(f.greater_trochanter.has_value());
}

TEST(FindFemur, FindsNoBoneWhereNoneWasDrawn) {
  Hip hip;
  hip.noise = 0.02;
  hip.bone = 0.0;
  const Femur f = found_on(hip).femur;
  EXPECT_FALSE(f.greater_trochanter.has_value());
  EXPECT_TRUE(has_flag(f, "greater_trochanter_not_seen"));
  EXPECT_FALSE(f.lesser_trochanter.has_value());
  EXPECT_TRUE(has_flag(f, "lesser_trochanter_not_seen"));
  EXPECT_FALSE(f.shaft_axis.has_value());
  EXPECT_TRUE(has_flag(f, "shaft_axis_not_seen"));
}

// Then no bone lies beside the shoulder, from where it is looked for else.
TEST(FindFemur, FindsAGreaterTrochanterThatTheShoulderStandsAbove) {
  Hip hip;
  hip.noise = 0.02;
  hip.shoulder = Vec2(-12.0, -36.0);
  const Femur f = found_on(hip).femur;
  ASSERT_TRUE(f.greater_trochanter.has_value());
  const Vec2 off = in_bone(hip, f.greater_trochanter->px) - Vec2(-20.0, -20.0);
  EXPECT_LT(std::abs(off.y()), 0.6);
  EXPECT_LT(off.norm(), 2.5);
}

/// A film with a bar as bright as metal, 3 mm wide, between two points of the bone's frame, mm.
film::FilmImage with_bar(const Hip& hip, const Vec2& from, const Vec2& to) {
  film::FilmImage film = drawn::film(hip);
  const float metal = *std::max_element(film.pixels.values.begin(), film.pixels.values.end());
  const Vec2 along = (to - from).normalized();
  for (int y = 0; y < film.pixels.height; ++y) {
    for (int x = 0; x < film.pixels.width; ++x) {
      const Vec2 off = in_bone(hip, Vec2(x, y)) - from;
      const double s = off.dot(along);
      if (s < 0.0 || s > (to - from).norm() || (off - s * along).norm() > 1.5) continue;
      film.pixels.at(x, y) = metal;
    }
  }
  return film;
}

// A letter beside the tip: its outline is whole to the top from the lateral side.
TEST(FindFemur, FindsAGreaterTrochanterWhoseMedialSideIsHidden) {
  const Hip hip;
  const Femur f = found_on(hip, with_bar(hip, Vec2(-16.0, -26.0), Vec2(-13.0, -12.0))).femur;
  ASSERT_TRUE(f.greater_trochanter.has_value());
  const Vec2 off = in_bone(hip, f.greater_trochanter->px) - Vec2(-20.0, -20.0);
  EXPECT_LT(off.norm(), 2.0 * f.greater_trochanter->u_px * hip.pitch_mm);
}

TEST(FindFemur, LeavesOutAGreaterTrochanterOutsideTheFilm) {
  Hip hip;
  hip.noise = 0.02;
  hip.place_mm = Vec2(17.0, 95.0);  // the film ends 17 mm lateral of the stem's axis
  const Femur f = found_on(hip).femur;
  EXPECT_FALSE(f.greater_trochanter.has_value());
  EXPECT_TRUE(has_flag(f, "greater_trochanter_not_seen"));
}

// ---------------------------------------------------------------- inputs

TEST(FindFemur, RefusesAScaleThatIsNone) {
  const Hip hip = drawn::sized({}, 60.0, 60.0);
  const film::FilmImage film = drawn::film(hip);
  for (const double scale : {0.0, -0.3, std::numeric_limits<double>::quiet_NaN()}) {
    FemurOptions options;
    options.scale = MillimetresPerPixel{scale};
    const auto femur = find_femur(film, {}, options);
    ASSERT_FALSE(femur.has_value()) << scale;
    EXPECT_EQ(femur.error().kind, ErrorKind::kBadInput);
    EXPECT_FALSE(femur.error().remedy.empty());
  }
}

TEST(GivenLandmarks, OfTheFemurReplaceWhatWasFound) {
  Hip hip;
  hip.noise = 0.02;
  const film::FilmImage film = drawn::film(hip);
  const Found found = found_on(hip);
  FemurOptions options;
  options.scale = MillimetresPerPixel{hip.pitch_mm};
  options.given.lesser_trochanter_px = hip.px(Vec2(21.0, 40.0));
  options.given.greater_trochanter_px = hip.px(Vec2(-19.0, -18.0));
  options.given.shaft_axis_px = Line2{hip.px(Vec2(0.0, 120.0)), Vec2(0.02, -1.0).normalized()};
  const auto femur = find_femur(film, found.implant, options);
  ASSERT_TRUE(femur.has_value());
  EXPECT_EQ(femur->lesser_trochanter->px, *options.given.lesser_trochanter_px);
  EXPECT_EQ(femur->lesser_trochanter->source, Source::kGiven);
  EXPECT_EQ(femur->greater_trochanter->px, *options.given.greater_trochanter_px);
  EXPECT_EQ(femur->greater_trochanter->source, Source::kGiven);
  EXPECT_EQ(femur->shaft_axis->source, Source::kGiven);
  EXPECT_GT(femur->shaft_axis->line_px.direction.y(), 0.0);
  EXPECT_GT(femur->lesser_trochanter->u_px, 0.0);
  EXPECT_GT(femur->shaft_axis->direction_u.value, 0.0);
}

// From the side a crest stands out as a trochanter does: what another film of the hip shows 20 mm
// lower is not this hump, and the shaft's axis is that below the level shown.
TEST(FindFemur, BelievesAHumpNearWhereAnotherFilmShowsTheTrochanter) {
  Hip hip;
  hip.noise = 0.02;
  const film::FilmImage film = drawn::film(hip);
  const Found found = found_on(hip);
  ASSERT_TRUE(found.femur.lesser_trochanter && found.femur.shaft_axis);
  const auto shown_at = [&](double level_mm) {
    FemurOptions options;
    options.scale = MillimetresPerPixel{hip.pitch_mm};
    options.lesser_level = Landmark{hip.px(Vec2(0.0, level_mm)), 5.0 / hip.pitch_mm};
    return find_femur(film, found.implant, options).value();
  };
  const Femur near = shown_at(47.0);
  ASSERT_TRUE(near.lesser_trochanter.has_value());
  EXPECT_LT((near.lesser_trochanter->px - found.femur.lesser_trochanter->px).norm() * hip.pitch_mm,
            0.5);
  const Femur far = shown_at(62.0);
  EXPECT_FALSE(far.lesser_trochanter.has_value());
  EXPECT_TRUE(has_flag(far, "lesser_trochanter_not_seen"));
  ASSERT_TRUE(far.shaft_axis.has_value());
  EXPECT_GT(far.shaft_axis->line_px.point.y(), found.femur.shaft_axis->line_px.point.y());
}

// The shaft axis is that of the stretch 20 to 90 mm below the lesser trochanter, also where a hand
// says where that is: without one, its level is unknown by 8 mm, and so is the stretch.
TEST(GivenLandmarks, TheShaftAxisFollowsTheLesserTrochanter) {
  Hip hip;
  hip.noise = 0.02;
  hip.lesser_bump = 0.0;
  const film::FilmImage film = drawn::film(hip);
  const Found found = found_on(hip);
  ASSERT_TRUE(found.femur.shaft_axis && !found.femur.lesser_trochanter);
  FemurOptions options;
  options.scale = MillimetresPerPixel{hip.pitch_mm};
  options.given.lesser_trochanter_px = hip.px(Vec2(14.0, 42.0));
  const auto femur = find_femur(film, found.implant, options);
  ASSERT_TRUE(femur && femur->shaft_axis);
  EXPECT_LT(femur->shaft_axis->direction_u.value, 0.7 * found.femur.shaft_axis->direction_u.value);
  EXPECT_NE(femur->shaft_axis->line_px.point, found.femur.shaft_axis->line_px.point);
}

// Marked by hand where it was not found: the flag must go.
TEST(GivenLandmarks, TakeTheFlagOfWhatWasNotSeenAway) {
  Hip hip;
  hip.noise = 0.02;
  hip.lesser_bump = 0.0;
  const film::FilmImage film = drawn::film(hip);
  const Found found = found_on(hip);
  ASSERT_TRUE(has_flag(found.femur, "lesser_trochanter_not_seen"));
  FemurOptions options;
  options.scale = MillimetresPerPixel{hip.pitch_mm};
  options.given.lesser_trochanter_px = hip.px(Vec2(14.0, 42.0));
  const auto femur = find_femur(film, found.implant, options);
  ASSERT_TRUE(femur.has_value());
  EXPECT_FALSE(has_flag(*femur, "lesser_trochanter_not_seen"));
}

}  // namespace
}  // namespace tidemark::anatomy
