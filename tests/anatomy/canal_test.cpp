#include "tidemark/anatomy/canal.h"

#include <gtest/gtest.h>

#include <cmath>

namespace tidemark::anatomy {
namespace {

constexpr double kPxPerMm = 5.0;
constexpr MillimetresPerPixel kScale{1.0 / kPxPerMm};
constexpr double kAxisX = 220.0;
constexpr double kLesserY = 300.0;
constexpr double kOuterMm = 15.0;
constexpr double kTipY = 600.0;

/// A tube with a canal and a stem of a certain half width down its middle, to 60 mm below the
/// lesser trochanter.
struct Bone {
  double inner_mm = 9.0;
  double stem_mm = 5.0;
  double tilt_deg = 0.0;  ///< of everything, clockwise as seen on the film
};

double chord(double radius, double x) {
  return std::abs(x) < radius ? 2.0 * std::sqrt(radius * radius - x * x) : 0.0;
}

/// Everything turns about the lesser trochanter's level on the axis.
struct Place {
  explicit Place(const Bone& bone) : turn{bone.tilt_deg * std::acos(-1.0) / 180.0, Vec2::Zero()} {}
  [[nodiscard]] Vec2 px(double x_mm, double y_mm) const {
    return Vec2(kAxisX, kLesserY) + turn.apply(kPxPerMm * Vec2(x_mm, y_mm));
  }
  [[nodiscard]] Vec2 mm(const Vec2& px) const {
    return turn.inverse().apply((px - Vec2(kAxisX, kLesserY)) / kPxPerMm);
  }
  Rigid2 turn;
};

/// Projection of the tube: the difference of two chords (geometry), blurred by 0.2 mm.
film::FilmImage film_of(const Bone& bone) {
  const Place place(bone);
  film::FilmImage out;
  out.pixels = Raster(440, 900);
  for (int y = 0; y < out.pixels.height; ++y) {
    for (int x = 0; x < out.pixels.width; ++x) {
      const Vec2 at = place.mm(Vec2(x, y));
      double sum = 0.0;
      double weight = 0.0;
      for (int k = -4; k <= 4; ++k) {
        const double off = at.x() + 0.1 * k;
        const double w = std::exp(-0.125 * k * k);
        double ray = chord(kOuterMm, off) - 0.9 * chord(bone.inner_mm, off);
        if (std::abs(off) < bone.stem_mm && at.y() < (kTipY - kLesserY) / kPxPerMm) ray += 80.0;
        sum += w * ray;
        weight += w;
      }
      out.pixels.at(x, y) = static_cast<float>(sum / weight);
    }
  }
  return out;
}

Implant implant_of(const Bone& bone) {
  const Place place(bone);
  const double tip = (kTipY - kLesserY) / kPxPerMm;
  Implant out;
  for (const auto& [x, y] : {std::pair{-bone.stem_mm, -50.0}, std::pair{-bone.stem_mm, tip},
                             std::pair{bone.stem_mm, tip}, std::pair{bone.stem_mm, -50.0}}) {
    out.outline_px.push_back(place.px(x, y));
  }
  out.tip = {place.px(0.0, tip), 0.5, Source::kFound};
  out.shoulder = {place.px(-bone.stem_mm, -50.0), 0.5, Source::kFound};
  out.axis.line_px = {place.px(0.0, 0.0), (place.px(0.0, 1.0) - place.px(0.0, 0.0)).normalized()};
  return out;
}

Femur femur_of(const Bone& bone) {
  const Place place(bone);
  Femur out;
  for (double y = -40.0; y < 118.0; y += 1.0) {
    out.lateral_cortex_px.push_back(place.px(-kOuterMm, y));
    out.medial_cortex_px.push_back(place.px(kOuterMm, y));
  }
  out.lesser_trochanter = Landmark{place.px(kOuterMm, 0.0), 1.0, Source::kFound};
  FoundAxis axis;
  axis.line_px = {place.px(0.0, 0.0), (place.px(0.0, 1.0) - place.px(0.0, 0.0)).normalized()};
  out.shaft_axis = axis;
  return out;
}

Section at(const Bone& bone, double level_mm) {
  const auto section =
      section_at(film_of(bone), implant_of(bone), femur_of(bone), kScale, Millimetres{level_mm});
  EXPECT_TRUE(section.has_value());
  return section.value_or(Section{});
}

TEST(Canal, FindsTheBordersOfATubeWhereItsProjectionHasThem) {
  for (const double tilt : {0.0, 4.0, -7.0}) {
    const Bone bone{.tilt_deg = tilt};
    const Section section = at(bone, -40.0);
    for (const SectionSide& side : {section.lateral, section.medial}) {
      ASSERT_TRUE(side.outer && side.inner && side.metal) << tilt;
      EXPECT_NEAR(side.outer->value.value, kOuterMm, 0.3);
      EXPECT_NEAR(side.inner->value.value, bone.inner_mm, 0.3);
      EXPECT_NEAR(side.metal->value.value, bone.stem_mm, 0.05);
      EXPECT_EQ(side.border, InnerBorder::kSeen);
    }
  }
}

TEST(Canal, BelowTheTipThereIsNoMetal) {
  const Section section = at({}, -80.0);
  EXPECT_FALSE(section.lateral.metal);
  ASSERT_TRUE(section.lateral.inner);
  EXPECT_NEAR(section.lateral.inner->value.value, 9.0, 0.3);
}

TEST(Canal, BoneUpToTheMetalIsSaidToBeAtTheMetal) {
  const Section section = at({.inner_mm = 5.0, .stem_mm = 6.5}, -40.0);
  EXPECT_EQ(section.lateral.border, InnerBorder::kAtTheMetal);
  ASSERT_TRUE(section.lateral.inner);
  EXPECT_NEAR(section.lateral.inner->value.value, 6.5, 1.0);
  EXPECT_GT(section.lateral.inner->u.value, 0.4);
}

TEST(Canal, BesideTheLesserTrochanterItIsLessSure) {
  const Section beside = at({}, 0.0);
  const Section below = at({}, -40.0);
  ASSERT_TRUE(beside.medial.inner && below.medial.inner);
  EXPECT_GT(beside.medial.inner->u.value, 3.0 * below.medial.inner->u.value);
}

TEST(Canal, HasNoSectionOffTheFilmOrWithoutTheLesserTrochanter) {
  const Bone bone;
  EXPECT_FALSE(
      section_at(film_of(bone), implant_of(bone), femur_of(bone), kScale, Millimetres{-130.0}));
  Femur without = femur_of(bone);
  without.lesser_trochanter.reset();
  EXPECT_FALSE(section_at(film_of(bone), implant_of(bone), without, kScale, Millimetres{-40.0}));
}

TEST(Canal, ReadsASectionEveryTenMillimetresAsFarAsTheFilmGoes) {
  const Bone bone;
  const CanalReading canal = read_canal(film_of(bone), implant_of(bone), femur_of(bone), kScale);
  ASSERT_GE(canal.sections.size(), 10U);
  EXPECT_DOUBLE_EQ(canal.sections.front().level.value, 20.0);
  EXPECT_GT(canal.sections.back().level.value, -125.0);
  EXPECT_FALSE(canal.flare);  // no neck is drawn
}

/// A stem whose flank leans out laterally, with its neck: the gap is measured square to the flank.
TEST(Canal, MeasuresTheGapBesideTheFlareSquareToTheFlank) {
  const Bone bone{.inner_mm = 10.0, .stem_mm = 6.0};
  Implant implant = implant_of(bone);
  const Place place(bone);
  // Neck at 45 degrees from the upper medial side; its axis passes through (0, -20) mm.
  implant.outline_px = {place.px(16.0, -44.0), place.px(-6.0, -30.0), place.px(-6.0, 60.0),
                        place.px(6.0, 60.0),   place.px(6.0, -20.0),  place.px(24.0, -36.0)};
  implant.shoulder.px = place.px(-6.0, -30.0);
  implant.head.circle_px = {place.px(20.0 + 10.0, -40.0 - 10.0), 40.0};
  const auto flare = flare_seat(film_of(bone), implant, femur_of(bone), kScale);
  ASSERT_TRUE(flare);
  EXPECT_NEAR(place.mm(flare->px).x(), -6.0, 1e-6);
  EXPECT_NEAR(place.mm(flare->px).y(), -14.0, 1e-6);  // 45 degrees on from (20, -40)
  ASSERT_TRUE(flare->gap);
  EXPECT_NEAR(flare->gap->value.value, 4.0, 0.4);
  EXPECT_LT(flare->out.x(), -0.99);
}

}  // namespace
}  // namespace tidemark::anatomy
