#include "../../modules/anatomy/src/stem_axis.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace tidemark::anatomy {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr double kPitch = 0.2;  // mm per px
constexpr double kLength = 120.0;

/// A stem along +y from 0 to 120 mm: tapering flanks, and a medial flare above `flare_to` that
/// draws the middle to the medial side; a bow draws it there as a parabola about its centre.
struct Stem {
  double flare_to = 50.0;
  double flare = 0.0;       ///< of the medial flank at the shoulder, mm
  double bow = 0.0;         ///< mm at both ends of the body against its centre
  double turn_deg = 0.0;    ///< on the film
  double jitter_mm = 0.02;  ///< of every other point, across

  [[nodiscard]] double middle(double s) const { return bow * std::pow((s - 60.0) / 60.0, 2); }
  [[nodiscard]] Vec2 px(const Vec2& p_mm) const {
    return Rigid2{turn_deg * kDegree, Vec2(80.0, 30.0)}.apply(p_mm) / kPitch;
  }
};

Polyline outline_of(const Stem& stem) {
  Polyline ring;
  int k = 0;
  const auto add = [&](double side, double s) {
    const double half = 8.0 - 0.03 * s;
    const double flared =
        side > 0.0 ? stem.flare * std::pow(std::max(0.0, 1.0 - s / stem.flare_to), 2) : 0.0;
    const double noise = stem.jitter_mm * (++k % 2 == 0 ? 1.0 : -1.0);
    ring.push_back(stem.px({stem.middle(s) + side * half + flared + noise, s}));
  };
  for (double s = 0.0; s <= kLength; s += 0.5) add(-1.0, s);
  for (double s = kLength; s >= 0.0; s -= 0.5) add(1.0, s);
  return ring;
}

struct AxisRow {
  const char* name;
  Stem stem;
  friend void PrintTo(const AxisRow& row, std::ostream* os) { *os << row.name; }
};

class StemAxisTable : public testing::TestWithParam<AxisRow> {};

// Derived: the flare is nothing below its end, so the axis is x = 0 however large it is. Without
// leaving it out, 20 mm of flare that end at 50 mm turn the line by a degree and more; ending at 70
// mm, past half of the stem, by three.
TEST_P(StemAxisTable, AFlareOnOneSideDoesNotTurnIt) {
  const Stem& stem = GetParam().stem;
  const Line2 rough{stem.px({1.0, 60.0}),
                    Rigid2{(stem.turn_deg + 2.0) * kDegree, {}}.rotation() * Vec2(0.0, 1.0)};
  const auto axis = fit_stem_axis(outline_of(stem), rough, kPitch);
  ASSERT_TRUE(axis.has_value());
  const Vec2 truth = Rigid2{stem.turn_deg * kDegree, {}}.rotation() * Vec2(0.0, 1.0);
  const double error = angle_between(truth, axis->line.direction) / kDegree;
  EXPECT_LT(std::abs(error), 0.03);
  EXPECT_LT(std::abs(error), 2.0 * axis->direction_u_rad / kDegree);
  EXPECT_LT(axis->direction_u_rad / kDegree, 0.05);
  EXPECT_LT(std::abs(signed_distance({stem.px({0.0, 60.0}), truth}, axis->line.point)) * kPitch,
            0.05);
}

INSTANTIATE_TEST_SUITE_P(
    Stems, StemAxisTable,
    testing::Values(AxisRow{"Symmetrical", {}}, AxisRow{"Flared", {.flare = 20.0}},
                    AxisRow{"FlaredFarDown", {.flare_to = 70.0, .flare = 20.0}},
                    AxisRow{"Turned", {.flare = 20.0, .turn_deg = -6.0}}),
    [](const auto& row) { return row.param.name; });

// A bow of 1 mm at both ends turns by 2/3600 rad a millimetre. At least 0.20 of the 120 mm count as
// straight, whose halves lie 12 mm apart and differ by 0.0067 rad; a direction anywhere between
// them has a standard uncertainty of that over sqrt(12) (GUM 4.3.7).
TEST(FitStemAxis, ABowedStemIsLessSureOfItsAxis) {
  Stem bowed;
  bowed.bow = 1.0;
  const Line2 rough{bowed.px({0.0, 60.0}), Vec2(0.0, 1.0)};
  const auto axis = fit_stem_axis(outline_of(bowed), rough, kPitch);
  const auto straight = fit_stem_axis(outline_of({}), rough, kPitch);
  ASSERT_TRUE(axis.has_value() && straight.has_value());
  EXPECT_GT(axis->direction_u_rad, 0.9 * 0.0067 / std::sqrt(12.0));
  EXPECT_GT(axis->direction_u_rad, 5.0 * straight->direction_u_rad);
}

TEST(FitStemAxis, NeedsBothFlanks) {
  const Stem stem;
  Polyline one_flank = outline_of(stem);
  one_flank.resize(one_flank.size() / 2);
  EXPECT_FALSE(
      fit_stem_axis(one_flank, {stem.px({0.0, 60.0}), Vec2(0.0, 1.0)}, kPitch).has_value());
}

}  // namespace
}  // namespace tidemark::anatomy
