#include "../../modules/anatomy/src/neck.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "../../modules/anatomy/src/hypothesis.h"
#include "anatomy/drawn.h"
#include "tidemark/anatomy/implant.h"

namespace tidemark::anatomy {
namespace {

constexpr double kMmPerPx = 0.5;

/// A neck 12 mm wide along `direction` (towards the body), its sides from `near` to 25 mm, each
/// with a ragged start of 8 mm and a curve into the body; px.
Polyline drawn_neck(const Vec2& head_mm, const Vec2& direction, double taper_rad) {
  const Vec2 across(direction.y(), -direction.x());  // lateral side first
  const auto side = [&](double sign) {
    Polyline run;
    for (double s = 12.0; s < 20.0; s += 0.5) {
      const double ragged = std::lround(s) % 2 == 0 ? 1.0 : -1.0;
      run.push_back(head_mm + s * direction + sign * (4.0 + ragged) * across);
    }
    for (double s = 20.0; s < 33.0; s += 0.5) {
      run.push_back(head_mm + s * direction + sign * (6.0 + s * std::tan(taper_rad)) * across);
    }
    for (double s = 33.0; s < 45.0; s += 0.5) {
      const double curve = 6.0 + 33.0 * std::tan(taper_rad) + 0.12 * (s - 33.0) * (s - 33.0);
      run.push_back(head_mm + s * direction + sign * curve * across);
    }
    return run;
  };
  Polyline outline = side(1.0);
  const Polyline medial = side(-1.0);
  outline.insert(outline.end(), medial.rbegin(), medial.rend());
  for (Vec2& p : outline) p /= kMmPerPx;
  return outline;
}

double off_mm(const NeckAxis& neck, const Vec2& head_mm) {
  return signed_distance(neck.line, head_mm / kMmPerPx) * kMmPerPx;
}

TEST(NeckAxis, PassesThroughTheMiddleWhereverTheNeckPoints) {
  const Vec2 head(40.0, 30.0);
  for (const double degrees : {95.0, 120.0, 135.0, 150.0}) {
    const double a = degrees * std::numbers::pi / 180.0;
    const auto neck = neck_axis(drawn_neck(head, {std::cos(a), std::sin(a)}, 0.0), kMmPerPx);
    ASSERT_TRUE(neck.has_value()) << degrees;
    EXPECT_NEAR(off_mm(*neck, head), 0.0, 0.05) << degrees;
    EXPECT_NEAR(neck->width_mm, 12.0, 0.1) << degrees;
    EXPECT_GT(neck->line.direction.dot(Vec2(std::cos(a), std::sin(a))), 0.9999) << degrees;
  }
}

TEST(NeckAxis, OfATaperedNeckBisectsItsSides) {
  const Vec2 head(40.0, 30.0);
  const Vec2 way = Vec2(-0.7, 0.7).normalized();
  const auto neck = neck_axis(drawn_neck(head, way, 0.05), kMmPerPx);
  ASSERT_TRUE(neck.has_value());
  EXPECT_NEAR(off_mm(*neck, head), 0.0, 0.1);
}

TEST(NeckAxis, TellsAHeadBesideIt) {
  const Vec2 head(40.0, 30.0);
  const Vec2 way = Vec2(-0.7, 0.7).normalized();
  const auto neck = neck_axis(drawn_neck(head, way, 0.0), kMmPerPx);
  ASSERT_TRUE(neck.has_value());
  const Vec2 other = head + 9.0 * Vec2(-way.y(), way.x());
  EXPECT_NEAR(std::abs(off_mm(*neck, other)), 9.0, 0.05);
}

TEST(NeckAxis, IsAbsentWhereNothingIsStraight) {
  Polyline ring;
  for (int i = 0; i < 400; ++i) {
    const double a = 2.0 * std::numbers::pi * i / 400.0;
    ring.emplace_back(60.0 + 30.0 * std::cos(a), 60.0 + 30.0 * std::sin(a));
  }
  EXPECT_FALSE(neck_axis(ring, kMmPerPx).has_value());
  EXPECT_FALSE(neck_axis({}, kMmPerPx).has_value());
}

// Guards a dense circle in the cup taken for the head: its scale is wrong, too.
TEST(WithHeadOnNeck, FindsTheHeadFromACircleBesideIt) {
  drawn::Hip hip;
  hip.noise = 0.02;
  const film::FilmImage film = drawn::film(hip);
  const Vec2 foot = hip.px(Vec2(14.0, -13.6));
  const Vec2 way = (hip.px(Vec2(3.0, -4.0)) - hip.px(hip.head.centre)).normalized();
  const NeckAxis neck{{foot, way}, 12.0};
  ImplantOptions options;
  options.head_diameter = Millimetres{32.0};
  Hypothesis wrong;
  wrong.head_px = {hip.px(hip.head.centre + Vec2(9.0, 8.0)), 0.88 * 16.0 / hip.pitch_mm};
  wrong.mm_per_px = hip.pitch_mm / 0.88;
  const auto found = with_head_on_neck(Pyramid(view_of(film.pixels)), wrong, neck, options);
  ASSERT_TRUE(found.has_value());
  EXPECT_LT((hip.mm(found->head_px.centre) - hip.head.centre).norm(), 1.5);
  EXPECT_NEAR(found->mm_per_px, hip.pitch_mm, 0.05 * hip.pitch_mm);
}

TEST(WithHeadOnNeck, FindsNoneWhereNoneIs) {
  drawn::Hip hip;
  hip.noise = 0.02;
  hip.metal = 0.0;
  const film::FilmImage film = drawn::film(hip);
  Hypothesis wrong;
  wrong.head_px = {hip.px(hip.head.centre), 16.0 / hip.pitch_mm};
  wrong.mm_per_px = hip.pitch_mm;
  const NeckAxis neck{{hip.px(Vec2(14.0, -13.6)), Vec2(-0.7, 0.7).normalized()}, 12.0};
  EXPECT_FALSE(with_head_on_neck(Pyramid(view_of(film.pixels)), wrong, neck, {}).has_value());
}

}  // namespace
}  // namespace tidemark::anatomy
