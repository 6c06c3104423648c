#include "tidemark/view/place.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <map>
#include <numbers>
#include <string>

#include "followup/invented.h"
#include "tidemark/film/field.h"

// Two roads to the same map: places worked out by hand, and followup::AlignedFilms, which lays the
// measured films on each other by itself (the films' own frames, no result in between).

namespace tidemark::view {
namespace {

using followup::invented::kHeight;
using followup::invented::kWidth;

/// What is cut off before a film is measured, px of its upright view.
struct Cut {
  int left = 0;
  int right = 0;
  int top = 0;
};

film::ExposedField field_of(const Cut& cut) {
  return {{Vec2(cut.left - 0.5, 0.0), Vec2::UnitY()},
          {Vec2(kWidth - 0.5 - cut.right, 0.0), Vec2::UnitY()},
          {Vec2(0.0, cut.top - 0.5), Vec2::UnitX()},
          {Vec2(0.0, kHeight - 0.5), Vec2::UnitX()}};
}

film::FilmImage shown_film(const std::string& file) { return followup::invented::image(file); }

film::FilmImage measured_film(const film::FilmImage& shown, const Cut& cut) {
  return film::within_exposed_field(shown, field_of(cut));
}

followup::Result one_pair(Side side, double first_mm, double second_mm, const Rigid2& bone) {
  followup::Result out;
  out.side = side;
  out.films.resize(2);
  out.films[0].calibration.emplace().mm_per_px.value = {first_mm};
  out.films[1].calibration.emplace().mm_per_px.value = {second_mm};
  auto& pair = out.comparisons.emplace_back();
  pair.follow_up = 1;
  pair.migration.emplace().follow_up_from_reference_bone_mm = bone;
  return out;
}

TEST(Place, FieldsOfTheTestAreCutAsTheySay) {
  const auto film = measured_film(shown_film("early.dcm"), {40, 60, 30});
  EXPECT_EQ(film.pixels.width, kWidth - 100);
  EXPECT_EQ(film.pixels.height, kHeight - 30);
  EXPECT_EQ(film.stored_from_view.offset, Vec2(40.0, 30.0));
}

// Right hip, 0.2 and 0.1 mm a pixel, no turn; bone 3 mm medial and 5 mm distal on the follow-up
// film. (100, 90) of the reference film lies at (60, 60) px of its field, (12, 12) mm; on the
// follow-up film at (15, 17) mm, (150, 170) px of its field, (150 + 10, 170 + 20) of the film.
TEST(Place, ARightHipWithCutFieldsAndTwoScales) {
  const auto first = shown_film("early.dcm");
  const auto second = shown_film("late.dcm");
  const auto result = one_pair(Side::kRight, 0.2, 0.1, {0.0, Vec2(3.0, 5.0)});
  const auto follow = follow_from_reference(
      result, result.comparisons[0], frame_of(first, measured_film(first, {40, 60, 30})),
      frame_of(second, measured_film(second, {10, 0, 20})), LaidOn::kBone);
  ASSERT_TRUE(follow);
  EXPECT_NEAR((follow->apply(Vec2(100.0, 90.0)) - Vec2(160.0, 190.0)).norm(), 0.0, 1e-9);
}

// The same left hip: mirrored within its field (columns 40 to 239, so x becomes 199 - (x - 40)), so
// that (100, 90) lies at (139, 60) px and (27.8, 12) mm; then (30.8, 17) mm, (308, 170) px of the
// follow-up film's mirrored field (columns 10 to 299, so 289 - (x - 10) = 308 and x = -9).
TEST(Place, ALeftHipIsMirroredWithinItsField) {
  const auto first = shown_film("early.dcm");
  const auto second = shown_film("late.dcm");
  const auto result = one_pair(Side::kLeft, 0.2, 0.1, {0.0, Vec2(3.0, 5.0)});
  const auto follow = follow_from_reference(
      result, result.comparisons[0], frame_of(first, measured_film(first, {40, 60, 30})),
      frame_of(second, measured_film(second, {10, 0, 20})), LaidOn::kBone);
  ASSERT_TRUE(follow);
  EXPECT_NEAR((follow->apply(Vec2(100.0, 90.0)) - Vec2(-9.0, 190.0)).norm(), 0.0, 1e-9);
}

// Columns that stand twice as far apart as rows: two view px a stored one along a row, so that 0.2
// mm a stored px are 0.1 mm a view px. (100, 90) is (10, 9) mm; 3 and 5 mm on, (130, 140).
TEST(Place, PixelsThatAreNotSquare) {
  auto film = shown_film("early.dcm");
  film.stored_from_view.linear(0, 0) = 0.5;
  const auto result = one_pair(Side::kRight, 0.2, 0.2, {0.0, Vec2(3.0, 5.0)});
  const FilmFrame frame = frame_of(film, film);
  const auto follow =
      follow_from_reference(result, result.comparisons[0], frame, frame, LaidOn::kBone);
  ASSERT_TRUE(follow);
  EXPECT_NEAR((follow->apply(Vec2(100.0, 90.0)) - Vec2(130.0, 140.0)).norm(), 0.0, 1e-9);
}

TEST(Place, NothingIsLaidWhereThePairWasNotMeasured) {
  const auto film = shown_film("early.dcm");
  const FilmFrame frame = frame_of(film, film);
  auto result = one_pair(Side::kRight, 0.2, 0.2, {});
  result.comparisons[0].migration.reset();
  EXPECT_FALSE(follow_from_reference(result, result.comparisons[0], frame, frame, LaidOn::kBone));
}

// Turned by 5 degrees and shifted, both sides, fields that are cut differently: the same point of
// the reference film falls on the same point of the follow-up film as in AlignedFilms.
TEST(Place, AgreesWithTheFilmsThatMeasuringAligns) {
  const std::map<std::string, Cut> cuts{{"early.dcm", {40, 60, 0}}, {"late.dcm", {10, 0, 20}}};
  followup::Steps steps = followup::invented::steps();
  steps.read = [&](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    const std::string name = file.filename().string();
    return measured_film(shown_film(name), cuts.at(name));
  };
  steps.compare = [](const auto&, const auto&) -> Expected<migration::Migration> {
    auto out = followup::invented::migration();
    out.follow_up_from_reference_bone_mm = {5.0 * std::numbers::pi / 180.0, Vec2(1.0, 2.0)};
    return out;
  };
  for (const Side side : {Side::kRight, Side::kLeft}) {
    followup::Series series = followup::invented::series({"early.dcm", "late.dcm"});
    series.side = side;
    const auto result =
        followup::measure_with(series, {.aligned = followup::Aligned::kKeep}, steps);
    ASSERT_TRUE(result.aligned);
    const auto frame = [&](const std::string& file) {
      const auto film = shown_film(file);
      return frame_of(film, measured_film(film, cuts.at(file)));
    };
    const auto follow = follow_from_reference(result, result.comparisons[0], frame("early.dcm"),
                                              frame("late.dcm"), LaidOn::kBone);
    ASSERT_TRUE(follow);
    // In these films stored px are px of the view that is shown.
    const auto& films = result.aligned->films;
    for (const Vec2& p : {Vec2(20.0, 30.0), Vec2(150.0, 250.0), Vec2(290.0, 480.0)}) {
      const Vec2 there = films[1].stored_from_px.apply(films[0].stored_from_px.inverse().apply(p));
      EXPECT_NEAR((follow->apply(p) - there).norm(), 0.0, 1e-6);
    }
  }
}

}  // namespace
}  // namespace tidemark::view
