#include "tidemark/followup/measure.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <mutex>
#include <optional>
#include <ostream>
#include <set>
#include <string>
#include <vector>

#include "../../modules/followup/src/open_changes.h"
#include "followup/invented.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

using testing::HasSubstr;

Result measured(const Series& series, const Options& options = {}) {
  return measure_with(series, options, invented::steps());
}

bool has_flag(const std::vector<Flag>& flags, const std::string& id) {
  return std::any_of(flags.begin(), flags.end(), [&](const Flag& flag) { return flag.id == id; });
}

TEST(Measure, TwoFilmsGiveOneComparison) {
  const Result result = measured(invented::series({"early.dcm", "late.dcm"}));
  ASSERT_EQ(result.films.size(), 2U);
  ASSERT_EQ(result.comparisons.size(), 1U);
  EXPECT_EQ(result.films[0].role, Role::kReference);
  EXPECT_EQ(result.comparisons[0].status, Status::kMeasured);
  EXPECT_EQ(result.comparisons[0].days, 60);  // 1 January to 1 March of a leap year
  EXPECT_EQ(result.comparisons[0].migration->subsidence.value, Millimetres{2.1});
  EXPECT_TRUE(has_flag(result.comparisons[0].flags, "pair_flag"));
  EXPECT_EQ(exit_code(result), 0);
  EXPECT_EQ(result.tool_version, version());
}

TEST(Measure, EarliestFilmIsTheReferenceWhateverItsName) {
  Series series = invented::series({"a.dcm", "late.dcm", "early.dcm"});
  series.films[0].date = parse_date("2024-02-01");
  const Result result = measured(series);
  EXPECT_EQ(result.films[2].role, Role::kReference);
  ASSERT_EQ(result.comparisons.size(), 2U);
  EXPECT_EQ(result.comparisons[0].follow_up, 0U);  // in order of time
  EXPECT_EQ(result.comparisons[0].days, 31);
  EXPECT_EQ(result.comparisons[1].follow_up, 1U);
}

// The sheet names the later film as the reference: the line that only the earlier one shows has
// healed, and is none that grew.
TEST(Measure, AFilmFromBeforeTheReferenceShowsNothingThatCameSince) {
  Series series = invented::series({"late.dcm", "early.dcm"});
  series.films[0].role = Role::kReference;
  auto steps = invented::steps();
  steps.look_for_lines = [](const film::FilmImage& view, const anatomy::Implant&,
                            const lucency::LucencyOptions&) {
    return invented::lines(view.facts.file.starts_with("early") ? "late" : "early");
  };
  const Result result = measure_with(series, {}, steps);
  ASSERT_EQ(result.comparisons.size(), 1U);
  const ComparisonResult& pair = result.comparisons[0];
  ASSERT_EQ(pair.days, -60);
  ASSERT_EQ(pair.zones.size(), 7U);
  for (const auto& zone : pair.zones) {
    EXPECT_EQ(zone.progressive, lucency::Answer::kCannotTell) << zone.zone;
    EXPECT_THAT(zone.reason, HasSubstr("before the reference film"));
    EXPECT_FALSE(zone.change.has_value());
  }
  ASSERT_TRUE(pair.signs.has_value());
  for (const auto& cortex : pair.signs->cortex) {
    EXPECT_FALSE(cortex.change.has_value());
    EXPECT_THAT(cortex.reason, HasSubstr("before the reference film"));
  }
  EXPECT_FALSE(pair.signs->calcar.has_value());
  EXPECT_THAT(pair.signs->calcar_reason, HasSubstr("before the reference film"));
  EXPECT_EQ(pair.signs->new_pedestal, lucency::Answer::kCannotTell);
  ASSERT_EQ(pair.signs->lysis.size(), 7U);
  EXPECT_THAT(pair.signs->lysis[0].reason, HasSubstr("before the reference film"));
}

// A repeat exposure, or the same one processed twice: the line that only one of them shows is
// neither there nor new, nor is anything else beside the stem a change.
TEST(Measure, FilmsOfOneDayShowNoGrowth) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.films[0].role = Role::kReference;
  series.films[1].date = parse_date("2024-01-01");
  const Result result = measured(series);
  ASSERT_EQ(result.comparisons.size(), 1U);
  const ComparisonResult& pair = result.comparisons[0];
  ASSERT_EQ(pair.days, 0);
  ASSERT_EQ(pair.zones.size(), 7U);
  for (const auto& zone : pair.zones) {
    EXPECT_EQ(zone.progressive, lucency::Answer::kCannotTell) << zone.zone;
    EXPECT_THAT(zone.reason, HasSubstr("of one day")) << zone.zone;
    EXPECT_FALSE(zone.change.has_value()) << zone.zone;
  }
  ASSERT_TRUE(pair.signs.has_value());
  EXPECT_THAT(pair.signs->calcar_reason, HasSubstr("of one day"));
}

TEST(Measure, ALineThatOnlyOneFilmOfADayShowsIsLeftOpenOnBoth) {
  Series series = invented::series({"early.dcm", "late.dcm", "late2.dcm"});
  series.films[0].role = Role::kReference;
  series.films[1].date = parse_date("2024-01-01");
  const Result result = measured(series);
  for (const std::size_t film : {0U, 1U}) {
    SCOPED_TRACE(film);
    const ZoneResult& zone = result.films[film].zones[6];
    ASSERT_EQ(zone.zone, 7);
    EXPECT_EQ(zone.state, lucency::State::kCannotTell);
    EXPECT_THAT(zone.reason, HasSubstr("only one shows the line"));
    EXPECT_FALSE(zone.max.has_value());
    EXPECT_FALSE(zone.extent.has_value());
    EXPECT_EQ(result.films[film].zones[0].state, lucency::State::kAbsent) << "both agree";
  }
  EXPECT_EQ(result.films[2].zones[6].state, lucency::State::kPresent) << "of another day";
  ASSERT_EQ(result.comparisons.size(), 2U);
  EXPECT_EQ(result.comparisons[1].zones[6].progressive, lucency::Answer::kCannotTell)
      << "the reference film leaves the zone open";
}

// What the unrolled picture draws as growth: not what lies within its u95, nor what was left open.
TEST(Measure, GrowthIsToldBeyondItsUncertainty) {
  lucency::ZoneChange change;
  EXPECT_FALSE(told_grown(change)) << "left open";
  const auto by = [](double value) { return Measured<Millimetres>{{value}, {0.1}, {0.196}}; };
  change.change = by(0.15);
  EXPECT_FALSE(told_grown(change));
  change.change = by(-0.5);
  EXPECT_FALSE(told_grown(change));
  change.change = by(0.5);
  EXPECT_TRUE(told_grown(change));
}

TEST(Measure, ZonesOfAStemThatLeavesTheFieldAreNotSeen) {
  auto steps = invented::steps();
  steps.find_implant = [step = steps.find_implant](const auto&... asked) {
    auto implant = step(asked...);
    if (implant) implant->end = anatomy::StemEnd::kFieldBorder;
    return implant;
  };
  for (const bool shows_tip : {false, true}) {
    const Result result =
        measure_with(invented::series({"odd.dcm"}), {}, shows_tip ? invented::steps() : steps);
    ASSERT_EQ(result.films[0].zones.size(), 7U);
    for (const ZoneResult& zone : result.films[0].zones) {
      EXPECT_EQ(zone.state, shows_tip ? lucency::State::kCannotTell : lucency::State::kNotSeen);
    }
  }
}

TEST(Measure, FilmFromBeforeTheSurgeryIsNoReference) {
  Series series = invented::series({"early.dcm", "late.dcm", "x.dcm"});
  series.surgery_date = parse_date("2024-02-28");
  series.films[2].date = parse_date("2024-06-01");
  const Result result = measured(series);
  EXPECT_EQ(result.films[1].role, Role::kReference);
  EXPECT_EQ(result.films[1].days_from_surgery, 2);
  EXPECT_TRUE(has_flag(result.films[0].flags, "before_surgery"));
  EXPECT_EQ(result.films[0].status, Status::kNotMeasured);
  EXPECT_EQ(result.films[0].reason,
            "the film is dated 2024-01-01, before the surgery of 2024-02-28; leave it out, or "
            "correct the wrong date");
}

TEST(Measure, UndatedFilmsAreTakenByNameAndSaySo) {
  const Result result = measured(invented::series({"a.dcm", "b.dcm"}));
  EXPECT_EQ(result.films[0].role, Role::kReference);
  EXPECT_TRUE(has_flag(result.flags, "reference_by_name"));
  EXPECT_FALSE(result.comparisons[0].days.has_value());
}

// Guards the order of time: an undated film between two others once left them in that of the sheet,
// and the earlier one was told as the latest.
TEST(Measure, AnUndatedFilmDoesNotScrambleTheOrderOfTime) {
  Series series = invented::series({"early.dcm", "x1.dcm", "x2.dcm", "x3.dcm"});
  series.films[1].date = parse_date("2026-06-01");
  series.films[3].date = parse_date("2024-04-01");
  const Result result = measured(series);
  ASSERT_EQ(result.comparisons.size(), 3U);
  EXPECT_FALSE(result.comparisons[0].days.has_value());
  EXPECT_EQ(result.comparisons[1].follow_up, 3U);
  EXPECT_EQ(result.comparisons[2].follow_up, 1U);
}

// A follow-up cannot be read: that is no doubt about the reference film. An earlier film, or one of
// which nobody knows when it was taken, is.
TEST(Measure, SaysWhenTheReferenceFilmMayBeLost) {
  for (const auto& [day, lost] : std::vector<std::pair<std::optional<int>, bool>>{
           {1, true}, {std::nullopt, true}, {28, false}}) {
    Series series = invented::series({"early.dcm", "late.dcm", "none.dcm"});
    series.films[0].date = std::chrono::year{2024} / 3 / 10;
    series.films[1].date = std::chrono::year{2024} / 4 / 10;
    if (day) series.films[2].date = std::chrono::year{2024} / 3 / *day;
    const Result result = measured(series);
    ASSERT_TRUE(result.films[2].unreadable);
    EXPECT_EQ(result.films[0].role, Role::kReference);
    EXPECT_EQ(has_flag(result.flags, "reference_lost"), lost) << day.value_or(0);
  }
}

// Whatever takes the first film out, the one that stands in hides what happened between the two.
TEST(Measure, SaysThatARefusedFilmMayHaveBeenTheReference) {
  Series series = invented::series({"early.dcm", "late.dcm", "x.dcm"});
  series.films[2].date = parse_date("2024-05-01");
  Series mark = series;
  mark.films[0].landmarks_in_stored_px.stem_tip_px = Vec2(20.0, 9000.0);
  EXPECT_TRUE(has_flag(measured(mark).flags, "reference_lost"));
  Steps oblique = invented::steps();
  oblique.read = [](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    auto out = invented::image(file.filename().string());
    if (out.facts.file == "early.dcm") out.facts.view = View::kOther;
    return out;
  };
  const Result viewed = measure_with(series, {}, oblique);
  ASSERT_EQ(viewed.films[0].status, Status::kNotMeasured);
  EXPECT_TRUE(has_flag(viewed.flags, "reference_lost"));
  // No film that could have served: the sheet says so.
  Series other = series;
  other.films[0].view = View::kOther;
  Series excluded = mark;
  excluded.films[0].excluded = true;
  Series before = series;
  before.surgery_date = parse_date("2024-02-01");
  for (const Series& one : {series, other, excluded, before}) {
    EXPECT_FALSE(has_flag(measured(one).flags, "reference_lost"));
  }
}

TEST(Measure, SaysWhichFilmsTheSheetLeavesOut) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  EXPECT_FALSE(has_flag(measured(series).flags, "films_not_listed"));
  series.not_listed = {"c.dcm", "d.dcm"};
  const Result result = measured(series);
  EXPECT_TRUE(has_flag(result.flags, "films_not_listed"));
  EXPECT_THAT(result.assessment->headline.doubt, HasSubstr("not measured: c.dcm, d.dcm; list"));
}

TEST(Measure, AnUnreadableFilmKeepsTheDayOfItsVisit) {
  Series series = invented::series({"early.dcm", "none.dcm"});
  series.surgery_date = parse_date("2024-01-01");
  series.films[1].date = parse_date("2024-02-14");
  const Result result = measured(series);
  EXPECT_EQ(result.films[1].days_from_surgery, 44);
  EXPECT_FALSE(has_flag(result.films[1].flags, "date_unknown"));
}

TEST(Measure, FilmsFromTheFrontAndFromBehindAreNotCompared) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.films[1].view = View::kPa;
  const Result mixed = measured(series);
  EXPECT_TRUE(has_flag(mixed.films[1].flags, "taken_from_behind"));
  EXPECT_EQ(mixed.films[1].status, Status::kMeasured);
  EXPECT_EQ(mixed.comparisons[0].status, Status::kNotMeasured);
  EXPECT_THAT(mixed.comparisons[0].reason, HasSubstr("from behind (PA)"));
  series.films[0].view = View::kPa;
  EXPECT_EQ(measured(series).comparisons[0].status, Status::kMeasured);
}

// The stem's tip lies 270 px below the shoulder; the reference point 10 mm below it, whatever scale
// the search assumed. Pixels twice as tall as wide are spread for the view (film/film.h), where 270
// px are as long as ever.
TEST(Measure, TheTipIsToldAlongTheAxisInMillimetres) {
  const double mm_per_px = 0.5 * (1.0 + 8.9 / 970.0);
  for (const double tall : {1.0, 0.5}) {
    Steps steps = invented::steps();
    steps.read = [read = steps.read, tall](const std::filesystem::path& file) {
      auto film = read(file);
      film->stored_from_view.linear(1, 1) *= tall;
      return film;
    };
    const Result result = measure_with(invented::series({"a.dcm"}), {}, steps);
    const auto& stem = result.films[0].stem;
    ASSERT_TRUE(stem && stem->tip_below_reference);
    EXPECT_NEAR(stem->tip_below_reference->value, 270.0 * mm_per_px - 10.0, 1e-9) << tall;
  }
}

// The invented head is 64 px wide and 32 mm in truth: 0.5 mm per px at its own depth, 8.9 mm over
// 970 mm more at the stem's (film/calibration.h).
TEST(Measure, HeadGivesTheScale) {
  const Result result = measured(invented::series({"a.dcm"}));
  ASSERT_TRUE(result.films[0].calibration.has_value());
  EXPECT_EQ(result.films[0].calibration->method, "head_diameter");
  EXPECT_DOUBLE_EQ(result.films[0].calibration->mm_per_px.value.value, 0.5 * (1.0 + 8.9 / 970.0));
  EXPECT_GT(result.films[0].calibration->mm_per_px.u.value, 0.0);
  // u of the trochanter is 2 px.
  EXPECT_DOUBLE_EQ(result.films[0].lesser_trochanter->u->value, 1.0 + 8.9 / 970.0);
}

// Derived by hand: invented::femur() is 2 degrees from the stem axis, u = hypot(0.05, 0.12) = 0.13.
TEST(Measure, TiltIsVarusPositiveOnBothSides) {
  for (const Side side : {Side::kRight, Side::kLeft}) {
    Series series = invented::series({"a.dcm"});
    series.side = side;
    const Result result = measured(series);
    ASSERT_TRUE(result.films[0].tilt.has_value());
    EXPECT_NEAR(result.films[0].tilt->value.value, 2.0, 1e-9);
    EXPECT_NEAR(result.films[0].tilt->u.value, 0.13, 1e-12);
  }
}

// A left hip is measured as its mirror image, but its points are given where they are in the file:
// column 200 of the mirror image is column 299 - 200 of 300 columns.
TEST(Measure, PointsOfALeftHipAreInStoredPixels) {
  Series series = invented::series({"a.dcm"});
  series.side = Side::kLeft;
  const Result left = measured(series);
  EXPECT_NEAR(left.films[0].head->centre_px.x(), 99.0, 1e-9);
  EXPECT_NEAR(left.films[0].head->centre_px.y(), 100.0, 1e-9);
  const Result right = measured(invented::series({"a.dcm"}));
  EXPECT_NEAR(right.films[0].head->centre_px.x(), 200.0, 1e-9);
}

TEST(Measure, LandmarksOfTheSheetReachTheStepsInPixelsOfTheView) {
  Series series = invented::series({"a.dcm"});
  series.side = Side::kLeft;
  series.films[0].landmarks_in_stored_px.stem_tip_px = Vec2(100.0, 400.0);
  series.films[0].landmarks_in_stored_px.stem_axis_px = Line2{Vec2(10.0, 90.0), -Vec2::UnitY()};
  Steps steps = invented::steps();
  std::optional<anatomy::GivenLandmarks> given;
  steps.find_implant = [&](const film::FilmImage&,
                           const anatomy::ImplantOptions& options) -> Expected<anatomy::Implant> {
    given = options.given;
    return invented::implant();
  };
  (void)measure_with(series, {.threads = 1}, steps);
  ASSERT_TRUE(given.has_value());
  EXPECT_NEAR(given->stem_tip_px->x(), 199.0, 1e-9);
  EXPECT_NEAR(given->stem_axis_px->direction.y(), 1.0, 1e-12);  // axes point distally
}

TEST(Measure, LandmarkOutsideOfTheFilmIsRefused) {
  Series series = invented::series({"a.dcm"});
  series.films[0].landmarks_in_stored_px.stem_tip_px = Vec2(100.0, 4000.0);
  const Result result = measured(series);
  EXPECT_EQ(result.films[0].status, Status::kNotMeasured);
  EXPECT_THAT(result.films[0].reason, HasSubstr("outside of the film"));
}

TEST(Measure, EveryPointByHandMustLieOnTheFilm) {
  const Vec2 off(100.0, 4000.0);
  const auto refused = [](const Series& series) {
    return measured(series).films[0].status == Status::kNotMeasured;
  };
  Series axis = invented::series({"a.dcm"});
  axis.films[0].landmarks_in_stored_px.shaft_axis_px = Line2{off, Vec2::UnitY()};
  EXPECT_TRUE(refused(axis));
  Series border = invented::series({"a.dcm"});
  border.films[0].landmarks_in_stored_px.third_zone_border_px = off;
  EXPECT_TRUE(refused(border));
  Series marker = invented::series({"a.dcm"});
  marker.films[0].marker_in_stored_px = Circle2{off, 50.0};
  EXPECT_TRUE(refused(marker));
}

TEST(Measure, RefusedFilmsStayInTheListWithTheirReason) {
  const Result result =
      measured(invented::series({"early.dcm", "late.dcm", "none.dcm", "bare.dcm"}));
  ASSERT_EQ(result.films.size(), 4U);
  EXPECT_EQ(result.films[2].reason, "no pixel data; export it again");
  EXPECT_FALSE(result.films[2].sha256.has_value());
  EXPECT_EQ(result.films[3].reason, "no stem is seen; check the film");
  ASSERT_EQ(result.comparisons.size(), 3U);
  EXPECT_EQ(result.comparisons[0].status, Status::kNotMeasured);
  EXPECT_THAT(result.comparisons[0].reason, HasSubstr("no pixel data"));
  EXPECT_EQ(exit_code(result), 1);
}

TEST(Measure, UnmeasuredReferenceIsTheReasonOfEveryComparison) {
  Series series = invented::series({"bare.dcm", "late.dcm"});
  series.films[0].role = Role::kReference;
  const Result result = measured(series);
  ASSERT_EQ(result.comparisons.size(), 1U);
  EXPECT_THAT(result.comparisons[0].reason, HasSubstr("the reference film bare.dcm"));
  EXPECT_EQ(result.films[1].status, Status::kMeasured);
}

TEST(Measure, NothingReadableIsUnusableInput) {
  Series series = invented::series({"none-1.dcm", "none-2.dcm", "x.dcm"});
  series.films[2].excluded = true;
  const Result result = measured(series);
  EXPECT_EQ(exit_code(result), 3);
  EXPECT_EQ(result.films[2].reason, "excluded in the sheet");
}

TEST(Measure, ExcludedFilmsAreNoFailure) {
  Series series = invented::series({"early.dcm", "late.dcm", "none.dcm"});
  series.films[2].excluded = true;
  const Result result = measured(series);
  EXPECT_EQ(exit_code(result), 0);
  EXPECT_EQ(result.comparisons.size(), 1U);
}

// "All was measured" would be wrong: nothing was compared.
TEST(Measure, ASeriesWithoutAReferenceFilmSaysSo) {
  Series stated = invented::series({"early.dcm", "late.dcm"});
  for (FilmEntry& film : stated.films) film.role = Role::kFollowUp;
  Series excluded = stated;
  excluded.films[0].role.reset();
  excluded.films[0].excluded = true;
  Series unreadable = invented::series({"none.dcm", "late.dcm"});
  unreadable.films[1].role = Role::kFollowUp;
  for (const Series& series : {stated, excluded, unreadable}) {
    const Result result = measured(series);
    EXPECT_TRUE(result.comparisons.empty());
    EXPECT_TRUE(has_flag(result.flags, "no_reference_film"));
    EXPECT_EQ(exit_code(result), 1);
    EXPECT_THAT(to_table(result), HasSubstr("No film serves as the reference"));
    EXPECT_THAT(to_table(result), testing::Not(HasSubstr("There is no follow-up film")));
    EXPECT_THAT(result.assessment->headline.doubt,
                testing::AllOf(HasSubstr("No film serves as the reference"),
                               testing::Not(HasSubstr("There is no follow-up film"))));
  }
  // A film that nobody states a role of is the reference, also alone; lateral films need none.
  Series lateral = stated;
  for (FilmEntry& film : lateral.films) film.view = View::kLateral;
  for (const Series& series : {invented::series({"early.dcm"}), lateral}) {
    EXPECT_FALSE(has_flag(measured(series).flags, "no_reference_film"));
  }
  EXPECT_THAT(to_table(measured(invented::series({"early.dcm"}))),
              HasSubstr("There is no follow-up film to compare with."));
}

TEST(Measure, FilmsOfOtherViewsAreListedButNotMeasured) {
  Series series = invented::series({"early.dcm", "late.dcm", "x.dcm"});
  series.films[2].view = View::kOther;
  const Result result = measured(series);
  EXPECT_EQ(result.films[2].status, Status::kNotMeasured);
  EXPECT_THAT(result.films[2].reason, HasSubstr("AP, PA and lateral films"));
  EXPECT_EQ(result.comparisons.size(), 1U);
  EXPECT_EQ(exit_code(result), 1);
}

/// Two films of a left hip with a surface.
Series left_with_surface() {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.side = Side::kLeft;
  series.stem.surface = "stem.stl";
  series.stem.surface_path = "stem.stl";
  return series;
}

TEST(Measure, SurfaceOfALeftStemIsMirroredLikeItsFilms) {
  Steps steps = invented::steps();
  steps.read_stem = [](const std::filesystem::path&) -> Expected<surface::StemModel> {
    surface::StemModel stem;
    stem.tip = surface::Vec3(0.0, 120.0, 3.0);  // 3 mm behind in a right stem
    return stem;
  };
  std::vector<double> behind;
  steps.find_pose = [&](const surface::StemModel& stem, const anatomy::Implant&,
                        const film::FilmImage&,
                        const Measured<Millimetres>& head) -> Expected<surface::SurfacePose> {
    behind.push_back(stem.tip.z());
    EXPECT_EQ(head.value, Millimetres{32.0});
    return surface::SurfacePose{};
  };
  std::vector<bool> laid;
  steps.compare = [&](const FilmOfPair& a, const FilmOfPair& b) -> Expected<migration::Migration> {
    laid = {a.hip.surface_pose.has_value(), b.hip.surface_pose.has_value()};
    return invented::migration();
  };
  Series series = left_with_surface();
  series.stem.head_diameter = Millimetres{32.0};
  (void)measure_with(series, {.threads = 1}, steps);
  EXPECT_EQ(behind, (std::vector<double>{-3.0, -3.0}));
  EXPECT_EQ(laid, (std::vector<bool>{true, true}));
}

// From behind a stem shows what its mirror image shows from before.
TEST(Measure, SurfaceOfALeftStemFromBehindIsThatOfARightOne) {
  Steps steps = invented::steps();
  steps.read_stem = [](const std::filesystem::path&) -> Expected<surface::StemModel> {
    surface::StemModel stem;
    stem.tip = surface::Vec3(0.0, 120.0, 3.0);
    return stem;
  };
  std::vector<double> behind;
  steps.find_pose = [&](const surface::StemModel& stem, const auto&...) {
    behind.push_back(stem.tip.z());
    return Expected<surface::SurfacePose>(surface::SurfacePose{});
  };
  bool told = false;
  steps.compare = [&](const FilmOfPair& a, const FilmOfPair& b) -> Expected<migration::Migration> {
    told = a.hip.from_behind && b.hip.from_behind;
    return invented::migration();
  };
  Series series = left_with_surface();
  for (FilmEntry& film : series.films) film.view = View::kPa;
  (void)measure_with(series, {.threads = 1}, steps);
  EXPECT_EQ(behind, (std::vector<double>{3.0, 3.0}));
  EXPECT_TRUE(told);
}

/// Flags of a hip whose uneven stem scatters about the reference film by `as_said` mm, and by
/// `turned_over` mm front for back; with the side that was laid.
std::pair<std::vector<Flag>, double> laid_either_way(double as_said, double turned_over) {
  Steps steps = invented::steps();
  steps.read_stem = [](const std::filesystem::path&) -> Expected<surface::StemModel> {
    surface::StemModel stem;
    stem.tip = surface::Vec3(0.0, 120.0, -3.0);  // in front in the file, behind in the left hip
    stem.front_back_mm = 3.0;
    return stem;
  };
  double laid = 0.0;
  steps.find_pose = [&](const surface::StemModel& stem, const auto&...) {
    laid = stem.tip.z();
    surface::SurfacePose pose;
    pose.scatter_mm = laid > 0.0 ? as_said : turned_over;
    return Expected<surface::SurfacePose>(pose);
  };
  const Result result = measure_with(left_with_surface(), {.threads = 1}, steps);
  return {result.flags, laid};
}

TEST(Measure, SurfaceOfTheOtherSideIsTurnedOverAndFlagged) {
  const auto [of_other, laid_other] = laid_either_way(0.2, 0.06);
  EXPECT_TRUE(has_flag(of_other, "surface_mirrored"));
  EXPECT_EQ(laid_other, -3.0);
  // Noise alone makes either way fit a little better.
  const auto [of_noise, laid_noise] = laid_either_way(0.060, 0.056);
  EXPECT_FALSE(has_flag(of_noise, "surface_mirrored"));
  EXPECT_EQ(laid_noise, 3.0);
}

TEST(Measure, SurfaceThatCannotBeUsedIsAFlag) {
  Steps steps = invented::steps();
  steps.find_pose = [](const auto&...) -> Expected<surface::SurfacePose> {
    return fail(ErrorKind::kCannotTell, "stem surface", "no pose", "check it");
  };
  steps.read_stem = [](const std::filesystem::path& file) -> Expected<surface::StemModel> {
    return fail(ErrorKind::kBadInput, file.string(), "the surface is not closed", "fill its holes");
  };
  const Result unread = measure_with(left_with_surface(), {}, steps);
  EXPECT_TRUE(has_flag(unread.flags, "surface_not_used"));
  EXPECT_EQ(exit_code(unread), 0);
  steps.read_stem = [](const auto&) -> Expected<surface::StemModel> {
    return surface::StemModel{};
  };
  const Result not_laid = measure_with(left_with_surface(), {}, steps);
  EXPECT_TRUE(has_flag(not_laid.films[1].flags, "surface_pose_missing"));
  EXPECT_EQ(not_laid.comparisons[0].status, Status::kMeasured);
}

TEST(Measure, TurnedOverGreyIsFoundAndFlagged) {
  const Result result = measured(invented::series({"dark.dcm"}));
  EXPECT_EQ(result.films[0].status, Status::kMeasured);
  EXPECT_TRUE(has_flag(result.films[0].flags, "grey_inverted"));
}

/// The invented steps, with another tone on every film.
template <class Curve>
Steps toned(const Curve& curve) {
  Steps steps = invented::steps();
  steps.read = [read = steps.read, curve](const std::filesystem::path& file) {
    auto film = read(file);
    if (film) {
      for (float& v : film->pixels.values) v = curve(v);
    }
    return film;
  };
  return steps;
}

float cut(float v) { return std::min(v, 700.0F); }  // of 1 to 1,297

TEST(Measure, FilmWithoutBrightGreysIsRefusedForItsTone) {
  const Series series = invented::series({"early.dcm", "bare.dcm"});
  const Result result = measure_with(series, {}, toned(cut));
  EXPECT_EQ(result.films[1].reason,
            "no stem is seen: this film's bright greys are pressed together or cut off, so that "
            "metal does not stand out from bone; send the film as it was taken, without a viewer's "
            "window, tone curve or local contrast");
  EXPECT_EQ(result.films[0].status, Status::kMeasured);
}

TEST(Measure, PairThatDiffersByItsToneAloneIsNotSaidToBeAnotherHip) {
  const auto refused_by = [](Steps steps) {
    steps.compare = [](const auto&...) -> Expected<migration::Migration> {
      return fail(ErrorKind::kCannotTell, "comparison", "another stem", "look again");
    };
    return measure_with(invented::series({"early.dcm", "late.dcm"}), {}, steps)
        .comparisons[0]
        .reason;
  };
  EXPECT_EQ(refused_by(invented::steps()), "another stem; look again");
  EXPECT_EQ(
      refused_by(toned(cut)),
      "on late.dcm: bright greys are pressed together or cut off, so that metal does not "
      "stand out from bone, and the two films cannot be held against each other (another stem); "
      "send the film as it was taken, without a viewer's window, tone curve or local "
      "contrast");
}

TEST(Measure, PressedGreysAreSpreadAndFlagged) {
  const auto press = [](float v) { return 1.0F - std::exp(-v / 120.0F); };
  const Result result = measure_with(invented::series({"early.dcm", "late.dcm"}), {}, toned(press));
  EXPECT_TRUE(has_flag(result.films[0].flags, "greys_spread"));
  EXPECT_EQ(result.comparisons[0].status, Status::kMeasured);
  const Result plain = measured(invented::series({"early.dcm", "late.dcm"}));
  EXPECT_FALSE(has_flag(plain.films[0].flags, "greys_spread"));
}

/// The invented steps, which find a stem with these flags, as stored and with the greys spread;
/// nothing where there are no flags at all.
using FoundWith = std::optional<std::vector<std::string>>;
Steps finding(const FoundWith& as_stored, const FoundWith& spread) {
  Steps steps = invented::steps();
  steps.find_implant = [=](const film::FilmImage& view, const auto&) -> Expected<anatomy::Implant> {
    const FoundWith& ids = view.greys_spread ? spread : as_stored;
    if (!ids) return fail(ErrorKind::kCannotTell, view.facts.file, "no stem is seen", "look");
    anatomy::Implant out = invented::implant();
    for (const std::string& id : *ids) out.flags.push_back({id, "A doubt."});
    return out;
  };
  return steps;
}

struct SecondLookRow {
  const char* name;
  FoundWith as_stored;
  FoundWith spread;
  bool measured;
  bool spread_counts;
};
void PrintTo(const SecondLookRow& row, std::ostream* os) { *os << row.name; }

class SecondLook : public testing::TestWithParam<SecondLookRow> {};

TEST_P(SecondLook, CountsWhereItLeavesFewerDoubts) {
  const SecondLookRow& row = GetParam();
  Series series = invented::series({"early.dcm"});
  const Result result = measure_with(series, {}, finding(row.as_stored, row.spread));
  EXPECT_EQ(result.films[0].status == Status::kMeasured, row.measured);
  EXPECT_EQ(has_flag(result.films[0].flags, "greys_spread"), row.spread_counts);
}

INSTANTIATE_TEST_SUITE_P(
    Films, SecondLook,
    testing::Values(
        SecondLookRow{"sure", std::vector<std::string>{}, std::vector<std::string>{}, true, false},
        SecondLookRow{"head", {{"head_in_doubt"}}, std::vector<std::string>{}, true, true},
        SecondLookRow{"tip", {{"tip_outside_field"}}, std::vector<std::string>{}, true, true},
        SecondLookRow{"as_many", {{"head_in_doubt"}}, {{"head_off_neck"}}, true, false},
        SecondLookRow{"stem_in_doubt",
                      {{"head_in_doubt", "tip_outside_field"}},
                      {{"implant_uncertain"}},
                      true,
                      false},
        SecondLookRow{"none", std::nullopt, std::vector<std::string>{}, true, true},
        SecondLookRow{"none_but_doubts", std::nullopt, {{"head_in_doubt"}}, false, false},
        SecondLookRow{"never", std::nullopt, std::nullopt, false, false}),
    [](const auto& row) { return row.param.name; });

/// A finder that sees the head only with metal set apart, or where it is told of it; the stem's tip
/// then lies so many px from where the other look sees it.
Result with_metal_set_apart(double tip_off_px) {
  Steps steps = toned(cut);
  steps.find_implant = [=](const film::FilmImage& view,
                           const anatomy::ImplantOptions& options) -> Expected<anatomy::Implant> {
    anatomy::Implant out = invented::implant();
    const bool told = options.given.head_centre_px.has_value();
    if (!view.greys_spread && !told) out.flags.push_back({"head_in_doubt", "A doubt."});
    if (told) out.tip.px.y() += tip_off_px;
    return out;
  };
  return measure_with(invented::series({"early.dcm"}), {}, steps);
}

// Metal set apart shows the head; bone as bright as metal then is measured on the film as it is.
TEST(Measure, WhatIsSeenWithMetalSetApartIsMeasuredOnTheFilmAsItIs) {
  const auto set_apart = [](double off) {
    const Result result = with_metal_set_apart(off);
    EXPECT_EQ(result.films[0].status, Status::kMeasured) << result.films[0].reason;
    EXPECT_FALSE(has_flag(result.films[0].flags, "head_in_doubt"));
    return has_flag(result.films[0].flags, "greys_spread");
  };
  EXPECT_FALSE(set_apart(0.0));
  EXPECT_TRUE(set_apart(8.0)) << "the film as it is shows another stem";
}

// Greys as the absorption itself hide bone: where such a film leaves a doubt, drawing its dark
// greys apart counts though it leaves as many.
TEST(Measure, DarkBoneIsDrawnApartWhereTheFirstLookLeavesADoubt) {
  const auto spread_counts = [&](const FoundWith& as_stored, const FoundWith& spread) {
    Steps steps = finding(as_stored, spread);
    steps.read = toned([](float v) {
                   return v < 400.0F ? v / 400.0F : v < 800.0F ? 50.0F + v / 400.0F : 600.0F + v;
                 }).read;
    const Result result = measure_with(invented::series({"early.dcm"}), {}, steps);
    return has_flag(result.films[0].flags, "greys_spread");
  };
  const std::vector<std::string> none;
  EXPECT_FALSE(spread_counts(none, none));
  EXPECT_TRUE(spread_counts({{"head_in_doubt"}}, {{"head_off_neck"}}));
  EXPECT_FALSE(spread_counts({{"head_in_doubt"}}, {{"head_off_neck", "implant_uncertain"}}));
}

// Where bright greys have little room, a cortex may be taken for the stem without a doubt.
TEST(Measure, OfTwoSureFindsOnATightFilmTheNarrowerStemCounts) {
  const auto tight = [](float v) { return 1.0F - std::exp(-v / 350.0F); };
  const auto spread_counts = [&](double as_stored_px, double spread_px) {
    Steps steps = toned(tight);
    steps.find_implant = [=](const film::FilmImage& view, const auto&) {
      const double half = 0.5 * (view.greys_spread ? spread_px : as_stored_px);
      anatomy::Implant out = invented::implant();
      out.outline_px.clear();
      for (int y = 130; y <= 400; ++y) out.outline_px.emplace_back(150.0 - half, y);
      for (int y = 400; y >= 130; --y) out.outline_px.emplace_back(150.0 + half, y);
      return Expected<anatomy::Implant>(out);
    };
    const Result result = measure_with(invented::series({"early.dcm"}), {}, steps);
    return has_flag(result.films[0].flags, "greys_spread");
  };
  EXPECT_TRUE(spread_counts(50.0, 30.0));
  EXPECT_FALSE(spread_counts(30.0, 30.0));
  EXPECT_FALSE(spread_counts(30.0, 50.0));
}

TEST(Measure, UnknownSideIsTheMoreConfidentOneForAllFilms) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.side.reset();
  Steps steps = invented::steps();
  // Only in the mirror image is the first column brighter than the last.
  steps.find_implant = [](const film::FilmImage& view,
                          const anatomy::ImplantOptions&) -> Expected<anatomy::Implant> {
    auto implant = invented::implant();
    const bool mirrored = view.pixels.at(0, 0) > view.pixels.at(invented::kWidth - 1, 0);
    implant.confidence = mirrored ? 0.9 : 0.6;
    return implant;
  };
  const Result result = measure_with(series, {}, steps);
  EXPECT_EQ(result.side, Side::kLeft);
  EXPECT_TRUE(has_flag(result.films[0].flags, "side_assumed"));
  EXPECT_TRUE(has_flag(result.films[1].flags, "side_assumed"));
}

/// Steps whose header says more than the invented ones.
Steps with_header(const std::function<void(film::FilmFacts&)>& edit) {
  Steps steps = invented::steps();
  steps.read = [edit](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    auto image = invented::image(file.filename().string());
    edit(image.facts);
    return image;
  };
  return steps;
}

TEST(Measure, AHeaderWithTwoDatesIsADoubtOfEachOfItsComparisons) {
  const Steps steps = with_header([](film::FilmFacts& facts) {
    if (facts.file == "late.dcm") facts.contradicting_date = parse_date("2022-01-31");
  });
  Series series = invented::series({"early.dcm", "late.dcm"});
  const Result result = measure_with(series, {}, steps);
  EXPECT_FALSE(has_flag(result.films[0].flags, "header_dates_differ"));
  ASSERT_TRUE(has_flag(result.films[1].flags, "header_dates_differ"));
  EXPECT_THAT(result.assessment->headline.doubt, HasSubstr("dates it 2024-03-01 and 2022-01-31"));
  series.films[1].date = parse_date("2022-01-31");
  const Result stated = measure_with(series, {}, steps);
  EXPECT_FALSE(has_flag(stated.films[1].flags, "header_dates_differ"));
  EXPECT_TRUE(has_flag(stated.films[1].flags, "date_contradicts_header"));
}

// "x.dcm" has no date: it may be the film after the operation.
TEST(Measure, AnUndatedFilmThatMayBeTheEarliestIsADoubt) {
  Series series = invented::series({"early.dcm", "x.dcm"});
  const Result result = measured(series);
  EXPECT_EQ(result.films[0].role, Role::kReference);
  EXPECT_TRUE(has_flag(result.films[1].flags, "order_unknown"));
  EXPECT_THAT(result.assessment->headline.doubt, HasSubstr("may be earlier than the reference"));
  series.films[1].role = Role::kFollowUp;
  EXPECT_FALSE(has_flag(measured(series).films[1].flags, "order_unknown"));
  series.films[1].role.reset();
  series.films[0].role = Role::kReference;
  EXPECT_FALSE(has_flag(measured(series).films[1].flags, "order_unknown"));
}

TEST(Measure, BurntInTextIsSaid) {
  const Steps steps = with_header(
      [](film::FilmFacts& facts) { facts.burned_in_annotation = facts.file == "b.dcm"; });
  const Result result = measure_with(invented::series({"a.dcm", "b.dcm"}), {}, steps);
  EXPECT_FALSE(has_flag(result.films[0].flags, "burned_in_annotation"));
  EXPECT_TRUE(has_flag(result.films[1].flags, "burned_in_annotation"));
}

TEST(Measure, ContradictionsWithTheHeaderAreFlaggedAndTheSheetFollowed) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.films[1].date = parse_date("2024-03-02");
  series.films[1].view = View::kAp;
  const Result result = measure_with(series, {}, with_header([](film::FilmFacts& facts) {
                                       facts.side = Side::kLeft;
                                       facts.view = View::kLateral;
                                       if (facts.file == "early.dcm") facts.view = View::kAp;
                                     }));
  const FilmResult& film = result.films[1];
  EXPECT_TRUE(has_flag(film.flags, "date_contradicts_header"));
  EXPECT_TRUE(has_flag(film.flags, "side_contradicts_header"));
  EXPECT_TRUE(has_flag(film.flags, "view_contradicts_header"));
  EXPECT_EQ(film.date, parse_date("2024-03-02"));
  EXPECT_EQ(film.side, Side::kRight);
  EXPECT_EQ(film.status, Status::kMeasured);
}

TEST(Measure, FilmOfTheOtherHipIsNotMixedIn) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.side.reset();
  const Result result = measure_with(series, {}, with_header([](film::FilmFacts& facts) {
                                       facts.side =
                                           facts.file == "early.dcm" ? Side::kLeft : Side::kRight;
                                     }));
  EXPECT_EQ(result.side, Side::kLeft);
  EXPECT_EQ(result.films[1].status, Status::kNotMeasured);
  EXPECT_THAT(result.films[1].reason, HasSubstr("right hip"));
}

TEST(Measure, OtherPatientsAndCopiesAreFlaggedWithoutSayingWho) {
  const Steps steps = with_header([](film::FilmFacts& facts) {
    facts.patient_key = facts.file == "b.dcm" ? "SECRET-B" : "SECRET-A";
    facts.sha256 = std::string(64, 'e');
  });
  const Result result = measure_with(invented::series({"a.dcm", "b.dcm"}), {}, steps);
  EXPECT_TRUE(has_flag(result.films[1].flags, "patient_differs"));
  EXPECT_FALSE(has_flag(result.films[0].flags, "patient_differs"));
  EXPECT_TRUE(has_flag(result.films[1].flags, "copy_of_film"));
  EXPECT_THAT(to_json(result), testing::Not(HasSubstr("SECRET")));
}

// What casts doubt on a film casts doubt on what it is compared with.
TEST(Measure, WhatSpeaksAgainstAFilmStandsBesideTheVerdict) {
  const Steps steps = with_header([](film::FilmFacts& facts) {
    facts.patient_key = facts.file == "b.dcm" ? "SECRET-B" : "SECRET-A";
  });
  const Result result = measure_with(invented::series({"a.dcm", "b.dcm"}), {}, steps);
  ASSERT_TRUE(result.assessment);
  const std::string& doubt = result.assessment->headline.doubt;
  EXPECT_THAT(doubt, HasSubstr("Something about the pair."));
  EXPECT_THAT(doubt, HasSubstr("b.dcm: The patient of this file is not the one of the reference"));
  const Result sound = measured(invented::series({"a.dcm", "b.dcm"}));
  EXPECT_THAT(sound.assessment->headline.doubt, HasSubstr("Something about the pair."));
  EXPECT_THAT(sound.assessment->headline.doubt, testing::Not(HasSubstr("patient")));
}

// The reference film has no date, and the sheet lists the follow-up films backwards.
TEST(Measure, AnUndatedReferenceFilmTakesNoOrderFromTheOthers) {
  Series series = invented::series({"a.dcm", "b.dcm", "c.dcm", "d.dcm"});
  series.surgery_date = parse_date("2024-03-01");
  series.films[0].role = Role::kReference;
  series.films[1].date = parse_date("2029-03-01");
  series.films[2].date = parse_date("2024-04-15");
  const Result result = measured(series);
  ASSERT_EQ(result.comparisons.size(), 3U);
  EXPECT_FALSE(result.comparisons[0].days);
  EXPECT_EQ(result.films[result.comparisons[0].follow_up].file, "d.dcm") << "undated ones first";
  EXPECT_EQ(result.films[result.comparisons[1].follow_up].file, "c.dcm");
  EXPECT_EQ(result.films[result.comparisons[2].follow_up].file, "b.dcm");
  EXPECT_EQ(result.assessment->headline.comparison, 2U);
}

// A copy would count twice in every trend, and one under another date would be a stem at rest.
TEST(Measure, AFilmCountsOnce) {
  const Steps steps = with_header([](film::FilmFacts& facts) {
    facts.sha256 = std::string(64, facts.file == "c.dcm" ? 'f' : 'e');
  });
  Series series = invented::series({"a.dcm", "b.dcm", "c.dcm"});
  series.films[1].role = Role::kReference;
  const Result result = measure_with(series, {}, steps);
  EXPECT_EQ(result.films[0].status, Status::kNotMeasured);
  EXPECT_THAT(result.films[0].reason, HasSubstr("same bytes as b.dcm"));
  EXPECT_EQ(result.films[1].status, Status::kMeasured);
  EXPECT_EQ(result.films[2].status, Status::kMeasured);
  series.films[1].excluded = true;
  series.films[1].role.reset();
  EXPECT_EQ(measure_with(series, {}, steps).films[0].status, Status::kMeasured)
      << "a film that is left out takes no copy with it";
}

// Compressed otherwise, or with a tag more, it is the same film still: its pair would be perfect.
TEST(Measure, AFilmInAnotherEncodingCountsOnce) {
  const auto films_of = [](const std::optional<std::string>& uid) {
    const Steps steps = with_header([&](film::FilmFacts& facts) { facts.object_uid = uid; });
    return measure_with(invented::series({"a.dcm", "b.dcm"}), {}, steps).films;
  };
  const auto one = films_of("1.2.3.SECRET");
  EXPECT_EQ(one[0].status, Status::kMeasured);
  EXPECT_EQ(one[1].status, Status::kNotMeasured);
  EXPECT_TRUE(has_flag(one[1].flags, "copy_of_film"));
  EXPECT_THAT(one[1].reason, HasSubstr("the same film (SOP Instance UID) as a.dcm"));
  EXPECT_THAT(one[1].reason, testing::Not(HasSubstr("SECRET")));
  EXPECT_EQ(films_of(std::nullopt)[1].status, Status::kMeasured);
}

// Some writers give all their films one UID. What they show tells them apart.
TEST(Measure, FilmsOfOneUidThatShowOtherThingsAreNoCopies) {
  Steps steps = with_header([](film::FilmFacts& facts) { facts.object_uid = "1.2.3"; });
  steps.read = [read = steps.read](const std::filesystem::path& file) {
    auto film = read(file);
    if (film && file.filename() == "b.dcm") {
      auto& values = film->pixels.values;
      for (std::size_t i = 0; i < values.size(); ++i) {
        values[i] += static_cast<float>(300.0 * std::sin(0.01 * static_cast<double>(i)));
      }
    }
    return film;
  };
  const auto films = measure_with(invented::series({"a.dcm", "b.dcm"}), {}, steps).films;
  EXPECT_EQ(films[1].status, Status::kMeasured);
  EXPECT_FALSE(has_flag(films[1].flags, "copy_of_film"));
}

TEST(Measure, WithoutScaleIsRefusedWithTheRemedy) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.stem.head_diameter.reset();
  const Result result = measured(series);
  EXPECT_EQ(result.films[0].status, Status::kNotMeasured);
  EXPECT_THAT(result.films[0].reason, HasSubstr("state the diameter of the head"));
}

// In pixels a head of 32 mm stands in for the true one: 0.5 mm per px, so 2.1 mm are 4.2 px.
TEST(Measure, AcceptedPixelsAreCalledPixels) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.stem.head_diameter.reset();
  const Result result = measured(series, {.without_scale = WithoutScale::kAcceptPixels});
  EXPECT_EQ(result.length_unit, LengthUnit::kReferencePixels);
  EXPECT_TRUE(has_flag(result.flags, "lengths_in_pixels"));
  const std::string json = to_json(result);
  EXPECT_THAT(json, HasSubstr(R"("subsidence_px": {"value":4.2,"u":0.4,"u95":0.8})"));
  EXPECT_THAT(json, testing::Not(HasSubstr("subsidence_mm")));
  EXPECT_THAT(to_csv(result), HasSubstr("subsidence_px,subsidence_u_px"));
  EXPECT_THAT(to_table(result), HasSubstr("subsidence px"));
  // The nominal head tells no millimetres, and its 12.5 % are no doubt about pixels.
  EXPECT_FALSE(result.films[0].lesser_trochanter->u.has_value());
  series.stem.head_diameter = Millimetres{32.0};
  const Result in_mm = measured(series);
  const auto& px = result.films[1].zones[6].mean;
  const auto& mm = in_mm.films[1].zones[6].mean;
  ASSERT_TRUE(px && mm);
  EXPECT_LE(px->u.value / px->value.value, mm->u.value / mm->value.value);
}

// 1.5 px beside a head that is called 32 mm wide: a new line is one in any unit, one that grew by
// 1 mm is not known to have.
TEST(Measure, WithoutAScaleNoLimitInMillimetresDecides) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  auto steps = invented::steps();
  double before = 0.0;
  steps.look_for_lines = [&before](const film::FilmImage& view, const anatomy::Implant&,
                                   const lucency::LucencyOptions&) {
    const bool early = view.facts.file.starts_with("early");
    auto out = invented::lines(view.facts.file);
    auto in_zone_7 = lucency::invented::film(0.0, [&](int zone, double) {
      return zone != 7 ? 0.0 : early ? before : 2.5;
    });
    out->lines = in_zone_7.lines;
    return out;
  };
  const auto became = [&](const Options& options) {
    return measure_with(series, options, steps).comparisons.at(0);
  };
  const Options in_pixels{.without_scale = WithoutScale::kAcceptPixels};
  before = 1.0;
  EXPECT_EQ(became({}).zones[6].progressive, lucency::Answer::kYes);
  series.stem.head_diameter.reset();
  const ComparisonResult grown = became(in_pixels);
  EXPECT_EQ(grown.zones[6].progressive, lucency::Answer::kCannotTell);
  EXPECT_THAT(grown.zones[6].reason, HasSubstr("gives the scale"));
  EXPECT_EQ(grown.zones[0].progressive, lucency::Answer::kNo) << "none on either film";
  ASSERT_TRUE(grown.signs.has_value());
  for (const auto& lysis : grown.signs->lysis) {
    EXPECT_EQ(lysis.state, lucency::State::kCannotTell);
    EXPECT_THAT(lysis.reason, HasSubstr("gives the scale"));
  }
  before = 2.4;
  EXPECT_EQ(became(in_pixels).zones[6].progressive, lucency::Answer::kCannotTell);
  before = 0.0;
  EXPECT_EQ(became(in_pixels).zones[6].progressive, lucency::Answer::kYes);
}

// Two films state 0.50 and 0.52 mm per px with the same relative u, and the head is 64 px on both:
// heads of 32 and 33.28 mm, of which the mean by 1/u^2 is (32/0.5^2 + 33.28/0.52^2) /
// (1/0.5^2 + 1/0.52^2) = 32.6149 mm (derived; u of the head's own outline is 0.5 % of it for both).
TEST(Measure, HeadCarriesTheScaleFromFilmToFilm) {
  Series series = invented::series({"early.dcm", "late.dcm", "x.dcm"});
  series.stem.head_diameter.reset();
  Steps steps = with_header([](film::FilmFacts& facts) {
    if (facts.file == "x.dcm") return;
    const double pitch = facts.file == "early.dcm" ? 0.50 : 0.52;
    facts.scale.pixel_spacing = film::Spacing{pitch, pitch};
    facts.scale.calibration_type = "FIDUCIAL";
  });
  const Result result = measure_with(series, {}, steps);
  for (const FilmResult& film : result.films) {
    ASSERT_TRUE(film.calibration.has_value()) << film.reason;
    EXPECT_EQ(film.calibration->method, "dicom");
    EXPECT_NEAR(film.calibration->mm_per_px.value.value, 32.6149 / 64.0, 1e-5);
  }
}

TEST(Measure, HalfAMarkerIsNotUsedAndSaysSo) {
  Series series = invented::series({"a.dcm", "b.dcm"});
  series.films[0].marker_diameter = Millimetres{25.0};
  series.films[1].marker_in_stored_px = Circle2{Vec2(50.0, 60.0), 25.0};
  const Result result = measured(series);
  EXPECT_TRUE(has_flag(result.flags, "marker_not_located"));
  EXPECT_TRUE(has_flag(result.flags, "marker_diameter_missing"));
  for (const FilmResult& film : result.films) EXPECT_TRUE(film.other_scales.empty());
}

TEST(Measure, GivenScaleIsUsedBeforeTheHead) {
  Series series = invented::series({"a.dcm"});
  series.films[0].scale = Measured<MillimetresPerPixel>{{0.48}, {0.001}, {0.00196}};
  const Result result = measured(series);
  EXPECT_EQ(result.films[0].calibration->method, "given");
  EXPECT_DOUBLE_EQ(result.films[0].calibration->mm_per_px.value.value, 0.48);
  // The head says 0.5046 mm per px, 0.7 % of it uncertain: 7 times that away.
  EXPECT_TRUE(has_flag(result.films[0].flags, "scales_disagree"));
  ASSERT_EQ(result.films[0].other_scales.size(), 1U);
  EXPECT_EQ(result.films[0].other_scales[0].method, "head_diameter");
  series.films[0].scale = Measured<MillimetresPerPixel>{{0.504}, {0.001}, {0.00196}};
  EXPECT_FALSE(has_flag(measured(series).films[0].flags, "scales_disagree"));
}

// 64 px of 0.5 mm at the stem, which lies 8.9 mm behind the head on an AP film and before it on a
// PA one, 970 mm from the tube.
TEST(Measure, TheHeadsTrueSizeFollowsTheViewOfItsFilm) {
  const auto head_by = [](View view) {
    Steps steps = with_header([](film::FilmFacts& facts) {
      facts.scale.pixel_spacing = film::Spacing{0.5, 0.5};
      facts.scale.calibration_type = "FIDUCIAL";
    });
    double head = 0.0;
    steps.read_stem = [](const auto&) -> Expected<surface::StemModel> {
      return surface::StemModel{};
    };
    steps.find_pose = [&](const surface::StemModel&, const anatomy::Implant&,
                          const film::FilmImage&,
                          const Measured<Millimetres>& diameter) -> Expected<surface::SurfacePose> {
      head = diameter.value.value;
      return surface::SurfacePose{};
    };
    Series series = left_with_surface();
    series.stem.head_diameter.reset();
    for (FilmEntry& film : series.films) film.view = view;
    static_cast<void>(measure_with(series, {.threads = 1}, steps));
    return head;
  };
  EXPECT_NEAR(head_by(View::kAp), 32.0 / (1.0 + 8.9 / 970.0), 1e-9);
  EXPECT_NEAR(head_by(View::kPa), 32.0 / (1.0 - 8.9 / 970.0), 1e-9);
}

// What both scales of a pair share: of heads the part that is not their films' own, of numbers in
// the sheet half of the variance (house choice), of pixels nothing.
TEST(SharedScale, IsTheRestOrHalfOfWhatTheSheetGives) {
  HipFilm film;
  film.scale = {{0.2}, {0.002}, {0.00392}};
  film.scale_u_own = {0.0012};
  EXPECT_NEAR(shared_scale_u(film), 0.008, 1e-12);  // 1 % in all, 0.6 % its own
  film.scale_u_own = {0.002};
  EXPECT_NEAR(shared_scale_u(film), 0.01 / std::sqrt(2.0), 1e-12);
  film.in_pixels = true;
  EXPECT_EQ(shared_scale_u(film), 0.0);
}

// Heads of 64 px on both films are of one true size, which tells the stem's scale on each.
TEST(Measure, HeadCarriesTheScaleFromTheFrontToBehind) {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.stem.head_diameter.reset();
  series.films[1].view = View::kPa;
  const Result result = measure_with(series, {}, with_header([](film::FilmFacts& facts) {
                                       facts.scale.pixel_spacing = film::Spacing{0.5, 0.5};
                                       facts.scale.calibration_type = "FIDUCIAL";
                                     }));
  const auto scale = [&](std::size_t film) {
    return result.films[film].calibration.value().mm_per_px.value.value;
  };
  EXPECT_NEAR(scale(0) / scale(1), (1.0 + 8.9 / 970.0) / (1.0 - 8.9 / 970.0), 1e-9);
}

/// One film of 0.5 mm a px whose head's size nobody states, with a marker ball of 25.4 mm on it.
Series with_marker(double stated_mm) {
  Series series = invented::series({"a.dcm"});
  series.stem.head_diameter.reset();
  series.films[0].marker_diameter = Millimetres{stated_mm};
  series.films[0].marker_in_stored_px = Circle2{Vec2(50.0, 60.0), 25.4};
  return series;
}

/// 0.6 mm at the detector: the film's magnification is 1.2.
Steps with_detector() {
  return with_header([](film::FilmFacts& facts) {
    facts.scale.imager_pixel_spacing = film::Spacing{0.6, 0.6};
  });
}

std::string doubt_of(const Result& result) {
  std::string out;
  for (const Flag& flag : result.films[0].flags) {
    if (flag.id == "scales_disagree") out += flag.text + "\n";
  }
  return out;
}

// 30 typed for 25.4 mm: 0.59 mm a px, a magnification of 1.02, and 18 % more than the stem says,
// whose 270 px are 135 mm.
TEST(Measure, AMarkerOfTheWrongSizeIsFlaggedWithoutAHead) {
  EXPECT_THAT(doubt_of(measure_with(with_marker(30.0), {}, with_detector())),
              HasSubstr("the marker ball implies a magnification of 1.02"));
  Series with_stem = with_marker(30.0);
  with_stem.stem.length = Millimetres{135.0};
  EXPECT_THAT(doubt_of(measured(with_stem)), HasSubstr("the scale from the stem length"));
  EXPECT_EQ(doubt_of(measure_with(with_marker(25.4), {}, with_detector())), "");
}

// The detector's spacing copied out of the header as the scale: no film has a magnification of 1.
TEST(Measure, TheDetectorsSpacingGivenAsTheScaleIsFlagged) {
  Series series = invented::series({"a.dcm"});
  series.stem.head_diameter.reset();
  series.films[0].scale = Measured<MillimetresPerPixel>{{0.6}, {0.006}, {0.01176}};
  EXPECT_THAT(doubt_of(measure_with(series, {}, with_detector())),
              HasSubstr("the scale given in the sheet implies a magnification of 1.00"));
  series.films[0].scale = Measured<MillimetresPerPixel>{{0.5}, {0.005}, {0.0098}};
  EXPECT_EQ(doubt_of(measure_with(series, {}, with_detector())), "");
}

TEST(Measure, AScaleThatNothingContradictsSaysSo) {
  const auto unchecked = [](const Series& series, const Steps& steps) {
    return has_flag(measure_with(series, {}, steps).films[0].flags, "scale_unchecked");
  };
  EXPECT_TRUE(unchecked(with_marker(25.4), invented::steps()));
  EXPECT_FALSE(unchecked(with_marker(25.4), with_detector()));
  Series given = invented::series({"a.dcm"});
  given.films[0].scale = Measured<MillimetresPerPixel>{{0.5}, {0.005}, {0.0098}};
  EXPECT_FALSE(unchecked(given, invented::steps())) << "the head's size is stated";
  given.stem.head_diameter.reset();
  EXPECT_TRUE(unchecked(given, invented::steps()));
  EXPECT_FALSE(unchecked(given, with_detector()));
  const Steps by_header = with_header([](film::FilmFacts& facts) {
    facts.scale.pixel_spacing = film::Spacing{0.5, 0.5};
    facts.scale.calibration_type = "FIDUCIAL";
  });
  Series bare = invented::series({"a.dcm"});
  bare.stem.head_diameter.reset();
  EXPECT_TRUE(unchecked(bare, by_header));
  const Steps with_both = with_header([](film::FilmFacts& facts) {
    facts.scale.pixel_spacing = film::Spacing{0.5, 0.5};
    facts.scale.imager_pixel_spacing = film::Spacing{0.6, 0.6};
    facts.scale.calibration_type = "GEOMETRY";
  });
  EXPECT_FALSE(unchecked(bare, with_both));
}

// A mistyped number makes every length wrong, as a wrong head diameter does.
TEST(Measure, AScaleThatNothingContradictsIsADoubtOfTheVerdict) {
  Series given = invented::series({"a.dcm", "b.dcm"});
  given.stem.head_diameter.reset();
  for (FilmEntry& film : given.films) {
    film.scale = Measured<MillimetresPerPixel>{{0.5}, {0.005}, {0.0098}};
  }
  const Result result = measure_with(given, {}, invented::steps());
  ASSERT_TRUE(result.comparisons.at(0).migration);
  for (const char* file : {"a.dcm", "b.dcm"}) {
    EXPECT_THAT(result.assessment->headline.doubt,
                HasSubstr(std::string(file) + ": Nothing else on this film tells its scale"));
  }
  const Result held = measure_with(given, {}, with_detector());
  EXPECT_THAT(held.assessment->headline.doubt, testing::Not(HasSubstr("tells its scale")));
}

/// The hint of the scale under which the implant of one film is sought; 0 for none.
double hint_for(double mm_per_px) {
  Series series = invented::series({"a.dcm"});
  series.films[0].scale = Measured<MillimetresPerPixel>{{mm_per_px}, {0.001}, {0.00196}};
  Steps steps = invented::steps();
  double hint = 0.0;
  steps.find_implant = [&](const film::FilmImage&, const anatomy::ImplantOptions& options) {
    if (options.scale_hint) hint = options.scale_hint->value;
    return Expected<anatomy::Implant>(invented::implant());
  };
  static_cast<void>(measure_with(series, {.threads = 1}, steps));
  return hint;
}

// The film is 500 px long: 5 mm a px make 2.5 m of it, 0.05 mm 25 mm, and no stem would be found.
TEST(Measure, AScaleThatMakesNoFieldOfAFilmIsNoHint) {
  EXPECT_DOUBLE_EQ(hint_for(0.5), 0.5);
  EXPECT_EQ(hint_for(5.0), 0.0);
  EXPECT_EQ(hint_for(0.05), 0.0);
}

TEST(Measure, SameBytesOnAnyNumberOfThreads) {
  const Series series =
      invented::series({"early.dcm", "late.dcm", "a.dcm", "none.dcm", "bare.dcm", "b.dcm"});
  const Result one = measured(series, {.pictures = Pictures::kDraw, .threads = 1});
  for (const int threads : {2, 5}) {
    const Result more = measured(series, {.pictures = Pictures::kDraw, .threads = threads});
    EXPECT_EQ(to_json(more), to_json(one));
    EXPECT_EQ(to_csv(more), to_csv(one));
    ASSERT_EQ(more.pictures.size(), one.pictures.size());
    for (std::size_t i = 0; i < one.pictures.size(); ++i) {
      EXPECT_EQ(more.pictures[i].file, one.pictures[i].file);
      EXPECT_EQ(more.pictures[i].png, one.pictures[i].png);
    }
  }
}

TEST(Measure, PicturesAreNamedInTheResult) {
  const Result result =
      measured(invented::series({"early.dcm", "late.dcm"}), {.pictures = Pictures::kDraw});
  ASSERT_EQ(result.pictures.size(), 6U);
  EXPECT_EQ(result.seat->picture, "seat-00.png");
  EXPECT_EQ(result.films[0].picture, "overlay-00.png");
  EXPECT_EQ(result.films[1].picture, "overlay-01.png");
  EXPECT_EQ(result.comparisons[0].picture, "pair-01.png");
  EXPECT_EQ(result.films[0].zones_picture, "zones-00.png");
  EXPECT_EQ(result.films[1].zones_picture, "zones-01.png");
  for (const Picture& picture : result.pictures) {
    ASSERT_GT(picture.png.size(), 1000U);
    EXPECT_EQ(picture.png[1], 'P');
  }
}

TEST(Measure, AllPairsOfAHipAreSettledTogether) {
  Steps steps = invented::steps();
  std::size_t calls = 0;
  steps.compare_together = [&calls](const HipFilm&, const std::vector<const HipFilm*>& follow_ups,
                                    std::vector<migration::Migration> alone) {
    ++calls;
    EXPECT_EQ(follow_ups.size(), alone.size());
    for (std::size_t i = 0; i < alone.size(); ++i) {
      alone[i].subsidence.value = {10.0 + static_cast<double>(i)};
      alone[i].flags = {{"together", "Derived together."}};
    }
    return alone;
  };
  const auto two = measure_with(invented::series({"early.dcm", "late.dcm"}), {}, steps);
  EXPECT_EQ(calls, 0U);  // one pair has nobody to learn from
  const auto three = measure_with(invented::series({"a.dcm", "b.dcm", "c.dcm"}), {}, steps);
  EXPECT_EQ(calls, 1U);
  ASSERT_EQ(three.comparisons.size(), 2U);
  EXPECT_EQ(three.comparisons[1].migration->subsidence.value.value, 11.0);
  EXPECT_EQ(three.comparisons[1].flags.front().id, "together");
}

// A pair of another patient's film, or of two films that hardly show one bone, would carry its
// depths into every other pair.
TEST(Measure, APairThatIsDistrustedTellsTheOthersNothing) {
  Steps steps = with_header([](film::FilmFacts& facts) {
    facts.patient_key = facts.file == "c.dcm" ? "SECRET-B" : "SECRET-A";
  });
  steps.compare = [](const FilmOfPair&,
                     const FilmOfPair& follow_up) -> Expected<migration::Migration> {
    migration::Migration out = invented::migration();
    out.depths = migration::Depths{};
    if (follow_up.hip.hip_view.facts.file == "d.dcm") {
      out.flags = {{"bone_differs", "The bones differ."}};
    }
    return out;
  };
  std::vector<bool> tells;
  steps.compare_together = [&tells](const HipFilm&, const std::vector<const HipFilm*>&,
                                    std::vector<migration::Migration> alone) {
    for (const auto& pair : alone) tells.push_back(pair.depths.has_value());
    return alone;
  };
  (void)measure_with(invented::series({"a.dcm", "b.dcm", "c.dcm", "d.dcm"}), {}, steps);
  EXPECT_EQ(tells, (std::vector<bool>{true, false, false}));
}

/// Steps whose bone stands 2 mm more distal and 1 mm more medial on every follow-up film.
Steps with_shifted_bone() {
  Steps steps = invented::steps();
  steps.compare = [](const FilmOfPair&, const FilmOfPair&) -> Expected<migration::Migration> {
    migration::Migration out = invented::migration();
    out.follow_up_from_reference_bone_mm.translation = Vec2(1.0, 2.0);
    return out;
  };
  return steps;
}

TEST(Measure, AlignedFilmsShareTheFrameOfTheBone) {
  for (const Side side : {Side::kRight, Side::kLeft}) {
    Series series = invented::series({"early.dcm", "late.dcm"});
    series.side = side;
    const Result result = measure_with(series, {.aligned = Aligned::kKeep}, with_shifted_bone());
    ASSERT_TRUE(result.aligned);
    ASSERT_EQ(result.aligned->films.size(), 2U);
    const AlignedFilm& first = result.aligned->films[0];
    const AlignedFilm& second = result.aligned->films[1];
    EXPECT_EQ(first.film, 0U);
    EXPECT_EQ(second.film, 1U);
    EXPECT_EQ(first.grey.width, second.grey.width);
    EXPECT_EQ(first.grey.height, second.grey.height);
    EXPECT_EQ(first.outline_px.size(), invented::implant().outline_px.size());
    // The invented stem stands at the same pixels of both films, so against the bone it has moved
    // proximally and laterally by what the bone moved: the patient's right is on the left
    // (derived).
    const Vec2 moved = (*second.tip_px - *first.tip_px) / result.aligned->px_per_mm;
    EXPECT_NEAR(moved.x(), side == Side::kRight ? -1.0 : 1.0, 1e-9);
    EXPECT_NEAR(moved.y(), -2.0, 1e-9);
    for (const AlignedFilm& film : result.aligned->films) {
      const Vec2 tip = result.films[film.film].stem->tip->stored_px;
      EXPECT_NEAR((film.stored_from_px.apply(*film.tip_px) - tip).norm(), 0.0, 1e-9);
    }
  }
}

TEST(Measure, AlignedFilmsShowTheFilm) {
  const Result result =
      measured(invented::series({"early.dcm", "late.dcm"}), {.aligned = Aligned::kKeep});
  const AlignedFilm& film = result.aligned->films[1];
  // The film is a ramp, brighter to the right and downwards, and fills the frame's middle.
  const int x = film.grey.width / 2;
  const int y = film.grey.height / 2;
  EXPECT_GT(film.grey.at(x, y), film.grey.at(x - 20, y));
  EXPECT_GT(film.grey.at(x, y + 20), film.grey.at(x, y));
  EXPECT_GT(film.grey.at(x, y - 20), 0);
}

TEST(Measure, NothingIsAlignedWhenNotAskedFor) {
  EXPECT_FALSE(measured(invented::series({"early.dcm", "late.dcm"})).aligned);
}

/// The report draws the seat audit on it before there is a follow-up film.
TEST(Measure, AReferenceFilmAloneIsShownByItself) {
  const Result result = measured(invented::series({"a.dcm"}), {.aligned = Aligned::kKeep});
  ASSERT_TRUE(result.aligned);
  ASSERT_EQ(result.aligned->films.size(), 1U);
  EXPECT_EQ(result.aligned->films[0].film, 0U);
}

TEST(Measure, ProgressEndsAtAllWhenNothingIsRefused) {
  std::size_t last = 0;
  std::size_t all = 0;
  const Options options{.pictures = Pictures::kDraw,
                        .threads = 2,
                        .progress = [&](std::size_t done, std::size_t total) {
                          EXPECT_EQ(done, last + 1);
                          last = done;
                          all = total;
                        }};
  (void)measured(invented::series({"early.dcm", "late.dcm", "a.dcm"}), options);
  EXPECT_EQ(last, all);
}

TEST(Measure, OptionsDigestChangesWithTheOptionsThatShapeNumbers) {
  std::set<std::string> digests;
  Series series = invented::series({"a.dcm"});
  digests.insert(measured(series).options_sha256);
  digests.insert(measured(series, {.threads = 3}).options_sha256);
  EXPECT_EQ(digests.size(), 1U);
  series.stem.head_diameter = Millimetres{28.0};
  digests.insert(measured(series).options_sha256);
  series.side = Side::kLeft;
  digests.insert(measured(series).options_sha256);
  EXPECT_EQ(digests.size(), 3U);
}

// Until lines are found alike on films of any origin, no answer on them goes without a warning.
TEST(Measure, WarnsWheneverItTellsOfLines) {
  const Options options;
  const auto told = measure_with(invented::series({"a.dcm"}), options, invented::steps());
  EXPECT_TRUE(has_flag(told.flags, "lines_not_validated"));
  const auto open = measure_with(invented::series({"odd.dcm"}), options, invented::steps());
  EXPECT_FALSE(has_flag(open.flags, "lines_not_validated"));
}

}  // namespace
}  // namespace tidemark::followup
