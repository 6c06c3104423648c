#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <atomic>
#include <filesystem>
#include <string>

#include "followup/invented.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

using testing::SizeIs;

/// What a film from the side adds to each subsidence, mm.
constexpr double kDeeper = 10.0;

/// Counts what is asked; the subsidence of a pair tells how far down the reference film's tip is.
struct Asked {
  std::atomic<int> lines{0};
  std::atomic<int> pairs{0};

  Steps steps() {
    Steps out = invented::steps();
    out.read = [step = out.read](const std::filesystem::path& file) {
      auto film = step(file);
      if (film && film->facts.file == "side.dcm") {
        film->facts.patient_orientation = std::array<std::string, 2>{"P", "F"};
      }
      return film;
    };
    out.find_implant = [step = out.find_implant](const film::FilmImage& film,
                                                 const anatomy::ImplantOptions& options) {
      auto implant = step(film, options);
      if (implant && options.given.stem_tip_px) implant->tip.px = *options.given.stem_tip_px;
      return implant;
    };
    out.look_for_lines = [this, step = out.look_for_lines](const auto&... asked) {
      ++lines;
      return step(asked...);
    };
    out.compare = [this](const FilmOfPair& reference,
                         const FilmOfPair&) -> Expected<migration::Migration> {
      ++pairs;
      auto migration = invented::migration();
      migration.subsidence.value = Millimetres{0.01 * reference.hip.implant.tip.px.y() +
                                               (reference.hip.side_view ? kDeeper : 0.0)};
      return migration;
    };
    return out;
  }
};

Series three_films() {
  Series series = invented::series({"early.dcm", "late.dcm", "later.dcm"});
  series.films[2].date = parse_date("2026-01-05");
  return series;
}

std::shared_ptr<const Result> measured_before(const Series& series) {
  Asked asked;
  return std::make_shared<const Result>(measure_with(series, {}, asked.steps()));
}

/// What is told early of a series whose pair with `follow_up` is awaited.
std::vector<Result> told_early(const Series& series, std::size_t follow_up,
                               const std::shared_ptr<const Result>& before) {
  Asked asked;
  std::vector<Result> told;
  Options options;
  options.early = Early{follow_up, before, [&](Result result) {
                          EXPECT_EQ(asked.pairs, 1);
                          EXPECT_EQ(asked.lines, 0) << "nobody waits for lines";
                          told.push_back(std::move(result));
                        }};
  const Result result = measure_with(series, options, asked.steps());
  EXPECT_EQ(to_json(result), to_json(measure_with(series, {}, Asked{}.steps())));
  const auto measured = std::count_if(result.comparisons.begin(), result.comparisons.end(),
                                      [](const auto& pair) { return pair.migration.has_value(); });
  EXPECT_EQ(asked.pairs, measured) << "no pair is compared twice";
  return told;
}

double subsidence(const Result& result, std::size_t pair) {
  return result.comparisons.at(pair).migration->subsidence.value.value;
}

TEST(Early, TellsTheAwaitedPairBeforeAllElse) {
  const Series series = three_films();
  const auto before = measured_before(series);
  Series corrected = series;
  corrected.films[0].landmarks_in_stored_px.stem_tip_px = Vec2(150.0, 410.0);
  const auto told = told_early(corrected, 1, before);
  ASSERT_THAT(told, SizeIs(1));
  EXPECT_DOUBLE_EQ(subsidence(told[0], 0), 4.1);
  EXPECT_DOUBLE_EQ(subsidence(told[0], 1), 4.0) << "the other pair is still from before";
  EXPECT_DOUBLE_EQ(told[0].films[0].stem->tip->stored_px.y(), 410.0);
  EXPECT_EQ(told[0].films[1].zones.size(), before->films[1].zones.size());
  EXPECT_EQ(told[0].comparisons[0].zones.size(), before->comparisons[0].zones.size());
  EXPECT_FALSE(told[0].comparisons[0].zones.empty());
  ASSERT_TRUE(told[0].assessment);
  EXPECT_EQ(told[0].seat.has_value(), before->seat.has_value());
}

TEST(Early, SaysNothingWhereWhatWasBeforeCannotStandForTheRest) {
  const Series series = three_films();
  const auto before = measured_before(series);
  Series other_reference = series;
  other_reference.films[1].role = Role::kReference;
  EXPECT_THAT(told_early(other_reference, 2, before), SizeIs(0));
  Series fewer = series;
  fewer.films[1].excluded = true;
  EXPECT_THAT(told_early(fewer, 2, before), SizeIs(0));
  EXPECT_THAT(told_early(series, 0, before), SizeIs(0)) << "the reference film has no pair";
  EXPECT_THAT(told_early(series, 7, before), SizeIs(0));
}

TEST(Early, SaysNothingOfAPairThatCannotBeCompared) {
  Series series = invented::series({"early.dcm", "late.dcm", "bare.dcm"});
  series.films[2].date = parse_date("2026-01-05");
  EXPECT_THAT(told_early(series, 2, measured_before(series)), SizeIs(0));
}

TEST(Early, TakesTheDepthsOfFilmsFromTheSideIntoAccount) {
  Series series = invented::series({"early.dcm", "late.dcm", "side.dcm"});
  series.films[2].view = View::kLateral;
  const auto before = measured_before(series);
  ASSERT_TRUE(before->films[2].side_view);
  series.films[0].landmarks_in_stored_px.stem_tip_px = Vec2(150.0, 410.0);
  const auto told = told_early(series, 1, before);
  ASSERT_THAT(told, SizeIs(1));
  EXPECT_DOUBLE_EQ(subsidence(told[0], 0), 4.1 + kDeeper);
  EXPECT_TRUE(told[0].films[2].side_view);
}

}  // namespace
}  // namespace tidemark::followup
