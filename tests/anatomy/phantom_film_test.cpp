#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <ostream>
#include <string>

#include "scratch.h"
#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/phantom/film.h"
#include "tidemark/phantom/write.h"

namespace tidemark::anatomy {
namespace {

/// A simulated film, read back from its file as a right hip, with its truth.
struct Simulated {
  film::FilmImage hip_view;
  phantom::FilmTruth truth;
  Millimetres head_diameter;
};

/// @param look  kSide: the lateral film of the case, which is its last
Simulated simulated(std::uint64_t seed, int number, LookFrom look = LookFrom::kFront) {
  phantom::CaseOptions options;
  options.lateral = look == LookFrom::kSide ? 1 : 0;
  options.pixel_pitch = Millimetres{0.3};
  const phantom::CaseSpec spec = phantom::random_case(seed, number, options);
  const auto model = phantom::build_model(spec, 1).value();
  const std::size_t index = options.lateral > 0 ? spec.films.size() - 1 : 0;
  const auto film = phantom::simulate(*model, spec, spec.films[index], 1);
  const test::Scratch folder;
  const auto file = folder / "film.dcm";
  EXPECT_TRUE(phantom::write_dicom(file, film.pixels, spec, static_cast<int>(index)).has_value());
  const auto read = film::read(file);
  return {film::as_right_hip(read.value(), spec.side), film.truth, spec.head_diameter};
}

struct PhantomRow {
  std::uint64_t seed;
  friend void PrintTo(const PhantomRow& row, std::ostream* os) { *os << row.seed; }
};

class PhantomTable : public testing::TestWithParam<PhantomRow> {};

// Limits: house choice, smoke test only; accuracy is judged by tests/accuracy.
TEST_P(PhantomTable, IsFound) {
  const Simulated s = simulated(GetParam().seed, static_cast<int>(GetParam().seed % 100));
  ImplantOptions options;
  options.head_diameter = s.head_diameter;
  const auto found = find_implant(s.hip_view, options);
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const auto off_mm = [&](const Vec2& view_px, const Vec2& truth_px) {
    return s.truth.mm_per_px * (s.hip_view.stored_from_view.apply(view_px) - truth_px).norm();
  };
  EXPECT_LT(off_mm(found->head.circle_px.centre, s.truth.head.centre), 0.2);
  EXPECT_LT(off_mm(found->tip.px, s.truth.stem_tip), 0.7);
  EXPECT_LT(off_mm(found->shoulder.px, s.truth.stem_shoulder), 1.5);
  const Vec2 axis = s.hip_view.stored_from_view.linear * found->axis.line_px.direction;
  const double turn = angle_between(axis, s.truth.stem_axis[1] - s.truth.stem_axis[0]);
  EXPECT_LT(std::abs(turn) * 180.0 / 3.14159265, 0.3);

  FemurOptions femur_options;
  femur_options.scale = MillimetresPerPixel{s.truth.mm_per_px};
  const auto femur = find_femur(s.hip_view, *found, femur_options);
  ASSERT_TRUE(femur.has_value());
  ASSERT_TRUE(femur->greater_trochanter.has_value());
  EXPECT_LT(off_mm(femur->greater_trochanter->px, s.truth.greater_trochanter), 2.0);
  bool said_so = false;
  for (const Flag& f : femur->flags) said_so = said_so || f.id == "lesser_trochanter_not_seen";
  EXPECT_NE(femur->lesser_trochanter.has_value(), said_so);
  if (femur->lesser_trochanter && s.truth.lesser_visible) {
    EXPECT_LT(off_mm(femur->lesser_trochanter->px, s.truth.lesser_trochanter), 6.0);
  }
  EXPECT_TRUE(femur->shaft_axis.has_value());
}

INSTANTIATE_TEST_SUITE_P(Seeds, PhantomTable,
                         testing::Values(PhantomRow{4101}, PhantomRow{4102}, PhantomRow{4103},
                                         PhantomRow{4104}, PhantomRow{4105}, PhantomRow{4106}),
                         [](const auto& row) { return "seed" + std::to_string(row.param.seed); });

// The leg rolled outwards by some 88 degrees: the femur's back lies medially.
TEST(PhantomFilm, IsFoundFromTheSide) {
  const Simulated s = simulated(71, 3, LookFrom::kSide);
  const auto found = find_implant(
      s.hip_view,
      {.head_diameter = s.head_diameter, .scale_hint = {}, .given = {}, .look = LookFrom::kSide});
  ASSERT_TRUE(found.has_value()) << found.error().sentence();
  const auto off_mm = [&](const Vec2& view_px, const Vec2& truth_px) {
    return s.truth.mm_per_px * (s.hip_view.stored_from_view.apply(view_px) - truth_px).norm();
  };
  EXPECT_LT(off_mm(found->head.circle_px.centre, s.truth.head.centre), 0.3);
  EXPECT_LT(off_mm(found->tip.px, s.truth.stem_tip), 0.7);
  const Vec2 axis = s.hip_view.stored_from_view.linear * found->axis.line_px.direction;
  const double turn = angle_between(axis, s.truth.stem_axis[1] - s.truth.stem_axis[0]);
  EXPECT_LT(std::abs(turn) * 180.0 / 3.14159265, 0.4);
  const auto femur = find_femur(s.hip_view, *found,
                                {.scale = {s.truth.mm_per_px}, .given = {}, .lesser_level = {}});
  ASSERT_TRUE(femur.has_value());
  ASSERT_TRUE(femur->shaft_axis.has_value());
  ASSERT_TRUE(femur->lesser_trochanter.has_value());
  EXPECT_LT(off_mm(femur->lesser_trochanter->px, s.truth.lesser_trochanter), 6.0);
}

}  // namespace
}  // namespace tidemark::anatomy
