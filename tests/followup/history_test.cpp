#include "tidemark/followup/history.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "followup/invented.h"
#include "scratch.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

namespace fs = std::filesystem;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

/// How often each step is asked.
struct Counts {
  std::atomic<int> implants{0};
  std::atomic<int> femurs{0};
  std::atomic<int> lines{0};
  std::atomic<int> prepared{0};
  std::atomic<int> pairs{0};
  std::atomic<int> line_pairs{0};
};

/// Steps whose migration depends on the follow-up film, and that count.
Steps counting(Counts& counts) {
  Steps out = invented::steps();
  const auto wrap = [](auto step, std::atomic<int>& count) {
    return [step, &count](const auto&... asked) {
      ++count;
      return step(asked...);
    };
  };
  out.find_implant = wrap(out.find_implant, counts.implants);
  out.find_femur = wrap(out.find_femur, counts.femurs);
  out.look_for_lines = wrap(out.look_for_lines, counts.lines);
  out.compare_lines = wrap(out.compare_lines, counts.line_pairs);
  out.prepare = wrap(out.prepare, counts.prepared);
  out.compare = [&counts](const FilmOfPair& reference,
                          const FilmOfPair& follow_up) -> Expected<migration::Migration> {
    ++counts.pairs;
    EXPECT_TRUE(reference.ready && follow_up.ready);  // both are prepared, however late
    auto migration = invented::migration();
    if (follow_up.hip.hip_view.facts.file == "later.dcm")
      migration.subsidence.value = Millimetres{3.4};
    return migration;
  };
  return out;
}

Series films(const std::vector<std::string>& names) {
  Series series = invented::series(names);
  series.hip = "H-1";
  series.stem.fixation = Fixation::kUncemented;
  const std::map<std::string, std::string> dates{
      {"early.dcm", "2024-01-02"}, {"late.dcm", "2024-03-01"}, {"later.dcm", "2026-01-05"}};
  for (auto& film : series.films) film.date = parse_date(dates.at(film.file));
  series.surgery_date = parse_date("2024-01-01");
  return series;
}

Options remembering(const std::shared_ptr<const StepMemory>& before) {
  return {.pictures = Pictures::kDraw, .remember = Remember::kKeep, .before = before};
}

std::shared_ptr<const StepMemory> memory_of(const Result& result) {
  return std::make_shared<StepMemory>(result.reuse->said);
}

/// As the program does it.
Result run(const Series& series, const fs::path& out, const Steps& steps,
           const std::string& program = "0.1.0 a", Pictures pictures = Pictures::kNone) {
  const Earlier earlier = read_earlier(out, program);
  EXPECT_TRUE(prepare_output(out, "/nowhere"));
  Options options = remembering(earlier.memory);
  options.pictures = pictures;
  Result result = measure_with(series, options, steps);
  result.history = history_of(result, earlier);
  EXPECT_TRUE(write_history(result, earlier, program, out));
  EXPECT_TRUE(write_output(result, out));
  return result;
}

std::string text_of(const fs::path& file) {
  std::ostringstream out;
  out << std::ifstream(file, std::ios::binary).rdbuf();
  return out.str();
}

std::vector<std::string> codes_of(const History& history) {
  std::vector<std::string> out;
  for (const Change& change : history.changes) out.push_back(code_of(change.kind));
  return out;
}

TEST(Reuse, OnlyWhatIsNewIsMeasured) {
  Counts first;
  const Result before =
      measure_with(films({"early.dcm", "late.dcm"}), remembering({}), counting(first));
  EXPECT_EQ(first.implants, 4);  // as the other side too: invented finds are not above doubt
  EXPECT_EQ(first.prepared, 2);
  EXPECT_EQ(first.pairs, 1);
  EXPECT_THAT(before.reuse->films, IsEmpty());
  Counts second;
  const Series three = films({"early.dcm", "late.dcm", "later.dcm"});
  const Result after = measure_with(three, remembering(memory_of(before)), counting(second));
  EXPECT_EQ(second.implants, 2);
  EXPECT_EQ(second.femurs, 1);
  EXPECT_EQ(second.lines, 1);
  EXPECT_EQ(second.pairs, 1);
  EXPECT_EQ(second.line_pairs, 1);
  EXPECT_EQ(second.prepared, 2);  // the new film, and the reference film it is compared with
  EXPECT_THAT(after.reuse->films, ElementsAre(0, 1));
  EXPECT_THAT(after.reuse->comparisons, ElementsAre(0));
  Counts third;
  const Result again = measure_with(three, remembering(memory_of(after)), counting(third));
  EXPECT_EQ(
      third.implants + third.femurs + third.lines + third.prepared + third.pairs + third.line_pairs,
      0);
  EXPECT_EQ(to_json(again), to_json(after));
}

TEST(Reuse, GivesTheSameBytesAsMeasuringAnew) {
  Counts counts;
  const Steps steps = counting(counts);
  const Result before = measure_with(films({"early.dcm", "late.dcm"}), remembering({}), steps);
  const Series three = films({"early.dcm", "late.dcm", "later.dcm"});
  const Result reused = measure_with(three, remembering(memory_of(before)), steps);
  const Result anew = measure_with(three, {.pictures = Pictures::kDraw}, steps);
  EXPECT_EQ(to_json(reused), to_json(anew));
  EXPECT_EQ(to_csv(reused), to_csv(anew));
  EXPECT_EQ(to_zones_csv(reused), to_zones_csv(anew));
  ASSERT_EQ(reused.pictures.size(), anew.pictures.size());
  for (std::size_t i = 0; i < anew.pictures.size(); ++i) {
    EXPECT_EQ(reused.pictures[i].png, anew.pictures[i].png) << anew.pictures[i].file;
  }
}

TEST(Reuse, WhateverIsAskedOtherwiseIsMeasuredAnew) {
  const Series series = films({"early.dcm", "late.dcm"});
  Counts first;
  const auto before = memory_of(measure_with(series, remembering({}), counting(first)));
  Series other = series;
  other.stem.head_diameter = Millimetres{32.1};
  Series head = series;  // any but the invented one's
  head.films[1].landmarks_in_stored_px.head_centre_px = Vec2(200.0, 101.0);
  Series side = series;
  side.side = Side::kLeft;
  for (const auto& [changed, implants, pairs] :
       {std::tuple(series, 0, 0), std::tuple(other, 4, 1), std::tuple(head, 2, 0),
        std::tuple(side, 0, 1)}) {  // the other side was looked at, but not compared
    Counts counts;
    (void)measure_with(changed, remembering(before), counting(counts));
    EXPECT_EQ(counts.implants, implants);
    EXPECT_EQ(counts.pairs, pairs);
  }
}

TEST(Reuse, ACorrectedPointOfBoneOrStemNeedsNoSearchForTheImplant) {
  const Series series = films({"early.dcm", "late.dcm"});
  Counts first;
  const auto before = memory_of(measure_with(series, remembering({}), counting(first)));
  Series trochanter = series;
  trochanter.films[1].landmarks_in_stored_px.lesser_trochanter_px = Vec2(240.0, 301.0);
  Series tip = series;
  tip.films[1].landmarks_in_stored_px.stem_tip_px = Vec2(150.0, 401.0);
  for (const Series& corrected : {trochanter, tip}) {
    Counts counts;
    const Result result = measure_with(corrected, remembering(before), counting(counts));
    EXPECT_EQ(counts.implants, 0);
    EXPECT_EQ(counts.femurs, 1);
    const auto& asked = corrected.films[1].landmarks_in_stored_px.stem_tip_px;
    if (!asked) continue;
    EXPECT_EQ(result.films[1].stem->tip->stored_px, *asked);
    EXPECT_EQ(result.films[1].stem->tip->source, Source::kGiven);
    EXPECT_EQ(counts.pairs, 1);
  }
}

TEST(Reuse, AnAnswerThatCannotBeReadBackIsWorkedOut) {
  const Series series = films({"early.dcm", "late.dcm"});
  Counts first;
  const Steps steps = counting(first);
  StepMemory broken = measure_with(series, remembering({}), steps).reuse->said;
  for (auto& [key, answer] : broken.said) answer.resize(answer.size() / 2);
  const auto before = std::make_shared<StepMemory>(broken);
  const Result result = measure_with(series, remembering(before), steps);
  EXPECT_EQ(to_json(result), to_json(measure_with(series, {.pictures = Pictures::kDraw}, steps)));
  EXPECT_THAT(result.reuse->films, IsEmpty());
}

TEST(History, SaysWhatANewFilmChanged) {
  const test::Scratch out;
  Counts counts;
  const Steps steps = counting(counts);
  EXPECT_FALSE(run(films({"early.dcm", "late.dcm"}), out.path(), steps).history);
  const Result now = run(films({"early.dcm", "late.dcm", "later.dcm"}), out.path(), steps);
  ASSERT_TRUE(now.history && now.history->earlier);
  EXPECT_EQ(now.history->earlier->films, 2U);
  EXPECT_EQ(now.history->earlier->latest, parse_date("2024-03-01"));
  const auto codes = codes_of(*now.history);
  ASSERT_THAT(codes, testing::Contains("new_film"));
  EXPECT_EQ(now.history->changes[0].film, "later.dcm");
  const auto latest = std::find_if(
      now.history->changes.begin(), now.history->changes.end(), [](const Change& change) {
        return change.kind == ChangeKind::kLatestValue && change.what == "subsidence_mm";
      });
  ASSERT_NE(latest, now.history->changes.end());
  EXPECT_NEAR(*latest->difference, 3.4 - 2.1, 1e-9);
  // u95 / 1.96 stands for u, and half of each variance is the common reference film's
  // (docs/assessment.md): the variance of the difference is 2 (u^2 - u^2 / 2).
  EXPECT_NEAR(*latest->difference_u, 0.4 / 1.959964, 1e-6);
  EXPECT_THAT(to_table(now), HasSubstr("Since the last report (2 films, up to 2024-03-01):\n"
                                       "  New film: later.dcm of 2026-01-05."));
  EXPECT_THAT(to_table(now), HasSubstr("2 of 3 films, 1 of 2 comparisons"));
}

TEST(History, AReportThatIsMadeAgainSaysTheSame) {
  const test::Scratch out;
  Counts counts;
  const Steps steps = counting(counts);
  const Series three = films({"early.dcm", "late.dcm", "later.dcm"});
  (void)run(films({"early.dcm", "late.dcm"}), out.path(), steps);
  const Result once = run(three, out.path(), steps);
  const Result again = run(three, out.path(), steps);
  const std::string text = text_of(out / "result.json");
  (void)run(three, out.path(), steps);
  EXPECT_EQ(text_of(out / "result.json"), text);
  ASSERT_TRUE(again.history->earlier);
  EXPECT_EQ(again.history->earlier->sha256, once.history->earlier->sha256);
  EXPECT_EQ(codes_of(*again.history), codes_of(*once.history));
}

TEST(History, PicturesMakeNoOtherReport) {
  const test::Scratch out;
  Counts counts;
  const Steps steps = counting(counts);
  const Series three = films({"early.dcm", "late.dcm", "later.dcm"});
  const auto draw = Pictures::kDraw;
  (void)run(films({"early.dcm", "late.dcm"}), out.path(), steps, "0.1.0 a", draw);
  const Result drawn = run(three, out.path(), steps, "0.1.0 a", draw);
  ASSERT_TRUE(drawn.seat && drawn.seat->picture);
  const std::string earlier = text_of(out / "earlier-result.json");
  const Result plain = run(three, out.path(), steps, "0.1.0 a", Pictures::kNone);
  EXPECT_EQ(codes_of(*plain.history), codes_of(*drawn.history));
  EXPECT_THAT(codes_of(*plain.history), testing::Contains("new_film"));
  EXPECT_TRUE(text_of(out / "earlier-result.json") == earlier);
}

/// Codes of what changed when a series is measured again after something happened to a film.
std::vector<std::string> codes_after(const Series& before, const Series& after,
                                     const std::string& unreadable = {}) {
  const test::Scratch out;
  Counts counts;
  Steps steps = counting(counts);
  (void)run(before, out.path(), steps);
  steps.read = [=](const fs::path& file) -> Expected<film::FilmImage> {
    if (file.filename() != unreadable) return invented::image(file.filename().string());
    return fail(ErrorKind::kBadInput, unreadable, "no pixel data", "export it again");
  };
  return codes_of(*run(after, out.path(), steps).history);
}

// Its bytes are not known then, and it is the same film all the same.
TEST(History, AFilmThatIsExcludedOrCannotBeReadIsNoNewFilm) {
  const auto no_new_film =
      testing::Not(testing::Contains(testing::AnyOf("new_film", "film_gone", "reference_film")));
  Series series = films({"early.dcm", "late.dcm", "later.dcm"});
  series.films[0].role = Role::kReference;
  for (const std::size_t film : {0U, 1U}) {
    Series excluded = series;
    excluded.films[film].excluded = true;
    const auto codes = codes_after(series, excluded);
    EXPECT_THAT(codes, testing::Contains("no_longer_measured")) << film;
    EXPECT_THAT(codes, no_new_film) << film;
    const auto back = codes_after(excluded, series);
    EXPECT_THAT(back, testing::Contains("now_measured")) << film;
    EXPECT_THAT(back, no_new_film) << film;
    const auto broken = codes_after(series, series, series.films[film].file);
    EXPECT_THAT(broken, testing::Contains("no_longer_measured")) << film;
    EXPECT_THAT(broken, no_new_film) << film;
  }
  // Another film stands in where nobody states the reference.
  series.films[0].role.reset();
  Series without = series;
  without.films[0].excluded = true;
  const auto codes = codes_after(series, without);
  EXPECT_THAT(codes, testing::Contains("reference_film"));
  EXPECT_THAT(codes, testing::Not(testing::Contains(testing::AnyOf("new_film", "film_gone"))));
}

TEST(History, ValuesAndVerdictsThatChangedAreTold) {
  const test::Scratch out;
  Counts counts;
  Steps steps = counting(counts);
  const Series series = films({"early.dcm", "later.dcm"});
  (void)run(series, out.path(), steps);
  steps.compare = [](const FilmOfPair&, const FilmOfPair&) -> Expected<migration::Migration> {
    auto migration = invented::migration();
    migration.subsidence.value = Millimetres{0.1};
    return migration;
  };
  // Another build of the program: nothing is taken over, and the number is another one.
  const Result now = run(series, out.path(), steps, "0.1.0 b");
  ASSERT_TRUE(now.history && now.history->earlier);
  EXPECT_THAT(now.history->note, HasSubstr("another version or build"));
  EXPECT_THAT(now.history->reused_films, IsEmpty());
  const auto codes = codes_of(*now.history);
  EXPECT_THAT(codes, testing::Contains("value"));
  EXPECT_THAT(codes, testing::Contains("verdict"));
  EXPECT_THAT(codes, testing::Contains("headline"));
  for (const Change& change : now.history->changes) {
    if (change.kind != ChangeKind::kValue) continue;
    EXPECT_NEAR(*change.difference, 0.1 - 3.4, 1e-9);
    EXPECT_THAT(sentence_of(change), HasSubstr("16.5 times its standard uncertainty"));
  }
}

TEST(History, OtherCriteriaAreTold) {
  const test::Scratch out;
  Counts counts;
  const Steps steps = counting(counts);
  Series series = films({"early.dcm", "late.dcm"});
  (void)run(series, out.path(), steps);
  series.stem.fixation = Fixation::kCemented;
  const Result now = run(series, out.path(), steps);
  EXPECT_THAT(codes_of(*now.history), testing::Contains("criteria"));
}

/// Whether something of a kind is told to have gone from one code to another; any, where it is
/// empty.
bool tells(const Result& now, ChangeKind kind, const std::string& before,
           const std::string& after) {
  const auto& changes = now.history->changes;
  return std::any_of(changes.begin(), changes.end(), [&](const Change& change) {
    return change.kind == kind && change.after == after &&
           (before.empty() ? !change.before.empty() : change.before == before);
  });
}

// Once "Nothing changed." was said of verdicts that came or went.
TEST(History, VerdictsThatComeOrGoAreToldAndSoIsTheSheet) {
  const test::Scratch out;
  Counts counts;
  const Steps steps = counting(counts);
  Series series = films({"early.dcm", "late.dcm"});
  series.sheet_sha256 = std::string(64, 'a');
  (void)run(series, out.path(), steps);
  series.sheet_sha256 = std::string(64, 'b');
  series.surgery_date = parse_date("2023-01-05");  // the windows of the first weeks no longer hold
  const Result now = run(series, out.path(), steps);
  EXPECT_THAT(codes_of(*now.history), testing::Contains("sheet"));
  EXPECT_TRUE(tells(now, ChangeKind::kVerdict, "", "not_applicable"));
  EXPECT_THAT(to_table(now), HasSubstr("What series.json says is not what it said then."));
  EXPECT_THAT(to_table(now), HasSubstr("to \"not applicable\""));
}

TEST(History, ALineThatOnlyOneReportHasIsTold) {
  const test::Scratch out;
  Counts counts;
  const Steps steps = counting(counts);
  Series series = films({"early.dcm", "late.dcm"});
  (void)run(series, out.path(), steps);
  Steps blind = steps;
  blind.look_for_lines = nullptr;
  const Result now = run(series, out.path(), blind, "0.1.0 b");
  EXPECT_TRUE(tells(now, ChangeKind::kLine, "present", "not_seen"));
}

/// What is told of the latest subsidence, or nothing.
const Change* latest_subsidence(const Result& result) {
  const auto& changes = result.history->changes;
  const auto found = std::find_if(changes.begin(), changes.end(), [](const Change& change) {
    return change.kind == ChangeKind::kLatestValue && change.what == "subsidence_mm";
  });
  return found == changes.end() ? nullptr : &*found;
}

// A new number less a stale one is no motion.
TEST(History, TheLatestFilmIsHeldAgainstTheEarlierOneAsMeasuredNow) {
  const test::Scratch out;
  Steps steps = invented::steps();
  steps.compare = [](const FilmOfPair& reference,
                     const FilmOfPair& follow_up) -> Expected<migration::Migration> {
    auto migration = invented::migration();
    const bool later = follow_up.hip.hip_view.facts.file == "later.dcm";
    migration.subsidence.value = Millimetres{(later ? 5.0 : 4.0) * reference.hip.scale.value.value};
    return migration;
  };
  Series series = films({"early.dcm", "late.dcm"});
  (void)run(series, out.path(), steps);
  series = films({"early.dcm", "late.dcm", "later.dcm"});
  series.stem.head_diameter = Millimetres{28.0};
  const Result now = run(series, out.path(), steps);
  const Change* latest = latest_subsidence(now);
  ASSERT_NE(latest, nullptr);
  // The stem lies a little nearer to the detector than the head: the scales are not quite those.
  constexpr double kNear = 0.03;
  EXPECT_NEAR(*latest->difference, 28.0 / invented::kHeadDiameterPx, kNear);
  EXPECT_NEAR(latest->value_before->value, 4.0 * 28.0 / invented::kHeadDiameterPx, kNear);
  ASSERT_TRUE(latest->value_told);
  EXPECT_NEAR(latest->value_told->value, 4.0 * 32.0 / invented::kHeadDiameterPx, kNear);
  EXPECT_THAT(sentence_of(*latest), HasSubstr("The last report told"));
}

TEST(History, TheLatestValueNeverRunsBackwardsInTime) {
  const Series series = films({"early.dcm", "late.dcm", "later.dcm"});
  Series excluded = series;
  excluded.films[2].excluded = true;
  EXPECT_THAT(codes_after(series, excluded), testing::Not(testing::Contains("latest_value")));
  EXPECT_THAT(codes_after(series, series, "later.dcm"),
              testing::AllOf(testing::Contains("no_longer_measured"),
                             testing::Not(testing::Contains("latest_value"))));
  // Taken in again, it is the later one.
  EXPECT_THAT(codes_after(excluded, series), testing::Contains("latest_value"));
}

TEST(History, NothingThatWasTamperedWithIsBelieved) {
  Counts counts;
  const Steps steps = counting(counts);
  const Series two = films({"early.dcm", "late.dcm"});
  const Series three = films({"early.dcm", "late.dcm", "later.dcm"});
  const auto spoil = [](const fs::path& file, const std::string& from, const std::string& to) {
    std::string text = text_of(file);
    const auto at = text.find(from);
    ASSERT_NE(at, std::string::npos);
    text.replace(at, from.size(), to);
    std::ofstream(file, std::ios::binary) << text;
  };
  {
    const test::Scratch out;
    (void)run(two, out.path(), steps);
    spoil(out / "result.json", "2.1", "1.1");
    const Result now = run(three, out.path(), steps);
    EXPECT_FALSE(now.history->earlier);
    EXPECT_THAT(now.history->note, HasSubstr("result.json is not as it was written"));
    EXPECT_THAT(now.history->reused_films, ElementsAre(0, 1));  // these are checked by themselves
  }
  {
    const test::Scratch out;
    (void)run(two, out.path(), steps);
    spoil(out / "steps.bin", "pair_flag", "pair_flog");
    const Result now = run(three, out.path(), steps);
    EXPECT_FALSE(now.history->earlier);
    EXPECT_THAT(now.history->note, HasSubstr("steps.bin is not as it was written"));
    EXPECT_THAT(now.history->reused_films, IsEmpty());
  }
  {
    const test::Scratch out;
    (void)run(two, out.path(), steps);
    fs::remove(out / "steps.bin");
    EXPECT_THAT(run(three, out.path(), steps).history->note, HasSubstr("steps.bin is missing"));
  }
}

TEST(History, ARunThatDiedLosesNothing) {
  const test::Scratch out;
  Counts counts;
  const Steps steps = counting(counts);
  (void)run(films({"early.dcm", "late.dcm"}), out.path(), steps);
  ASSERT_TRUE(prepare_output(out.path(), "/nowhere"));  // and no more
  EXPECT_FALSE(fs::exists(out / "result.json"));
  const Result now = run(films({"early.dcm", "late.dcm", "later.dcm"}), out.path(), steps);
  ASSERT_TRUE(now.history && now.history->earlier);
  EXPECT_EQ(now.history->earlier->films, 2U);
  EXPECT_FALSE(fs::exists(out / "last-result.json"));
}

}  // namespace
}  // namespace tidemark::followup
