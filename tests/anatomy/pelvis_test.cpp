#include "tidemark/anatomy/pelvis.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

// Films drawn from formulas: every place of the pelvis is known, so is the axis it mirrors in
// (geometry; no other source).
namespace tidemark::anatomy {
namespace {

constexpr double kPxPerMm = 2.0;
constexpr MillimetresPerPixel kScale{1.0 / kPxPerMm};
constexpr double kHeadFromAxis = 90.0;
constexpr double kTrochanterLevel = 60.0;  // below the heads

struct Scenery {
  double tilt_deg = 0.0;        ///< of the mirror, its lower end to the right
  double turned_mm = 0.0;       ///< upper parts shifted across by this, lower ones the other way
  double other_lower_mm = 0.0;  ///< the other lesser trochanter lies so much lower
  double width_mm = 330.0;      ///< of the film
  bool other_half = true;       ///< else the other half shows something else
  bool other_bulge = true;      ///< whether the other lesser trochanter stands out
};

double soft(double inside_mm) { return 1.0 / (1.0 + std::exp(-inside_mm / 0.6)); }

struct Ellipse {
  double across, along, half_across, half_along, turn_deg, rim;
  [[nodiscard]] double at(double a, double v) const {
    const double turn = turn_deg * std::numbers::pi / 180.0;
    const double x = std::cos(turn) * (a - across) + std::sin(turn) * (v - along);
    const double y = -std::sin(turn) * (a - across) + std::cos(turn) * (v - along);
    const double r = std::hypot(x / half_across, y / half_along);
    const double inside = (1.0 - r) * std::min(half_across, half_along);
    return soft(inside) - 0.6 * soft(inside - rim);  // a shell
  }
};

/// Like nothing in particular, but edges in all directions all over the ring.
const std::vector<Ellipse>& ring() {
  static const std::vector<Ellipse> all{{45, 55, 16, 24, -25, 3},  {28, 18, 30, 9, 25, 2},
                                        {62, -30, 14, 34, 15, 3},  {70, 40, 10, 30, 10, 2},
                                        {16, -42, 14, 10, 0, 2},   {40, -50, 9, 14, 30, 2},
                                        {20, 62, 18, 7, -20, 1.5}, {72, 5, 9, 22, -10, 2}};
  return all;
}

struct Drawn {
  film::FilmImage film;
  Implant implant;
  Femur femur;
};

class Painter {
 public:
  explicit Painter(const Scenery& scene)
      : scene_(scene), tilt_(scene.tilt_deg * std::numbers::pi / 180.0) {}
  [[nodiscard]] Vec2 px(double a, double v) const {
    const Vec2 along(std::sin(tilt_), std::cos(tilt_));
    const Vec2 across(along.y(), -along.x());
    return kPxPerMm * (origin_ + a * across + v * along);
  }
  [[nodiscard]] double value(const Vec2& px) const {
    const Vec2 p = px / kPxPerMm - origin_;
    const Vec2 along(std::sin(tilt_), std::cos(tilt_));
    const double a = p.dot(Vec2(along.y(), -along.x()));
    const double v = p.dot(along);
    const double side = a < 0.0 ? -1.0 : 1.0;
    double sum = 0.0;
    for (const Ellipse& one : ring()) {
      const double shift = side * (one.along < 10.0 ? scene_.turned_mm : -scene_.turned_mm);
      const bool other = side > 0.0 && !scene_.other_half;
      sum += other ? one.at(std::abs(v) + 0.3 * a, 80.0 - a) : one.at(std::abs(a) - shift, v);
    }
    const double lower = side > 0.0 ? scene_.other_lower_mm : 0.0;
    const double shaft = std::min({std::abs(a) - 105.0, 135.0 - std::abs(a), v - 15.0});
    double bone = soft(shaft);
    if (side < 0.0 || scene_.other_bulge) {
      const double bulge =
          std::hypot((std::abs(a) - 105.0) / 8.0, (v - kTrochanterLevel - lower) / 12.0);
      bone = std::max(bone, soft(8.0 * (1.0 - bulge)));
    }
    return sum + bone;
  }

 private:
  Scenery scene_;
  double tilt_;
  Vec2 origin_{155.0, 90.0};
};

Drawn draw(const Scenery& scene) {
  const Painter paint(scene);
  Drawn out;
  out.film.pixels = Raster(static_cast<int>(scene.width_mm * kPxPerMm), 440);
  Raster& pixels = out.film.pixels;
  out.implant.metal = Mask(pixels.width, pixels.height);
  const Vec2 head = paint.px(-kHeadFromAxis, 0.0);
  for (int y = 0; y < pixels.height; ++y) {
    for (int x = 0; x < pixels.width; ++x) {
      const Vec2 p(x, y);
      const bool metal = (p - head).norm() < 24.0 * kPxPerMm ||
                         (std::abs(x - paint.px(-120.0, 0.0).x()) < 10.0 && y > head.y());
      pixels.at(x, y) = static_cast<float>(metal ? 12.0 : paint.value(p));
      out.implant.metal.at(x, y) = metal ? 1 : 0;
    }
  }
  out.implant.head.circle_px = {head, 16.0 * kPxPerMm};
  out.implant.axis.line_px = {Vec2(paint.px(-120.0, 0.0).x(), head.y()), Vec2::UnitY()};
  out.implant.shoulder.px = out.implant.axis.line_px.point;
  out.implant.tip.px = out.implant.shoulder.px + Vec2(0.0, 200.0);
  FoundAxis shaft;
  shaft.line_px = {paint.px(-120.0, 60.0),
                   (paint.px(-120.0, 100.0) - paint.px(-120.0, 60.0)).normalized()};
  out.femur.shaft_axis = shaft;
  out.femur.lesser_trochanter = Landmark{paint.px(-97.0, kTrochanterLevel), 1.0, Source::kFound};
  return out;
}

Expected<Pelvis> found(const Scenery& scene) {
  const Drawn drawn = draw(scene);
  return find_pelvis(drawn.film, drawn.implant, drawn.femur, kScale);
}

double direction_deg(const Pelvis& pelvis) {
  const Vec2 d = pelvis.axis_px.direction;
  return std::atan2(d.x(), d.y()) * 180.0 / std::numbers::pi;
}

TEST(Pelvis, FindsTheAxisOfADrawnRing) {
  for (const double tilt : {-4.0, 0.3, 2.6}) {
    const auto pelvis = found({.tilt_deg = tilt});
    ASSERT_TRUE(pelvis) << pelvis.error().wrong;
    EXPECT_NEAR(direction_deg(*pelvis), tilt, 0.1);
    EXPECT_NEAR(signed_distance(pelvis->axis_px, kPxPerMm * Vec2(155.0, 90.0)) / kPxPerMm, 0.0,
                1.5);
    EXPECT_GE(pelvis->direction_u.value, 0.3);
    EXPECT_LT(pelvis->direction_u.value, 1.0);  // still of use: 3.5 mm over 200 mm
  }
}

/// A pelvis turned about its long axis shifts near and far parts across, in opposite ways. The
/// mirror that overlays best leans by some 2 x 3 mm over the 100 mm between them, 3 degrees; along
/// the axis nothing has moved.
TEST(Pelvis, ItsDirectionDoesNotFollowATurnAboutTheLongAxis) {
  const auto pelvis = found({.tilt_deg = 1.0, .turned_mm = 2.0});
  ASSERT_TRUE(pelvis) << pelvis.error().wrong;
  EXPECT_NEAR(direction_deg(*pelvis), 1.0, 0.3);
}

TEST(Pelvis, FindsTheOtherLesserTrochanterWhereItLies) {
  for (const double lower : {-9.0, 0.0, 6.5}) {
    const Scenery scene{.tilt_deg = 1.5, .other_lower_mm = lower};
    const auto pelvis = found(scene);
    ASSERT_TRUE(pelvis) << pelvis.error().wrong;
    ASSERT_TRUE(pelvis->other_lesser_trochanter) << pelvis->reason;
    const Vec2 true_px = Painter(scene).px(97.0, kTrochanterLevel + lower);
    EXPECT_NEAR((pelvis->other_lesser_trochanter->px - true_px).norm() / kPxPerMm, 0.0, 0.5);
  }
}

TEST(Pelvis, AHiddenLesserTrochanterIsNotSeen) {
  const auto pelvis = found({.other_bulge = false});
  ASSERT_TRUE(pelvis) << pelvis.error().wrong;
  EXPECT_FALSE(pelvis->other_lesser_trochanter);
  EXPECT_FALSE(pelvis->reason.empty());
}

TEST(Pelvis, AFilmOfOneHipIsRefused) {
  const auto pelvis = found({.width_mm = 200.0});
  ASSERT_FALSE(pelvis);
  EXPECT_EQ(pelvis.error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(pelvis.error().wrong, "the film shows one hip only");
}

TEST(Pelvis, SidesThatAreNoMirrorImagesAreRefused) {
  const auto pelvis = found({.other_half = false});
  ASSERT_FALSE(pelvis);
  EXPECT_EQ(pelvis.error().kind, ErrorKind::kCannotTell);
}

TEST(Pelvis, NeedsAScale) {
  const Drawn drawn = draw({});
  EXPECT_FALSE(find_pelvis(drawn.film, drawn.implant, drawn.femur, MillimetresPerPixel{0.0}));
}

}  // namespace
}  // namespace tidemark::anatomy
