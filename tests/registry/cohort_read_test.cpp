#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <functional>

#include "scratch.h"
#include "sqlite.h"
#include "tidemark/registry/cohort_study.h"

namespace tidemark::registry {
namespace {

using test::Scratch;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

/// Runs statements on a connection of its own, as another process would.
void run(const std::filesystem::path& file, const std::string& sql) {
  const Db other(file, SQLITE_OPEN_READWRITE);
  other.exec("PRAGMA foreign_keys = ON");
  other.exec(sql.c_str());
}

/// A hip with its reference film on day 1 and one follow-up film a year later.
struct HipRow {
  std::string hip = "H-1";
  int id = 1;
  std::string status = "measured";
  std::string options = "o1";
  std::string version = "1";
  std::string reader;
  std::string length_unit = "mm";
  std::string group;  ///< "": none
  std::string reference_day = "1";
  std::string surgery = "'2024-01-01'";
  std::string patient = "NULL";
  std::string side = "NULL";
  std::string film = "NULL";  ///< SHA-256 of its reference film
};

HipRow named(const std::string& hip, int id) {
  HipRow row;
  row.hip = hip;
  row.id = id;
  return row;
}

HipRow measured_by(HipRow row, const std::string& version, const std::string& options) {
  row.version = version;
  row.options = options;
  return row;
}

std::string sql_of(const HipRow& row) {
  const std::string id = std::to_string(row.id);
  std::string sql =
      "INSERT INTO hips (hip_id, hip, reader, patient, side, surgery_date, status, input_sha256,"
      " options_sha256, tool_version, length_unit, criteria_set) VALUES (" +
      id + ", '" + row.hip + "', '" + row.reader + "', " + row.patient + ", " + row.side + ", " +
      row.surgery + ", '" + row.status + "', 'i', '" + row.options + "', '" + row.version + "', '" +
      row.length_unit + "', 'set/" + (row.reader.empty() ? "1" : "2") + "');";
  if (!row.group.empty()) {
    sql += "INSERT INTO hip_groups VALUES (" + id + ", 'stem', '" + row.group + "');";
  }
  if (row.status != "measured") return sql;
  const bool scaled = row.length_unit == "mm";
  const std::string length = scaled ? "0.5, 0.2, 0.4" : "NULL, NULL, NULL";
  sql +=
      "INSERT INTO films (hip_id, film, sha256, role, status, date, days_from_surgery, examination)"
      " VALUES (" +
      id + ", 0, " + row.film + ", 'reference', 'measured', '2024-01-02', " + row.reference_day +
      ", 1), (" + id + ", 1, NULL, 'follow-up', 'measured', '2025-01-01', 366, 1);";
  sql +=
      "INSERT INTO comparisons (hip_id, comparison, reference, follow_up, days,"
      " days_from_surgery, examination, status, subsidence_mm, subsidence_u_mm,"
      " subsidence_u95_mm, tilt_change_deg, tilt_change_u_deg, tilt_change_u95_deg) VALUES (" +
      id + ", 0, 0, 1, 365, 366, 1, 'measured', " + length + ", 0.1, 0.2, 0.4);";
  return sql;
}

/// A database of these hips.
std::filesystem::path made(const Scratch& scratch, const std::vector<HipRow>& rows) {
  const auto file = scratch / "registry.sqlite";
  { EXPECT_TRUE(Database::open_or_make(file)); }
  for (const HipRow& row : rows) run(file, sql_of(row));
  return file;
}

Cohort read(const std::filesystem::path& file, const CohortChoice& choice = {}) {
  const auto database = Database::open(file);
  EXPECT_TRUE(database);
  auto cohort = read_cohort(*database, choice);
  EXPECT_TRUE(cohort) << cohort.error().sentence();
  return cohort ? *cohort : Cohort{};
}

TEST(CohortRead, SaysWhenHipsWereMeasuredByUnlikeProgramsOrOptions) {
  const Scratch scratch;
  const auto one = made(scratch, {named("H-1", 1), named("H-2", 2)});
  EXPECT_THAT(study(read(one), {}, "t").cautions, Not(Contains(HasSubstr("were measured"))));
  run(one, sql_of(measured_by(named("H-3", 3), "2", "o2")));
  const Cohort mixed = read(one);
  EXPECT_THAT(mixed.option_sets, ElementsAre("o1", "o2"));
  EXPECT_THAT(mixed.tool_versions, ElementsAre("1", "2"));
  EXPECT_THAT(
      study(mixed, {}, "t").cautions,
      Contains(HasSubstr("measured by 2 versions of the program and with 2 sets of options")));
}

// Hips that are not taken do not count: another reader's, and those of which nothing was measured.
TEST(CohortRead, AsksOnlyTheHipsItTakes) {
  const Scratch scratch;
  HipRow corrected = measured_by(named("H-1", 2), "2", "o2");
  corrected.reader = "R1";
  HipRow refused = measured_by(named("H-2", 3), "3", "o3");
  refused.status = "refused";
  const auto file = made(scratch, {named("H-1", 1), corrected, refused});
  const Cohort cohort = read(file);
  EXPECT_THAT(cohort.option_sets, ElementsAre("o1"));
  EXPECT_THAT(cohort.criteria_sets, ElementsAre("set/1"));
}

std::vector<Cell> row_of(const CohortStudy& study, const std::string& table,
                         const std::string& first) {
  for (const StudyTable& one : tables_of(study)) {
    for (const auto& row : one.rows) {
      if (one.name == table && row[0] == Cell{first}) return row;
    }
  }
  return {};
}

// One stem's hips may be refused more often than another's: counted by group, also where none of a
// group was measured.
TEST(CohortRead, CountsLeftOutHipsByGroup) {
  const Scratch scratch;
  std::vector<HipRow> rows;
  const auto add = [&](const std::string& status, const std::string& group,
                       const std::string& unit = "mm") {
    HipRow row;
    row.id = static_cast<int>(rows.size()) + 1;
    row.hip = "H-" + std::to_string(row.id);
    row.status = status;
    row.group = group;
    row.length_unit = unit;
    rows.push_back(row);
  };
  add("measured", "A");
  add("measured", "A", "reference_px");
  add("refused", "A");
  add("measured", "B");
  add("refused", "B");
  add("refused", "B");
  add("failed", "B");
  add("refused", "C");
  add("refused", "");
  add("measured", "");
  const Cohort cohort = read(made(scratch, rows), {"stem", ""});
  EXPECT_EQ(cohort.refused, 5U);
  EXPECT_EQ(cohort.failed, 1U);
  EXPECT_EQ(cohort.without_group, 1U);
  EXPECT_THAT(cohort.groups, ElementsAre("A", "B"));
  const CohortStudy done = study(cohort, {}, "t");
  const auto last_three = [&](const std::string& group) {
    const auto row = row_of(done, "groups", group);
    std::vector<std::int64_t> out;
    for (std::size_t i = row.size() - 3; i < row.size(); ++i) {
      out.push_back(std::get<std::int64_t>(row[i]));
    }
    return out;
  };
  EXPECT_THAT(last_three("A"), ElementsAre(1, 0, 1));  // refused, failed, without_scale
  EXPECT_THAT(last_three("B"), ElementsAre(2, 1, 0));
  EXPECT_THAT(last_three("C"), ElementsAre(1, 0, 0));
  EXPECT_EQ(row_of(done, "groups", "C")[1], Cell{std::int64_t{0}});
}

HipRow of_patient(const std::string& hip, int id, const std::string& patient,
                  const std::string& side, const std::string& film) {
  HipRow row = named(hip, id);
  row.patient = "'" + patient + "'";
  row.side = side.empty() ? "NULL" : "'" + side + "'";
  row.film = "'" + film + "'";
  return row;
}

// A sheet that lists one hip under two names doubles it; a film of both hips is no such case.
TEST(CohortRead, SaysWhenOneHipMayCountAsTwo) {
  const Scratch scratch;
  const auto file =
      made(scratch, {of_patient("A-1", 1, "p", "R", "f1"), of_patient("B-7", 2, "p", "R", "f1"),
                     of_patient("C-1", 3, "q", "R", "f2"), of_patient("C-2", 4, "q", "L", "f2"),
                     of_patient("D-1", 5, "r", "", "f3"), of_patient("D-2", 6, "r", "", "f4"),
                     of_patient("E-1", 7, "s", "R", "f5"), of_patient("E-2", 8, "t", "L", "f5")});
  const Cohort cohort = read(file);
  ASSERT_EQ(cohort.hips.size(), 8U);
  std::vector<std::string> shared;
  for (const CohortHip& hip : cohort.hips) {
    if (hip.shares_films) shared.push_back(hip.hip);
  }
  EXPECT_THAT(shared, ElementsAre("A-1", "B-7", "E-1", "E-2"));
  const auto cautions = study(cohort, {}, "t").cautions;
  EXPECT_THAT(cautions, Contains(HasSubstr("One patient has both hips in the cohort.")));
  EXPECT_THAT(cautions, Contains(HasSubstr("One patient stands in the cohort with several hips of "
                                           "one side")));
  EXPECT_THAT(cautions, Contains(HasSubstr("One patient has several hips in the cohort of which a "
                                           "side is not known")));
  EXPECT_THAT(cautions, Contains(HasSubstr("4 hips share a film, byte for byte")));
}

/// A row of zones, and of zone_changes where there is a text for it.
std::string zone_sql(int hip, int film, int zone, const std::string& state,
                     const std::string& change = "") {
  const std::string where = std::to_string(hip) + ", ";
  std::string sql =
      "INSERT INTO zones (hip_id, film, zone, interface, state, seen_fraction) VALUES"
      " (" +
      where + std::to_string(film) + ", " + std::to_string(zone) + ", 'stem_bone', '" + state +
      "', 0.9);";
  if (!change.empty()) {
    sql +=
        "INSERT INTO zone_changes (hip_id, comparison, zone, interface, progressive, change_mm,"
        " change_u_mm, change_u95_mm) VALUES (" +
        where + "0, " + std::to_string(zone) + ", 'stem_bone', " + change + ");";
  }
  return sql;
}

const CohortZone* zone_of(const CohortHip& hip, int film, int number) {
  for (const CohortZone& zone : hip.zones) {
    if (zone.film == film && zone.zone == number) return &zone;
  }
  return nullptr;
}

// As the rule of signs asks it of one hip: growth beyond 0.3 mm at a probability of 95 %, or the
// pair's own yes. 0.80 - 1.645 x 0.20 = 0.47 mm; 0.60 - 0.33 = 0.27 mm.
TEST(CohortRead, TakesFromThePairWhatBecameOfALine) {
  const Scratch scratch;
  const auto file = made(scratch, {named("H-1", 1)});
  for (int zone = 1; zone <= 6; ++zone) run(file, zone_sql(1, 0, zone, "absent"));
  run(file, zone_sql(1, 1, 1, "present", "'yes', 1.0, 0.2, 0.4"));
  run(file, zone_sql(1, 1, 2, "present", "'cannot_tell', 0.8, 0.2, 0.4"));
  run(file, zone_sql(1, 1, 3, "present", "'cannot_tell', 0.6, 0.2, 0.4"));
  run(file, zone_sql(1, 1, 4, "absent", "'no', 0.0, 0.1, 0.2"));
  run(file, zone_sql(1, 1, 5, "present"));
  run(file, zone_sql(1, 1, 6, "cannot_tell", "'cannot_tell', NULL, NULL, NULL"));
  const Cohort cohort = read(file);
  const auto grew = [&](int number) { return zone_of(cohort.hips.at(0), 1, number)->grew; };
  EXPECT_EQ(grew(1), true);
  EXPECT_EQ(grew(2), true);
  EXPECT_FALSE(grew(3));
  EXPECT_EQ(grew(4), false);
  EXPECT_FALSE(grew(5));
  EXPECT_FALSE(grew(6));
  EXPECT_FALSE(zone_of(cohort.hips[0], 0, 1)->grew);
}

// The zones of a film that was refused are not seen: left out, the share of all hips with a film
// could not reach what it may be.
TEST(CohortRead, TheZonesOfARefusedFilmAreNotSeen) {
  const Scratch scratch;
  const auto file = made(scratch, {named("H-1", 1), named("H-2", 2)});
  run(file, zone_sql(1, 0, 1, "absent") + zone_sql(1, 0, 2, "absent"));
  run(file, zone_sql(2, 0, 1, "absent") + zone_sql(2, 1, 1, "present"));
  run(file, "UPDATE films SET status = 'not_measured' WHERE hip_id = 1 AND film = 1;");
  // Nearer to the milestone than the measured film of the same visit, which counts all the same.
  run(file,
      "INSERT INTO films (hip_id, film, role, status, date, days_from_surgery, examination)"
      " VALUES (2, 2, 'follow-up', 'not_measured', '2024-12-31', 365, 1),"
      " (2, 3, 'follow-up', 'not_measured', '2024-06-30', 181, 1);");
  run(file,
      "INSERT INTO comparisons (hip_id, comparison, reference, follow_up, days,"
      " days_from_surgery, examination, status) VALUES"
      " (2, 1, 0, 2, 364, 365, 1, 'not_measured');");
  const Cohort cohort = read(file);
  ASSERT_NE(zone_of(cohort.hips.at(0), 1, 2), nullptr);
  EXPECT_EQ(zone_of(cohort.hips[0], 1, 2)->state, ZoneState::kNotSeen);
  EXPECT_EQ(zone_of(cohort.hips[0], 1, 2)->days, 366);
  EXPECT_EQ(zone_of(cohort.hips.at(1), 3, 1), nullptr) << "excluded, or from the side";
  for (const ZoneIncidence& one : lucency_map(cohort)) {
    if (!one.visit || one.zone != 1) continue;
    EXPECT_EQ(visits()[*one.visit].name, "1 year");
    EXPECT_EQ(one.present, 1U);
    EXPECT_EQ(one.not_seen, 1U);
    EXPECT_EQ(one.least, 0.5);
    EXPECT_EQ(one.most, 1.0);
  }
}

TEST(CohortRead, TellsTheDayOfSurgeryFromAnUnknownDay) {
  const Scratch scratch;
  HipRow same_day = named("H-1", 1);
  same_day.reference_day = "0";
  HipRow undated = named("H-2", 2);
  undated.reference_day = "NULL";
  HipRow without_surgery = named("H-3", 3);
  without_surgery.reference_day = "NULL";
  without_surgery.surgery = "NULL";
  const Cohort cohort = read(made(scratch, {same_day, undated, without_surgery}));
  EXPECT_EQ(cohort.hips[0].reference_days, 0);
  EXPECT_EQ(start_day(cohort.hips[0]), 0);
  EXPECT_FALSE(cohort.hips[1].reference_days);
  EXPECT_FALSE(start_day(cohort.hips[1]));
  EXPECT_FALSE(cohort.hips[2].reference_days);
  EXPECT_EQ(start_day(cohort.hips[2]), 0) << "its days count from the film";
}

// A batch that runs on meanwhile replaces a hip between two SELECTs: the new one has a new hip_id,
// and without a transaction the comparisons of neither would be found.
TEST(CohortRead, ReadsAllTablesAsOfOneMoment) {
  const Scratch scratch;
  const auto file = made(scratch, {named("H-1", 1)});
  const auto database = Database::open(file);
  ASSERT_TRUE(database);
  std::function<void()> replace = [&] {
    const HipRow again = named("H-1", 7);
    run(file, "BEGIN; DELETE FROM hips WHERE hip = 'H-1'; " + sql_of(again) + " COMMIT;");
    replace = nullptr;
  };
  const auto before_comparisons = [](unsigned, void* context, void*, void* text) {
    auto& job = *static_cast<std::function<void()>*>(context);
    const std::string sql = static_cast<const char*>(text);
    if (job && sql.find("FROM comparisons") != std::string::npos) job();
    return 0;
  };
  sqlite3_trace_v2(database->db().get(), SQLITE_TRACE_STMT, before_comparisons, &replace);
  const auto cohort = read_cohort(*database, {});
  ASSERT_TRUE(cohort) << cohort.error().sentence();
  EXPECT_FALSE(replace) << "the hip was replaced";
  ASSERT_EQ(cohort->hips.size(), 1U);
  EXPECT_EQ(cohort->hips[0].comparisons.size(), 1U);
  const auto after = read_cohort(*database, {});  // the transaction has ended
  ASSERT_TRUE(after);
  EXPECT_EQ(after->hips[0].comparisons.size(), 1U);
}

}  // namespace
}  // namespace tidemark::registry
