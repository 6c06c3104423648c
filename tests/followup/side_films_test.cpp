#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <mutex>
#include <optional>

#include "invented.h"

namespace tidemark::followup {
namespace {

using testing::HasSubstr;

/// What the steps were asked.
struct Asked {
  std::mutex mutex;
  std::vector<bool> mirrored;  ///< of each film looked at from the side
  std::optional<migration::SideView> at_comparison;
};

/// Invented steps whose film "side*" says where the back is by `orientation`; the lesser trochanter
/// is seen on the unmirrored film only.
Steps steps_with(Asked& asked, std::optional<std::array<std::string, 2>> orientation) {
  Steps out = invented::steps();
  out.read = [read = out.read, orientation](const std::filesystem::path& file) {
    auto film = read(file);
    if (film && film->facts.file.starts_with("side")) film->facts.patient_orientation = orientation;
    return film;
  };
  out.find_implant = [&asked, step = out.find_implant](const film::FilmImage& view,
                                                       const anatomy::ImplantOptions& options) {
    if (options.look == anatomy::LookFrom::kSide) {
      const std::lock_guard lock(asked.mutex);
      asked.mirrored.push_back(view.stored_from_view.linear(0, 0) < 0.0);
    }
    return step(view, options);
  };
  out.find_femur = [step = out.find_femur](const film::FilmImage& view,
                                           const anatomy::Implant& implant,
                                           const anatomy::FemurOptions& options) {
    auto femur = step(view, implant, options);
    if (view.stored_from_view.linear(0, 0) < 0.0) femur->lesser_trochanter.reset();
    return femur;
  };
  out.compare = [&asked, step = out.compare](const HipFilm& reference, const HipFilm& follow_up) {
    const std::lock_guard lock(asked.mutex);
    asked.at_comparison = reference.side_view;
    return step(reference, follow_up);
  };
  return out;
}

Series with_side_film() {
  Series series = invented::series({"early.png", "late.png", "side.png"});
  series.films[2].view = View::kLateral;
  return series;
}

TEST(SideFilms, TellTheDepthsToTheComparison) {
  Asked asked;
  const Result result = measure_with(with_side_film(), {}, steps_with(asked, {}));
  ASSERT_EQ(result.films.size(), 3U);
  const FilmResult& side = result.films[2];
  EXPECT_EQ(side.status, Status::kMeasured) << side.reason;
  ASSERT_TRUE(side.side_view.has_value());
  EXPECT_FALSE(side.tilt.has_value());
  ASSERT_EQ(result.comparisons.size(), 1U);  // a lateral film is compared with none
  ASSERT_TRUE(asked.at_comparison.has_value());
  EXPECT_DOUBLE_EQ(asked.at_comparison->stem_depth.value.value,
                   side.side_view->stem_depth.value.value);
  // Without the header both ways were looked at, and the lesser trochanter decided.
  EXPECT_EQ(asked.mirrored.size(), 2U);
  EXPECT_EQ(exit_code(result), 0);
}

// DICOM PS3.3 C.7.6.1.1.1: the direction of the rows towards higher columns.
TEST(SideFilms, TheHeaderSaysWhereTheBackIs) {
  for (const auto& [letter, mirrored] : {std::pair{"P", false}, std::pair{"A", true}}) {
    Asked asked;
    const Result result = measure_with(with_side_film(), {},
                                       steps_with(asked, std::array<std::string, 2>{letter, "F"}));
    EXPECT_EQ(asked.mirrored, std::vector<bool>{mirrored}) << letter;
    EXPECT_TRUE(result.films[2].side_view.has_value()) << letter;
  }
}

TEST(SideFilms, OneThatDoesNotShowItsBackIsLeftOut) {
  Asked asked;
  Steps steps = steps_with(asked, {});
  steps.find_femur = [](const film::FilmImage&, const anatomy::Implant&,
                        const anatomy::FemurOptions&) -> Expected<anatomy::Femur> {
    anatomy::Femur femur = invented::femur();
    femur.lesser_trochanter.reset();
    return femur;
  };
  const Result result = measure_with(with_side_film(), {}, steps);
  EXPECT_EQ(result.films[2].status, Status::kNotMeasured);
  EXPECT_THAT(result.films[2].reason, HasSubstr("front and back of the femur"));
  ASSERT_EQ(result.comparisons.size(), 1U);
  EXPECT_EQ(result.comparisons[0].status, Status::kMeasured);  // nothing worse than without it
  EXPECT_FALSE(asked.at_comparison.has_value());
}

TEST(SideFilms, CannotBeTheReference) {
  Asked asked;
  Series series = with_side_film();
  series.films[2].role = Role::kReference;
  const Result result = measure_with(series, {}, steps_with(asked, {}));
  EXPECT_THAT(result.films[2].reason, HasSubstr("cannot be the reference"));
}

}  // namespace
}  // namespace tidemark::followup
