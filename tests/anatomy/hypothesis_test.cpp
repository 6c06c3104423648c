#include "../../modules/anatomy/src/hypothesis.h"

#include <gtest/gtest.h>

#include "drawn.h"

namespace tidemark::anatomy {
namespace {

using drawn::Hip;

/// A saturated head in a shell that opens towards the neck.
Hip hip_in_shell() {
  Hip hip;
  hip.noise = 0.02;
  hip.cup = {hip.head.centre, hip.head.radius + 8.0};
  hip.cup_deep = 3.0;
  hip.clip = 1.65;
  return hip;
}

// A circle between head and cup, as blurred films have led to; nothing is known of the neck but
// where it leaves that circle.
TEST(WithHeadTowards, FindsTheHeadOnItsNeckFromACircleThatLeansOnTheCup) {
  const Hip hip = hip_in_shell();
  const auto film = drawn::film(hip);
  const Pyramid pyramid(view_of(film.pixels));
  Hypothesis wrong;
  wrong.head_px = {hip.px(hip.head.centre + Vec2(3.0, -2.0)),
                   1.25 * hip.head.radius / hip.pitch_mm};
  const Vec2 foot(3.0, -4.0);
  const Vec2 on_neck = foot + 0.45 * (hip.head.centre - foot);
  ImplantOptions options;
  options.head_diameter = Millimetres{2.0 * hip.head.radius};
  const auto found =
      with_head_towards(pyramid, wrong, hip.px(on_neck), 12.0 / hip.pitch_mm, options);
  ASSERT_TRUE(found.has_value());
  EXPECT_LT((hip.mm(found->head_px.centre) - hip.head.centre).norm(), 0.8);
  EXPECT_NEAR(found->head_px.radius * hip.pitch_mm, hip.head.radius, 0.8);
}

TEST(WithHeadTowards, FindsNoneWhereNothingFalls) {
  const Pyramid pyramid(cv::Mat1f(960, 660, 0.5F));
  Hypothesis wrong;
  wrong.head_px = {Vec2(450.0, 200.0), 60.0};
  EXPECT_FALSE(with_head_towards(pyramid, wrong, Vec2(380.0, 270.0), 40.0, {}).has_value());
}

}  // namespace
}  // namespace tidemark::anatomy
