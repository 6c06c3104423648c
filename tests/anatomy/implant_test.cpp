#include "tidemark/anatomy/implant.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <ostream>
#include <string>

#include "anatomy/drawn.h"

namespace tidemark::anatomy {
namespace {

using drawn::Hip;
using drawn::kDegree;

ImplantOptions with_head(double diameter_mm) {
  ImplantOptions options;
  options.head_diameter = Millimetres{diameter_mm};
  return options;
}

/// Direction of a line on the film as seen from the stem's axis, degrees clockwise.
double turn_against_axis(const Hip& hip, const Vec2& direction) {
  const Vec2 d = hip.film_from_stem().rotation().transpose() * direction;
  return angle_between(Vec2::UnitY(), d) / kDegree;
}

// ---------------------------------------------------------------- drawn films

struct DrawnRow {
  std::string name;
  double pitch_mm;
  double turn_deg;
  double blur_mm;
  double noise;
  std::function<ImplantOptions()> options = [] { return with_head(32.0); };
  double head_radius_mm = 16.0;

  friend void PrintTo(const DrawnRow& row, std::ostream* os) { *os << row.name; }
};

class DrawnTable : public testing::TestWithParam<DrawnRow> {
 protected:
  static Hip hip() {
    const DrawnRow& row = GetParam();
    Hip h;
    h.pitch_mm = row.pitch_mm;
    h.turn_deg = row.turn_deg;
    h.blur_mm = row.blur_mm;
    h.noise = row.noise;
    h.head.radius = row.head_radius_mm;
    return drawn::sized(h, 198.0, 288.0);
  }
};

/// Every outline point against the formula the film was drawn from.
void expect_outline(const Hip& hip, const Implant& found) {
  const Polyline ring = drawn::stem_outline(hip);
  double squares = 0.0;
  double worst = 0.0;
  for (const Vec2& p : found.outline_px) {
    const double off = std::abs(drawn::to_stem(hip, ring, hip.mm(p)));
    squares += off * off;
    worst = std::max(worst, off);
  }
  const auto n = static_cast<double>(found.outline_px.size());
  EXPECT_GT(n, 400.0);  // 0.5 mm apart, 300 mm round
  EXPECT_LT(std::sqrt(squares / n), 0.1);
  EXPECT_LT(worst, 0.8);  // the corners between neck and body are rounded by the tracing
}

void expect_masks(const Hip& hip, const Implant& found) {
  const Polyline ring = drawn::stem_outline(hip);
  int missed = 0;
  int extra = 0;
  int not_metal = 0;
  for (int y = 2; y < found.stem.height - 2; y += 3) {
    for (int x = 2; x < found.stem.width - 2; x += 3) {
      const Vec2 p = hip.mm(Vec2(x, y));
      const double d = drawn::to_stem(hip, ring, p);
      if (d < -1.0 && found.stem.at(x, y) == 0) ++missed;
      if (d > 2.0 && found.stem.at(x, y) != 0) ++extra;
      const bool cup = (p - hip.cup.centre).norm() < hip.cup.radius - 1.0;
      if ((d < -1.0 || cup) && found.metal.at(x, y) == 0) ++not_metal;
    }
  }
  EXPECT_EQ(missed, 0);
  EXPECT_EQ(extra, 0);
  EXPECT_EQ(not_metal, 0);
}

// The truth is what was drawn. Derived tolerance of the head: an edge of step A = 1.8 and total
// blur t (drawn 1 px at 0.3 mm, searched with 0.83 px: t = 1.30 px), in grain of n, is located to
// sd(f'') / f''' per lane of pixels: sd(f'')^2 = n^2 0.2116 / 0.83^5, f''' = A / (2.507 t^3), that
// is 2.2 n px; 335 lanes share the rim, so each coordinate of the centre has 0.17 n px. Four times
// that for the roughest row, n = 0.06: 0.04 px. Bilinear sampling adds less than 0.01 px.
// The other limits are what the finder itself states: twice its standard uncertainty (95 %).
TEST_P(DrawnTable, IsFoundWhereItWasDrawn) {
  const Hip h = hip();
  const auto found = find_implant(drawn::film(h), GetParam().options());
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const Vec2 head = found->head.circle_px.centre - h.px(h.head.centre);
  EXPECT_NEAR(head.x(), 0.0, 0.05);
  EXPECT_NEAR(head.y(), 0.0, 0.05);
  EXPECT_NEAR(2.0 * found->head.circle_px.radius * h.pitch_mm, 2.0 * h.head.radius, 0.03);
  EXPECT_EQ(found->head.source, Source::kFound);

  const double axis = turn_against_axis(h, found->axis.line_px.direction);
  EXPECT_LT(std::abs(axis), 2.0 * found->axis.direction_u.value);
  EXPECT_LT(found->axis.direction_u.value, 0.03);
  EXPECT_NEAR(h.mm(found->axis.line_px.point).x(), 0.0, 0.05);

  const Vec2 tip = h.mm(found->tip.px) - h.tip;
  EXPECT_LT(std::abs(tip.y()), 2.0 * found->tip.u_px * h.pitch_mm);
  EXPECT_LT(tip.norm(), 0.3);
  const Vec2 shoulder = h.mm(found->shoulder.px) - h.shoulder;
  EXPECT_LT(shoulder.norm(), 2.0 * found->shoulder.u_px * h.pitch_mm);
  EXPECT_LT(found->shoulder.u_px * h.pitch_mm, 0.5);
  EXPECT_GT(found->confidence, 0.8);
  EXPECT_TRUE(found->flags.empty());

  ASSERT_TRUE(found->cup.has_value());
  EXPECT_LT((h.mm(found->cup->circle_px.centre) - h.cup.centre).norm(), 0.15);
  EXPECT_NEAR(2.0 * found->cup->circle_px.radius * h.pitch_mm, 54.0, 0.15);
  expect_outline(h, *found);
  expect_masks(h, *found);
}

ImplantOptions coarse_hint() {  // the pitch at the detector: 20 % too large at the patient
  ImplantOptions options = with_head(32.0);
  options.scale_hint = MillimetresPerPixel{0.36};
  return options;
}

INSTANTIATE_TEST_SUITE_P(Films, DrawnTable,
                         testing::Values(DrawnRow{"Upright", 0.3, 0.0, 0.3, 0.0},
                                         DrawnRow{"TurnedBy3", 0.3, 3.0, 0.3, 0.0},
                                         DrawnRow{"TurnedByMinus5", 0.3, -5.0, 0.3, 0.0},
                                         DrawnRow{"SmallerPixels", 0.2, 0.0, 0.3, 0.0},
                                         DrawnRow{"Blurred", 0.3, 0.0, 0.6, 0.0},
                                         DrawnRow{"Grain", 0.3, 0.0, 0.3, 0.03},
                                         DrawnRow{"CoarseGrainTurned", 0.3, 3.0, 0.3, 0.06},
                                         DrawnRow{"ScaleHint", 0.3, 0.0, 0.3, 0.03, coarse_hint},
                                         DrawnRow{"SizeOfHeadUnknown", 0.3, 0.0, 0.3, 0.03,
                                                  [] { return ImplantOptions{}; }, 14.0}),
                         [](const auto& row) { return row.param.name; });

// The outline runs from the lateral neck over the shoulder and the tip to the medial neck, and the
// reference point lies on the axis 10 mm distal to the shoulder's level (definition, implant.h).
TEST(FindImplant, OutlineAndReferencePointFollowTheirDefinitions) {
  const Hip hip;
  const auto found = find_implant(drawn::film(hip), with_head(32.0));
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const auto nearest = [&](const Vec2& q) {
    const auto by = [&](const Vec2& a, const Vec2& b) { return (a - q).norm() < (b - q).norm(); };
    return std::min_element(found->outline_px.begin(), found->outline_px.end(), by) -
           found->outline_px.begin();
  };
  EXPECT_LT(nearest(hip.px(Vec2(-12.0, -10.0))), nearest(hip.px(Vec2(-5.5, 70.0))));
  EXPECT_LT(nearest(hip.px(Vec2(-5.5, 70.0))), nearest(hip.px(Vec2(0.0, 119.0))));
  EXPECT_LT(nearest(hip.px(Vec2(0.0, 119.0))), nearest(hip.px(Vec2(5.5, 70.0))));
  const Vec2 reference = hip.mm(found->reference_px);
  EXPECT_NEAR(reference.x(), 0.0, 0.1);
  EXPECT_NEAR(reference.y(), 0.0, 0.5);
  EXPECT_NEAR(signed_distance(found->axis.line_px, found->reference_px), 0.0, 1e-9);
  // The 10 mm are counted in the scale of the first look at the head, good to 1 or 2 %.
  EXPECT_NEAR(along(found->axis.line_px, found->reference_px) -
                  along(found->axis.line_px, found->shoulder.px),
              10.0 / hip.pitch_mm, 0.02 * 10.0 / hip.pitch_mm);
}

// ---------------------------------------------------------------- which hip

film::FilmImage mirrored(const film::FilmImage& film) {
  return film::as_right_hip(film, Side::kLeft);
}

TEST(FindImplant, OfTwoHipsTakesTheOneWhoseHeadLiesMedially) {
  Hip right = drawn::sized({}, 190.0, 280.0);
  right.noise = 0.02;
  right.place_mm = Vec2(85.0, 95.0);
  Hip other = right;
  other.seed = 2;
  const film::FilmImage a = drawn::film(right);
  const film::FilmImage b = mirrored(drawn::film(other));
  film::FilmImage both = a;
  both.pixels = Raster(2 * right.columns, right.rows);
  for (int y = 0; y < right.rows; ++y) {
    for (int x = 0; x < right.columns; ++x) {
      both.pixels.at(x, y) = a.pixels.at(x, y);
      both.pixels.at(x + right.columns, y) = b.pixels.at(x, y);
    }
  }
  const auto found = find_implant(both, with_head(32.0));
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_LT((found->head.circle_px.centre - right.px(right.head.centre)).norm(), 0.5);
  // Told the other side, the same film gives the other hip.
  const auto again = find_implant(mirrored(both), with_head(32.0));
  ASSERT_TRUE(again.has_value()) << again.error().sentence();
  EXPECT_LT((again->head.circle_px.centre - right.px(right.head.centre)).norm(), 0.5);
}

// ---------------------------------------------------------------- refusals

struct RefusalRow {
  std::string name;
  std::function<film::FilmImage()> film;
  ErrorKind kind;
  std::string says;

  friend void PrintTo(const RefusalRow& row, std::ostream* os) { *os << row.name; }
};

film::FilmImage flat(int columns, int rows, double noise) {
  film::FilmImage out;
  out.facts.file = "drawn.png";
  out.pixels = Raster(columns, rows);
  Random random(5);
  for (float& v : out.pixels.values) v = static_cast<float>(1.0 + random.normal(0.0, noise));
  return out;
}

film::FilmImage altered(const std::function<void(Hip&)>& change) {
  Hip hip;
  hip.noise = 0.02;
  change(hip);
  return drawn::film(hip);
}

class RefusalTable : public testing::TestWithParam<RefusalRow> {};

TEST_P(RefusalTable, SaysWhyAndWhatToDo) {
  const RefusalRow& row = GetParam();
  const auto found = find_implant(row.film(), with_head(32.0));
  ASSERT_FALSE(found.has_value()) << "head at " << found->head.circle_px.centre.transpose();
  EXPECT_EQ(found.error().kind, row.kind);
  EXPECT_EQ(found.error().subject, "drawn.png");
  EXPECT_THAT(found.error().wrong, testing::HasSubstr(row.says));
  EXPECT_FALSE(found.error().remedy.empty());
}

INSTANTIATE_TEST_SUITE_P(
    Films, RefusalTable,
    testing::Values(
        RefusalRow{"TooSmall", [] { return flat(90, 400, 0.1); }, ErrorKind::kBadInput,
                   "too small"},
        RefusalRow{"Blank", [] { return flat(660, 960, 0.0); }, ErrorKind::kCannotTell, "no"},
        RefusalRow{"NothingButGrain", [] { return flat(660, 960, 0.2); }, ErrorKind::kCannotTell,
                   ""},
        RefusalRow{"BoneWithoutMetal", [] { return altered([](Hip& h) { h.metal = 0.0; }); },
                   ErrorKind::kCannotTell, ""},
        RefusalRow{"StemCutByTheLowerBorderSoonBelowTheShoulder",
                   [] { return altered([](Hip& h) { h.rows = static_cast<int>(135.0 / 0.3); }); },
                   ErrorKind::kCannotTell, ""},
        RefusalRow{"TurnedOver", [] { return film::inverted(altered([](Hip&) {})); },
                   ErrorKind::kCannotTell, ""}),
    [](const auto& row) { return row.param.name; });

/// The same hip so many mm nearer to the film's upper end.
Hip higher(Hip hip, double by_mm) {
  hip.place_mm -= Vec2(0.0, by_mm);
  return hip;
}

// Guards a fall from a likely hip that leaves the film to an unlikely one beside it.
TEST(FindImplant, RefusesAStemCutLengthwise) {
  for (const double border : {1.0, 3.0, 6.0, 10.0}) {
    const auto found =
        find_implant(altered([&](Hip& h) { h.place_mm = Vec2(border, 95.0); }), with_head(32.0));
    EXPECT_FALSE(found.has_value()) << border;
  }
}

// The shoulder lies 1.9 mm from the border and the flank 3.5 mm from it 13 mm farther down: as the
// edge of a lead shutter does, whose halo makes the border look nearer than it is.
TEST(FindImplant, RefusesAFlankThatRunsAlongTheBorder) {
  const auto found =
      find_implant(altered([](Hip& h) { h.place_mm = Vec2(13.9, 95.0); }), with_head(32.0));
  ASSERT_FALSE(found.has_value());
  EXPECT_THAT(found.error().remedy, testing::HasSubstr("the stem in its whole width"));
}

// The tip is at 95 + some 110 mm of the film's height. What is seen of the stem is found as on the
// whole film; of the tip nothing is claimed.
TEST(FindImplant, FollowsAStemThatTheLowerBorderCuts) {
  for (const double turn : {0.0, 3.0}) {
    Hip whole;
    whole.noise = 0.02;
    whole.turn_deg = turn;
    Hip cut = whole;
    cut.rows = static_cast<int>(180.0 / 0.3);
    const auto all = find_implant(drawn::film(whole), with_head(32.0));
    const auto part = find_implant(drawn::film(cut), with_head(32.0));
    ASSERT_TRUE(all.has_value()) << all.error().sentence();
    ASSERT_TRUE(part.has_value()) << part.error().sentence();
    EXPECT_EQ(all->end, StemEnd::kTip);
    EXPECT_EQ(part->end, StemEnd::kFieldBorder);
    EXPECT_LT((part->shoulder.px - all->shoulder.px).norm(),
              3.0 * std::hypot(part->shoulder.u_px, all->shoulder.u_px));
    EXPECT_LT((part->head.circle_px.centre - all->head.circle_px.centre).norm() * 0.3, 0.02);
    const double apart =
        angle_between(part->axis.line_px.direction, all->axis.line_px.direction) * 180.0 / 3.14159;
    EXPECT_LT(std::abs(apart), 0.1);
    EXPECT_LT(std::abs(apart), 3.0 * part->axis.direction_u.value);
    EXPECT_GT(part->tip.u_px * 0.3, 50.0) << "mm: where the tip is nobody knows";
    for (const Vec2& p : part->outline_px) {
      EXPECT_LT(p.y() * 0.3, 180.0 - 3.5) << "the film's end is no outline";
    }
    const auto says_no_tip = [](const Implant& found) {
      return std::any_of(found.flags.begin(), found.flags.end(),
                         [](const Flag& f) { return f.id == "tip_outside_field"; });
    };
    EXPECT_TRUE(says_no_tip(*part));
    ImplantOptions marked = with_head(32.0);
    marked.given.stem_tip_px = all->tip.px;
    EXPECT_FALSE(says_no_tip(with_given(*part, marked)));
  }
}

// A field that ends within the head, beyond its middle: the rim beside the neck is whole, and the
// neck hangs together with what is left of it.
TEST(FindImplant, FindsAHeadWhoseMiddleLiesOutsideOfTheField) {
  for (const double outside_mm : {-4.0, 2.0}) {
    const Hip whole;
    const double middle_mm = whole.px(whole.head.centre).y() * whole.pitch_mm;
    const Hip cut = higher(whole, middle_mm + outside_mm);
    ASSERT_NEAR(cut.px(cut.head.centre).y() * cut.pitch_mm, -outside_mm, 0.01);
    const auto found = find_implant(drawn::film(cut), with_head(32.0));
    ASSERT_TRUE(found.has_value()) << found.error().sentence();
    const Circle2& head = found->head.circle_px;
    EXPECT_LT((head.centre - cut.px(cut.head.centre)).norm() * cut.pitch_mm, 0.3) << outside_mm;
    EXPECT_LT(std::abs(2.0 * head.radius * cut.pitch_mm - 32.0), 0.5) << outside_mm;
    EXPECT_LT((cut.mm(found->tip.px) - cut.tip).norm(), 0.3);
  }
}

// Clipped metal has no fall of grey where the border cuts it, whatever the pitch and the grain.
TEST(FindImplant, TakesNoBorderForTheTipOfClippedMetal) {
  for (const double pitch : {0.143, 0.2, 0.3}) {
    for (const double noise : {0.0, 0.02}) {
      Hip hip;
      hip.pitch_mm = pitch;
      hip.noise = noise;
      hip.clip = 1.9;
      const auto found =
          find_implant(drawn::film(drawn::sized(hip, 198.0, 180.0)), with_head(32.0));
      ASSERT_TRUE(found.has_value()) << found.error().sentence();
      EXPECT_EQ(found->end, StemEnd::kFieldBorder) << pitch << " " << noise;
    }
  }
}

// A polished taper ends in a point that is thinner than any bridge to a wire.
TEST(FindImplant, FollowsASlenderTipToItsEnd) {
  for (const double radius : {1.0, 1.5, 3.0}) {
    for (const double pitch : {0.2, 0.3}) {
      Hip hip;
      hip.pitch_mm = pitch;
      hip.noise = 0.02;
      hip.tip_radius = radius;
      const Hip whole = drawn::sized(hip, 198.0, 288.0);
      const auto found = find_implant(drawn::film(whole), with_head(32.0));
      ASSERT_TRUE(found.has_value()) << found.error().sentence();
      const double error = (whole.mm(found->tip.px) - whole.tip).norm();
      EXPECT_LT(error, radius < 2.0 ? 1.0 : 0.4) << radius << " " << pitch;
      EXPECT_LT(error, 2.0 * found->tip.u_px * pitch) << radius << " " << pitch;
    }
  }
}

// A small offset brings the shoulder as near to the head as a cup's rim may be.
TEST(FindImplant, FollowsTheShoulderWithinACupsReach) {
  Hip hip;
  hip.noise = 0.02;
  hip.head = {Vec2(18.0, -22.0), 18.0};
  hip.cup = {Vec2(18.5, -23.5), 29.0};
  const auto found = find_implant(drawn::film(hip), with_head(36.0));
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_LT((hip.mm(found->shoulder.px) - hip.shoulder).norm(), 0.6);
  EXPECT_FALSE(std::any_of(found->flags.begin(), found->flags.end(),
                           [](const Flag& f) { return f.id == "head_off_neck"; }));
}

// Within a deep shell as bright as the head only what is seen beside the neck tells them apart.
TEST(FindImplant, NeverTakesADeepShellForTheHeadWithoutSayingSo) {
  for (const double deep : {4.0, 9.0, 14.0, 20.0}) {
    for (const double radius : {11.0, 14.0, 18.0}) {
      Hip hip;
      hip.noise = 0.02;
      hip.head.radius = radius;
      hip.cup = {hip.head.centre, radius + 11.0};
      hip.cup_deep = deep;
      hip.clip = 1.65;
      const auto found = find_implant(drawn::film(hip), with_head(2.0 * radius));
      if (!found) continue;
      const Circle2& head = found->head.circle_px;
      const double off = std::abs(head.radius * hip.pitch_mm / radius - 1.0);
      const double u = found->head.diameter_u_px / (2.0 * head.radius);
      // Clipped at a third of its height, an edge of 0.3 mm's blur lies 0.4 mm farther out.
      EXPECT_TRUE(off * radius < 0.45 || u > 0.09 || found->confidence < 0.6)
          << deep << " " << radius << ": " << off << " with u " << u << ", " << found->confidence;
    }
  }
}

TEST(FindImplant, FindsAStemWhollyOnTheFilmCloseToItsBorder) {
  const Hip near = [] {
    Hip h;
    h.noise = 0.02;
    h.place_mm = Vec2(20.0, 95.0);  // the shoulder 8 mm from the border
    return h;
  }();
  const auto found = find_implant(drawn::film(near), with_head(32.0));
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_LT((near.mm(found->tip.px) - near.tip).norm(), 0.3);
}

// Guards a false head with a "stem" lateral of it on a film of the wrong side.
TEST(FindImplant, RefusesAHipOfTheOtherSide) {
  for (const double turn : {0.0, 3.0, -5.0}) {
    const auto film = altered([&](Hip& h) { h.turn_deg = turn; });
    EXPECT_FALSE(find_implant(mirrored(film), with_head(32.0)).has_value()) << turn;
  }
}

/// Adds `grey` wherever `where` holds, in mm of the stem's frame.
film::FilmImage with(const Hip& hip, double grey, const std::function<bool(const Vec2&)>& where) {
  film::FilmImage out = drawn::film(hip);
  for (int y = 0; y < hip.rows; ++y) {
    for (int x = 0; x < hip.columns; ++x) {
      if (where(hip.mm(Vec2(x, y)))) out.pixels.at(x, y) += static_cast<float>(grey);
    }
  }
  return out;
}

// Guards a tip put where a wire crosses the stem.
TEST(FindImplant, FollowsAStemPastAWireRoundTheBone) {
  Hip hip;
  hip.noise = 0.02;
  const auto wire = [](const Vec2& p) {
    const double from_wire = std::abs(p.y() - 60.0 - 0.15 * p.x());
    return from_wire < 1.2 && std::abs(p.x()) < 20.0;
  };
  const auto found = find_implant(with(hip, 1.2, wire), with_head(32.0));
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_LT((hip.mm(found->tip.px) - hip.tip).norm(), 0.4);
}

// Guards a cup measured by the dense bone round it.
TEST(FindImplant, TakesTheCupsRimNotTheBonesRoundIt) {
  Hip hip;
  hip.noise = 0.02;
  const auto bone = [&](const Vec2& p) {
    const double from_cup = (p - hip.cup.centre).norm() - hip.cup.radius;
    return from_cup < 1.3 && (p - hip.cup.centre).dot(Vec2(0.55, -0.83)) > -15.0;
  };
  const auto found = find_implant(with(hip, 0.1, bone), with_head(32.0));
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  ASSERT_TRUE(found->cup.has_value());
  EXPECT_NEAR(2.0 * found->cup->circle_px.radius * hip.pitch_mm, 54.0, 0.3);
}

// ---------------------------------------------------------------- marked by hand

TEST(GivenLandmarks, ReplaceWhatWasFound) {
  Hip hip;
  hip.noise = 0.02;
  const film::FilmImage film = drawn::film(hip);
  ImplantOptions options = with_head(32.0);
  options.given.stem_tip_px = hip.px(Vec2(0.5, 118.0));
  options.given.stem_shoulder_px = hip.px(Vec2(-11.0, -9.0));
  options.given.stem_axis_px = Line2{hip.px(Vec2(0.0, 60.0)), Vec2(0.01, -1.0).normalized()};
  const auto found = find_implant(film, options);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_EQ(found->tip.px, *options.given.stem_tip_px);
  EXPECT_EQ(found->tip.source, Source::kGiven);
  EXPECT_EQ(found->shoulder.px, *options.given.stem_shoulder_px);
  EXPECT_EQ(found->shoulder.source, Source::kGiven);
  EXPECT_EQ(found->axis.source, Source::kGiven);
  EXPECT_GT(found->axis.line_px.direction.y(), 0.0);  // turned so that it points distally
  EXPECT_GT(found->tip.u_px, 0.0);
  EXPECT_GT(found->axis.direction_u.value, 0.0);
  // The reference point is that of the given shoulder on the given axis.
  EXPECT_NEAR(signed_distance(*options.given.stem_axis_px, found->reference_px), 0.0, 1e-9);
  EXPECT_NEAR(hip.mm(found->reference_px).y(), 1.0, 0.15);
  EXPECT_EQ(found->head.source, Source::kFound);  // nobody touched the head

  // Laid over what is found without them they say the same.
  ImplantOptions searched = options;
  searched.given = for_search(options.given);
  const auto without = find_implant(film, searched);
  ASSERT_TRUE(without.has_value());
  EXPECT_NE(without->tip.px, found->tip.px);
  const Implant later = with_given(*without, options);
  EXPECT_EQ(later.tip.px, found->tip.px);
  EXPECT_EQ(later.shoulder.px, found->shoulder.px);
  EXPECT_EQ(later.axis.line_px.direction, found->axis.line_px.direction);
  EXPECT_EQ(later.reference_px, found->reference_px);
  EXPECT_EQ(later.outline_px, found->outline_px);
  options.given = {};
  options.given.stem_tip_px = hip.px(Vec2(0.5, 118.0));
  EXPECT_EQ(with_given(*without, options).reference_px, without->reference_px);
}

TEST(GivenLandmarks, HeadIsUsedAsItWasMarked) {
  Hip hip;
  hip.noise = 0.02;
  ImplantOptions options = with_head(32.0);
  options.given.head_centre_px = hip.px(hip.head.centre) + Vec2(1.0, -0.7);
  options.given.head_diameter_px = 2.0 * 16.2 / hip.pitch_mm;
  const auto found = find_implant(drawn::film(hip), options);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_EQ(found->head.circle_px.centre, *options.given.head_centre_px);
  EXPECT_NEAR(2.0 * found->head.circle_px.radius, *options.given.head_diameter_px, 1e-9);
  EXPECT_EQ(found->head.source, Source::kGiven);
  // The stem is found on the film all the same.
  EXPECT_LT((hip.mm(found->tip.px) - hip.tip).norm(), 0.3);
}

// Guards the uncertainty of a head marked by hand: that of a click, not of the rim fitted
// elsewhere.
TEST(GivenLandmarks, HeadCarriesTheUncertaintyOfAClick) {
  Hip hip;
  ImplantOptions options = with_head(32.0);
  options.given.head_centre_px = hip.px(hip.head.centre) + Vec2(1.0, -0.7);
  const auto found = find_implant(drawn::film(hip), options);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_GT(found->head.centre_u_px * hip.pitch_mm, 0.1);
}

// Whoever puts the centre elsewhere says that the circle that was found is not the head; its
// diameter, which gives the scale, is as doubtful.
TEST(GivenLandmarks, ACentreElsewhereLeavesTheDiameterInDoubt) {
  Hip hip;
  ImplantOptions options = with_head(32.0);
  options.given.head_centre_px = hip.px(hip.head.centre + Vec2(0.0, -8.0));
  const auto found = find_implant(drawn::film(hip), options);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  EXPECT_GT(found->head.diameter_u_px, 0.1 * found->head.circle_px.radius);
  EXPECT_EQ(found->flags.front().id, "head_off_neck");
}

TEST(GivenLandmarks, AHeadMarkedRightIsAsSureAsOneFound) {
  Hip hip;
  hip.noise = 0.02;
  const film::FilmImage film = drawn::film(hip);
  ImplantOptions options = with_head(32.0);
  const auto found = find_implant(film, options);
  ASSERT_TRUE(found.has_value());
  options.given.head_centre_px = found->head.circle_px.centre;
  options.given.head_diameter_px = 2.0 * found->head.circle_px.radius;
  const auto marked = find_implant(film, options);
  ASSERT_TRUE(marked.has_value());
  EXPECT_GT(marked->confidence, found->confidence - 0.05);
}

}  // namespace
}  // namespace tidemark::anatomy
