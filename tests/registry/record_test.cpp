#include "record.h"

#include <gtest/gtest.h>

#include "scratch.h"
#include "tidemark/registry/cohort.h"
#include "tidemark/registry/database.h"
#include "tidemark/registry/lucency_map.h"
#include "tidemark/registry/migration_course.h"

namespace tidemark::registry {
namespace {

using nlohmann::json;
using test::Scratch;

constexpr int kLastDay = 360;

json film(const std::string& view, const std::string& date, int days, const char* status) {
  json out{{"role", "follow-up"},       {"view", view},     {"date", date},
           {"days_from_surgery", days}, {"status", status}, {"zones", json::array()}};
  if (out["status"] != "measured") return out;
  const int first = view == "LAT" ? 8 : 1;
  for (int zone = first; zone < first + 7; ++zone) {
    out["zones"].push_back({{"zone", zone},
                            {"interface", "stem_bone"},
                            {"state", days == kLastDay ? "present" : "absent"}});
  }
  return out;
}

json reference(const char* date, int days) {
  json out = film("AP", date, days, "measured");
  out["role"] = "reference";
  return out;
}

json compared(std::size_t follow_up, int days, const char* status) {
  json out{{"reference", 0}, {"follow_up", follow_up}, {"days", days}, {"status", status}};
  if (out["status"] == "measured") {
    out["subsidence_mm"] = {{"value", 1.0}, {"u", 0.2}, {"u95", 0.4}};
  }
  return out;
}

/// The database's cohort of one hip with this result.
Cohort cohort_of(const json& films, const json& comparisons, bool surgery_known = true,
                 const std::vector<std::optional<int>>& examinations = {}) {
  const Scratch scratch;
  auto database = Database::open_or_make(scratch.path() / "a.sqlite");
  Record record;
  record.job.facts.hip = "H";
  if (surgery_known) record.job.facts.surgery_date = parse_date("2024-01-01");
  for (const auto& examination : examinations) {
    record.job.films.emplace_back();
    record.job.films.back().examination = examination;
  }
  record.status = HipStatus::kMeasured;
  record.answer.result = {{"films", films}, {"comparisons", comparisons}};
  {
    Stmt(database->db(),
         "INSERT INTO runs (run, command, started, tool_version, options_sha256, options, jobs) "
         "VALUES (1, 'batch', '', '', '', '', 1)")
        .run();
    Transaction all(database->db());
    write_record(database->db(), record, 1);
    all.commit();
  }
  auto cohort = read_cohort(*database, {});
  EXPECT_TRUE(cohort) << cohort.error().sentence();
  return *cohort;
}

/// Visits and quantities of which some hip has a number.
std::vector<CourseAtVisit> told_of(const Cohort& cohort) {
  std::vector<CourseAtVisit> out = course_of(cohort);
  std::erase_if(out, [](const CourseAtVisit& row) { return !row.location; });
  return out;
}

const ZoneIncidence* row_of(const std::vector<ZoneIncidence>& map, int zone,
                            std::optional<std::size_t> visit) {
  for (const ZoneIncidence& row : map) {
    if (row.zone == zone && row.visit == visit) return &row;
  }
  return nullptr;
}

/// Both views of two days, in either order of the films of a day.
Cohort both_views(bool lateral_first, bool surgery_known = true) {
  const json lateral = film("LAT", "2024-12-26", kLastDay, "measured");
  const json frontal = film("AP", "2024-12-26", kLastDay, "measured");
  const json films{reference("2024-01-02", 1), film("LAT", "2024-01-02", 1, "measured"),
                   lateral_first ? lateral : frontal, lateral_first ? frontal : lateral};
  json pair = compared(lateral_first ? 3 : 2, kLastDay - 1, "measured");
  for (int zone = 1; zone <= 7; ++zone) {
    pair["zones"].push_back({{"zone", zone}, {"interface", "stem_bone"}, {"progressive", "yes"}});
  }
  return cohort_of(films, json::array({pair}), surgery_known);
}

TEST(Examinations, OfFrontalAndLateralFilmsAreCountedApart) {
  for (const bool lateral_first : {true, false}) {
    const Cohort cohort = both_views(lateral_first);
    EXPECT_EQ(cohort.hips.at(0).comparisons.at(0).examination, 1) << lateral_first;
    const auto course = told_of(cohort);
    ASSERT_EQ(course.size(), 1U) << lateral_first;
    ASSERT_TRUE(course[0].location);
    EXPECT_EQ(course[0].location->n, 1U);
    for (const CohortZone& zone : cohort.hips[0].zones) EXPECT_EQ(zone.examination, 1);
  }
}

// As lateral_comparisons of result.json: a first lateral film whose lines could not be read is none
// that later ones are held against.
TEST(Zones, OfLateralFilmsAreHeldAgainstTheFirstWhoseLinesWereRead) {
  for (const double seen : {0.0, 0.8}) {
    json first = film("LAT", "2024-01-02", 1, "measured");
    json later = film("LAT", "2024-06-01", 152, "measured");
    for (json& zone : first["zones"]) {
      zone["seen_fraction"] = seen;
      if (seen == 0.0) zone["state"] = "cannot_tell";
    }
    for (json& zone : later["zones"]) zone["seen_fraction"] = 0.8;
    const Cohort cohort = cohort_of(json{reference("2024-01-02", 1), first, later}, json::array());
    for (const CohortZone& zone : cohort.hips.at(0).zones) {
      if (!is_lateral(zone)) continue;
      EXPECT_EQ(zone.reference, zone.film == (seen == 0.0 ? 2 : 1)) << zone.film;
    }
  }
}

// A film that says nothing must not push one of its day that does out of the statistics.
TEST(Examinations, BeginWithAFilmThatWasMeasured) {
  json excluded = film("AP", "2024-12-26", kLastDay, "not_measured");
  excluded["reason"] = "excluded in the sheet";
  const json films{reference("2024-01-02", 1), excluded,
                   film("AP", "2024-12-26", kLastDay, "not_measured"),
                   film("AP", "2024-12-26", kLastDay, "measured"),
                   film("AP", "2024-12-26", kLastDay, "measured")};
  const Cohort cohort = cohort_of(
      films, {compared(2, kLastDay - 1, "not_measured"), compared(3, kLastDay - 1, "not_measured"),
              compared(4, kLastDay - 1, "measured")});
  const auto& pairs = cohort.hips.at(0).comparisons;
  EXPECT_EQ(pairs.at(2).examination, 1);
  EXPECT_EQ(pairs.at(1).examination, 2);
  EXPECT_EQ(pairs.at(0).examination, 3);
  ASSERT_EQ(told_of(cohort).size(), 1U);
}

TEST(Examinations, OfTheReferenceFilmIsTheFirstOfItsDay) {
  const json films{film("AP", "2024-01-02", 1, "measured"), reference("2024-01-02", 1)};
  const Cohort cohort = cohort_of(films, json::array({compared(0, 0, "measured")}));
  EXPECT_EQ(cohort.hips.at(0).comparisons.at(0).examination, 2);
  EXPECT_TRUE(row_of(lucency_map(cohort), 1, {}) != nullptr);
}

// Statistics take examination 1: a visit must have one, and not two.
TEST(Examinations, ThatASheetStatesAreNotGivenAgain) {
  const json films{reference("2024-01-02", 1), film("AP", "2024-12-26", kLastDay, "measured"),
                   film("AP", "2024-12-26", kLastDay, "measured"),
                   film("AP", "2024-12-26", kLastDay, "measured")};
  const json pairs{compared(1, kLastDay - 1, "measured"), compared(2, kLastDay - 1, "measured"),
                   compared(3, kLastDay - 1, "measured")};
  using Numbers = std::vector<std::optional<int>>;
  const auto numbers = [&](const Numbers& of_sheet) {
    const Cohort cohort = cohort_of(films, pairs, true, of_sheet);
    std::vector<int> out;
    for (const auto& pair : cohort.hips.at(0).comparisons) out.push_back(pair.examination);
    return out;
  };
  EXPECT_EQ(numbers({{}, 2, {}, {}}), (std::vector{2, 1, 3}));
  EXPECT_EQ(numbers({{}, {}, 1, {}}), (std::vector{2, 1, 3}));
  EXPECT_EQ(numbers({{}, {}, {}, 1}), (std::vector{2, 3, 1}));
  EXPECT_EQ(numbers({{}, 3, {}, 1}), (std::vector{3, 2, 1}));
  EXPECT_EQ(numbers({{}, {}, {}, {}}), (std::vector{1, 2, 3}));
}

TEST(Judged, SaysThatNoFilmServesAsReference) {
  json result{{"films", {film("AP", "2024-01-02", 1, "measured")}},
              {"comparisons", json::array()},
              {"flags", json::array()}};
  EXPECT_EQ(judged(result).reason, "there is no follow-up film to compare with");
  result["flags"].push_back({{"id", "no_reference_film"}, {"text", "Some."}});
  EXPECT_EQ(judged(result).status, HipStatus::kRefused);
  EXPECT_EQ(judged(result).reason, "no film serves as the reference; state which one does");
  json unreadable = film("AP", "2024-01-01", 0, "not_measured");
  unreadable["reason"] = "cannot be read";
  result["films"].push_back(unreadable);
  EXPECT_EQ(judged(result).reason,
            "no film serves as the reference; state which one does (and 1 more)");
}

TEST(LucencyMap, TakesAFilmOfEachViewAndVisit) {
  for (const bool surgery_known : {true, false}) {
    const auto map = lucency_map(both_views(true, surgery_known));
    const auto year = visit_of(kLastDay);
    for (const int zone : {1, 7, 8, 14}) {
      const ZoneIncidence* start = row_of(map, zone, {});
      ASSERT_NE(start, nullptr) << zone;
      EXPECT_EQ(start->absent, 1U);
      const ZoneIncidence* later = row_of(map, zone, year);
      ASSERT_NE(later, nullptr) << zone << (surgery_known ? "" : ", days from the reference film");
      EXPECT_EQ(later->present, 1U);
      // What became of a line between two lateral films is not stored.
      EXPECT_EQ(later->newly, zone <= 7 ? 1U : 0U);
      EXPECT_EQ(later->not_compared, zone <= 7 ? 0U : 1U);
    }
  }
}

}  // namespace
}  // namespace tidemark::registry
