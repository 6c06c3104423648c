#include "tidemark/followup/write.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <algorithm>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "followup/invented.h"
#include "scratch.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"

namespace tidemark::followup {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::Not;

Result two_films() {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.hip = "H-1";
  return measure_with(series, {.pictures = Pictures::kDraw}, invented::steps());
}

TEST(Json, HoldsWhatWasMeasured) {
  const auto json = nlohmann::json::parse(to_json(two_films()));
  EXPECT_EQ(json["schema"], "tidemark/result/1");
  EXPECT_EQ(json["hip"], "H-1");
  EXPECT_EQ(json["side"], "R");
  EXPECT_EQ(json["films"][0]["date"], "2024-01-01");
  EXPECT_EQ(json["films"][0]["calibration"]["mm_per_px"]["value"], 0.504588);
  EXPECT_EQ(json["films"][0]["stem"]["tip_px"], nlohmann::json({150.0, 400.0}));
  EXPECT_EQ(json["films"][0]["landmarks"]["lesser_trochanter"]["source"], "found");
  const auto& pair = json["comparisons"][0];
  EXPECT_EQ(pair["days"], 60);
  EXPECT_EQ(pair["subsidence_mm"]["value"], 2.1);
  EXPECT_EQ(pair["subsidence_mm"]["u95"], 0.4);
  EXPECT_EQ(pair["subsidence_at_mm"]["shoulder"]["value"], 2.2);
  EXPECT_EQ(pair["tilt_change_deg"]["u"], 0.09);
  EXPECT_EQ(pair["uncertainty_budget"][0]["u_mm"], 0.12);
  EXPECT_EQ(pair["features"][0]["position_mm"], nlohmann::json({-10.0, 20.0}));
  EXPECT_EQ(json["caution"], kCaution);
}

TEST(Json, WhatIsUnknownIsAbsentAndNeverZero) {
  Series series = invented::series({"a.dcm", "none.dcm"});
  const auto json = nlohmann::json::parse(to_json(measure_with(series, {}, invented::steps())));
  EXPECT_FALSE(json.contains("hip"));
  EXPECT_FALSE(json["films"][0].contains("date"));
  EXPECT_FALSE(json["films"][0].contains("cup"));
  EXPECT_FALSE(json["films"][0]["landmarks"].contains("greater_trochanter"));
  EXPECT_FALSE(json["films"][1].contains("stem"));
  EXPECT_FALSE(json["films"][1].contains("tilt_deg"));
  EXPECT_FALSE(json["comparisons"][0].contains("subsidence_mm"));
  EXPECT_EQ(json["comparisons"][0]["status"], "not_measured");
  EXPECT_FALSE(json["comparisons"][0].contains("days"));
}

TEST(Json, FileNamesThatAreNoTextStayValidJson) {
  const auto result =
      measure_with(invented::series({"\xff\x1b[31m.dcm", "b.dcm"}), {}, invented::steps());
  EXPECT_TRUE(nlohmann::json::accept(to_json(result)));
  EXPECT_THAT(to_table(result), Not(HasSubstr("\x1b")));
}

std::vector<std::string> cells(const std::string& line) {
  std::vector<std::string> out{""};
  bool quoted = false;
  for (const char c : line) {
    if (c == '"') quoted = !quoted;
    if (c == ',' && !quoted) {
      out.emplace_back();
    } else if (c != '\r') {
      out.back() += c;
    }
  }
  return out;
}

// What only the stem's surface tells, and so whether it served the pair at all.
TEST(Csv, TellsThePoseByTheSurface) {
  Result result = measure_with(invented::series({"early.dcm", "late.dcm"}), {}, invented::steps());
  const auto cell = [&](const std::string& name) {
    std::istringstream lines(to_csv(result));
    std::string header;
    std::string first;
    std::getline(lines, header);
    std::getline(lines, first);
    const auto names = cells(header);
    const auto found = std::find(names.begin(), names.end(), name);
    return found == names.end() ? "no column"
                                : cells(first)[static_cast<std::size_t>(found - names.begin())];
  };
  EXPECT_EQ(cell("rotation_change_deg"), "");
  result.comparisons[0].migration->flexion_change = {{-3.9}, {2.7}, {5.3}};
  result.comparisons[0].migration->rotation_change = {{20.4}, {1.9}, {3.8}};
  EXPECT_EQ(cell("flexion_change_deg"), "-3.9");
  EXPECT_EQ(cell("rotation_change_deg"), "20.4");
  EXPECT_EQ(cell("rotation_change_u95_deg"), "3.8");
}

TEST(Csv, OneRowPerComparisonUnderNamedColumns) {
  Series series = invented::series({"early.dcm", "late.dcm", "bare.dcm"});
  series.hip = "H,1 \"x\"";
  series.films[2].date = parse_date("2024-05-01");
  const std::string csv = to_csv(measure_with(series, {}, invented::steps()));
  std::istringstream lines(csv);
  std::string header;
  std::string first;
  std::string second;
  std::string rest;
  std::getline(lines, header);
  std::getline(lines, first);
  std::getline(lines, second);
  EXPECT_FALSE(std::getline(lines, rest));
  EXPECT_EQ(cells(header).size(), cells(first).size());
  EXPECT_EQ(cells(header).size(), cells(second).size());
  const auto column = [&](const std::string& name) {
    const auto names = cells(header);
    const auto found = std::find(names.begin(), names.end(), name);
    EXPECT_NE(found, names.end()) << name;
    return static_cast<std::size_t>(found - names.begin());
  };
  EXPECT_EQ(cells(first)[column("subsidence_mm")], "2.1");
  EXPECT_EQ(cells(first)[column("subsidence_u95_mm")], "0.4");
  EXPECT_EQ(cells(first)[column("tilt_change_u_deg")], "0.09");
  EXPECT_EQ(cells(first)[column("days")], "60");
  EXPECT_EQ(cells(first)[column("status")], "measured");
  EXPECT_EQ(cells(first)[column("hip")], R"("H,1 ""x""")");
  EXPECT_EQ(cells(second)[column("status")], "not_measured");
  EXPECT_EQ(cells(second)[column("subsidence_mm")], "");  // absent, not zero
  EXPECT_THAT(cells(second)[column("reason")], HasSubstr("no stem is seen"));
}

// A sheet program would run such a cell as a formula.
TEST(Csv, CellsThatLookLikeFormulasAreDefused) {
  Series series = invented::series({"=cmd.dcm", "late.dcm"});
  EXPECT_THAT(to_csv(measure_with(series, {}, invented::steps())), HasSubstr(",'=cmd.dcm,"));
}

TEST(Text, TableNamesEveryNumberAndEndsWithTheCaution) {
  const std::string table = to_table(two_films());
  for (const char* part : {"late.dcm", "60", "+2.10 ± 0.40", "+0.10 ± 0.24", "+0.35 ± 0.18",
                           "subsidence mm", "tilt change deg", "reference film early.dcm"}) {
    EXPECT_THAT(table, HasSubstr(part));
  }
  EXPECT_TRUE(table.ends_with(std::string(kCaution) + "\n"));
}

TEST(Text, RefusalsArePrintedByName) {
  const std::string table =
      to_table(measure_with(invented::series({"a.dcm", "none.dcm"}), {}, invented::steps()));
  EXPECT_THAT(table, HasSubstr("none.dcm: no pixel data; export it again"));
}

TEST(Text, OneFilmSaysWhatIsKnownOfIt) {
  const std::string text =
      to_film_text(measure_with(invented::series({"a.dcm"}), {}, invented::steps()));
  EXPECT_THAT(text, HasSubstr("0.5046 ± "));
  EXPECT_THAT(text, HasSubstr("+2.00 ± 0.25 deg"));
  EXPECT_THAT(text, HasSubstr("not seen"));  // cup and greater trochanter
}

TEST(Zones, JsonHoldsThemByZone) {
  const auto json = nlohmann::json::parse(to_json(two_films()));
  const auto& before = json["films"][0];
  const auto& after = json["films"][1];
  ASSERT_EQ(after["zones"].size(), 7U);
  EXPECT_EQ(before["zones"][6]["state"], "absent");
  EXPECT_EQ(before["zones"][6]["extent_fraction"], 0.0);
  EXPECT_FALSE(before["zones"][6].contains("max_mm"));  // absent, not zero
  const auto& zone = after["zones"][6];
  EXPECT_EQ(zone["zone"], 7);
  EXPECT_EQ(zone["interface"], "stem_bone");
  EXPECT_EQ(zone["state"], "present");
  EXPECT_EQ(zone["max_mm"]["value"], 1.5);
  // derived: the scale is known to 0.0085 / 1.96 of 0.5046 mm per px, 0.9 %: hypot(0.1, 0.013)
  EXPECT_NEAR(zone["max_mm"]["u"].get<double>(), 0.1008, 2e-4);
  EXPECT_EQ(zone["length_mm"]["value"], 40.5);
  EXPECT_EQ(zone["extent_fraction"], 1.0);
  EXPECT_EQ(zone["seen_fraction"], 1.0);
  EXPECT_EQ(zone["sclerotic_rim"], true);
  EXPECT_EQ(zone["depth"]["value"], 0.3);
  // derived: 400 px of the invented stem x 0.198 x 0.504588 mm per px
  EXPECT_NEAR(zone["zone_length_mm"].get<double>(), 39.96, 0.01);
  EXPECT_EQ(after["zones"][2]["state"], "cannot_tell");
  EXPECT_EQ(after["zones"][2]["sclerotic_rim"], "cannot_tell");
  EXPECT_THAT(after["zones"][2]["reason"].get<std::string>(), HasSubstr("is not seen"));
  EXPECT_EQ(after["zone_borders_px"].size(), 5U);
  EXPECT_EQ(after["edge_response"]["edges"], 12);
  const auto& change = json["comparisons"][0]["zones"];
  ASSERT_EQ(change.size(), 7U);
  EXPECT_EQ(change[6]["change_mm"]["value"], 1.5);
  EXPECT_EQ(change[6]["progressive"], "yes");
  EXPECT_EQ(change[0]["progressive"], "no");
  EXPECT_EQ(change[2]["progressive"], "cannot_tell");
  EXPECT_FALSE(change[2].contains("change_mm"));
}

TEST(Zones, CsvHasOneRowPerFilmZoneAndInterface) {
  std::istringstream lines(to_zones_csv(two_films()));
  std::vector<std::vector<std::string>> rows;
  for (std::string line; std::getline(lines, line);) rows.push_back(cells(line));
  ASSERT_EQ(rows.size(), 1U + 2U * 7U);
  const auto column = [&](const std::string& name) {
    const auto found = std::find(rows[0].begin(), rows[0].end(), name);
    EXPECT_NE(found, rows[0].end()) << name;
    return static_cast<std::size_t>(found - rows[0].begin());
  };
  for (const auto& row : rows) EXPECT_EQ(row.size(), rows[0].size());
  EXPECT_EQ(rows[7][column("file")], "early.dcm");
  EXPECT_EQ(rows[7][column("state")], "absent");
  EXPECT_EQ(rows[7][column("max_mm")], "");
  EXPECT_EQ(rows[7][column("change_mm")], "");  // the reference film has changed against nothing
  EXPECT_EQ(rows[14][column("zone")], "7");
  EXPECT_EQ(rows[14][column("max_mm")], "1.5");
  EXPECT_EQ(rows[14][column("progressive")], "yes");
  EXPECT_EQ(rows[14][column("change_mm")], "1.5");
  EXPECT_EQ(rows[14][column("change_reason")],
            "A line stands where the reference film shows none.");
}

TEST(Zones, LengthsAreInPixelsOfEachFilmWithoutAScale) {
  Series series = invented::series({"a.dcm", "b.dcm"});
  series.stem.head_diameter.reset();
  const auto result =
      measure_with(series, {.without_scale = WithoutScale::kAcceptPixels}, invented::steps());
  const auto json = nlohmann::json::parse(to_json(result));
  const auto& zone = json["films"][1]["zones"][6];
  const double mm_per_px = json["films"][1]["calibration"]["mm_per_px"]["value"].get<double>();
  EXPECT_FALSE(zone.contains("max_mm"));
  EXPECT_NEAR(zone["max_px"]["value"].get<double>() * mm_per_px, 1.5, 1e-3);
  EXPECT_TRUE(json["comparisons"][0]["zones"][6].contains("change_px"));
  EXPECT_THAT(to_zones_csv(result), HasSubstr(",max_px,max_u_px,max_u95_px,"));
}

TEST(Zones, ARefusalLeavesTheFilmAndTheMigrationMeasured) {
  Series series = invented::series({"early.dcm", "odd.dcm"});
  series.stem.fixation = Fixation::kCemented;
  const auto result = measure_with(series, {}, invented::steps());
  EXPECT_EQ(result.films[1].status, Status::kMeasured);
  EXPECT_EQ(result.comparisons[0].status, Status::kMeasured);
  EXPECT_TRUE(result.comparisons[0].zones.empty());
  ASSERT_EQ(result.films[1].zones.size(), 14U);  // two interfaces of seven zones
  EXPECT_EQ(result.films[1].zones[0].interface, lucency::Interface::kStemCement);
  EXPECT_EQ(result.films[1].zones[13].state, lucency::State::kCannotTell);
  EXPECT_THAT(result.films[1].zones[13].reason, HasSubstr("the outline ends above the tip"));
  EXPECT_EQ(exit_code(result), 0);
}

// Lines are compared against the stem, not against the bone: what stops the migration does not stop
// them.
TEST(Zones, AreComparedWhereTheBoneCannotBeAligned) {
  Steps steps = invented::steps();
  steps.compare = [](const FilmOfPair&, const FilmOfPair&) -> Expected<migration::Migration> {
    return fail(ErrorKind::kCannotTell, "comparison", "no clear position", "look again");
  };
  const auto result = measure_with(invented::series({"early.dcm", "late.dcm"}), {}, steps);
  EXPECT_EQ(result.comparisons[0].status, Status::kNotMeasured);
  ASSERT_EQ(result.comparisons[0].zones.size(), 7U);
  EXPECT_EQ(result.comparisons[0].zones[6].progressive, lucency::Answer::kYes);
  ASSERT_TRUE(result.comparisons[0].signs.has_value());
  EXPECT_FALSE(result.comparisons[0].signs->calcar.has_value());  // needs the stem's motion
}

TEST(Zones, TextIsOneLineForEach) {
  const std::string table = to_table(two_films());
  EXPECT_THAT(table, testing::ContainsRegex("\n7 +1 of 2 +- +1 of 1 +- +1.50 ± 0.20 mm\n"));
  EXPECT_THAT(table, testing::ContainsRegex("\n3 +- +2 of 2 +- +1 of 1 +-\n"));
  const std::string film =
      to_film_text(measure_with(invented::series({"a.dcm"}), {}, invented::steps()));
  EXPECT_THAT(film,
              HasSubstr("zone 7              line up to 1.50 ± 0.20 mm wide, 40.5 ± 2.1 mm long "
                        "(100 % of the zone), sclerotic rim\n"));
  EXPECT_THAT(film, HasSubstr("zone 1              no line\n"));
  EXPECT_THAT(film, HasSubstr("zone 3              cannot tell: The bone"));
}

class Output : public testing::Test {
 protected:
  void SetUp() override { fs::create_directories(films()); }
  [[nodiscard]] fs::path films() const { return folder_ / "films"; }
  [[nodiscard]] fs::path out() const { return folder_ / "a" / "b"; }

 private:
  test::Scratch folder_;
};

TEST_F(Output, EveryNamedFileIsThereAndNoOther) {
  const Result result = two_films();
  ASSERT_TRUE(prepare_output(out(), films()).has_value());
  ASSERT_TRUE(write_output(result, out()).has_value());
  std::vector<std::string> names;
  for (const auto& item : fs::directory_iterator(out())) {
    names.push_back(item.path().filename().string());
  }
  EXPECT_THAT(names,
              testing::UnorderedElementsAre("result.json", "measurements.csv", "zones.csv",
                                            "overlay-00.png", "overlay-01.png", "pair-01.png",
                                            "zones-00.png", "zones-01.png", "seat-00.png"));
}

TEST_F(Output, ResultOfAnEarlierRunIsGoneBeforeAnythingIsMeasured) {
  fs::create_directories(out());
  std::ofstream(out() / "result.json") << R"({"schema": "tidemark/result/1"})";
  ASSERT_TRUE(prepare_output(out(), films()).has_value());
  EXPECT_FALSE(fs::exists(out() / "result.json"));
}

TEST_F(Output, ResultIsAbsentWhenSomethingElseCannotBeWritten) {
  ASSERT_TRUE(prepare_output(out(), films()).has_value());
  fs::create_directories(out() / "measurements.csv");  // a folder in the way
  const auto written = write_output(two_films(), out());
  ASSERT_FALSE(written.has_value());
  EXPECT_EQ(written.error().kind, ErrorKind::kNotWritable);
  EXPECT_FALSE(fs::exists(out() / "result.json"));
}

TEST_F(Output, FolderOfTheFilmsIsNeverWrittenTo) {
  for (const fs::path& inside :
       {films(), films() / "out", films() / "." / "x" / "..", films().parent_path() / "films/"}) {
    const auto ready = prepare_output(inside, films());
    ASSERT_FALSE(ready.has_value()) << inside;
    EXPECT_EQ(ready.error().kind, ErrorKind::kUsage);
  }
  fs::create_directory_symlink(films(), films().parent_path() / "link");
  EXPECT_FALSE(prepare_output(films().parent_path() / "link", films()).has_value());
  EXPECT_TRUE(fs::is_empty(films()));
  EXPECT_TRUE(prepare_output(films().parent_path() / "films-out", films()).has_value());
}

TEST_F(Output, ResultOfAnotherHipIsNotReplaced) {
  std::ofstream(films() / "a.dcm", std::ios::binary) << "bytes";
  Result result = two_films();
  result.hip = "H-1";
  fs::create_directories(out());
  ASSERT_TRUE(write_output(result, out()).has_value());
  const auto before = read_text(out() / "result.json").value();
  Series other = invented::series({"a.dcm"});
  other.films[0].path = films() / "a.dcm";
  for (const auto& hip : {std::optional<std::string>("H-2"), std::optional<std::string>()}) {
    other.hip = hip;
    const auto free = check_output(out(), other);
    ASSERT_FALSE(free.has_value());
    EXPECT_EQ(free.error().kind, ErrorKind::kUsage);
    EXPECT_THAT(free.error().sentence(), HasSubstr("another hip (H-1)"));
  }
  EXPECT_EQ(read_text(out() / "result.json").value(), before);
  // A run that died has set it aside.
  ASSERT_TRUE(prepare_output(out(), films()).has_value());
  EXPECT_FALSE(check_output(out(), other).has_value());
  other.hip = "H-1";
  EXPECT_TRUE(check_output(out(), other).has_value()) << "its films may all be new";
  other.hip = "H-2";
  result.films[1].sha256 = sha256_hex(std::string_view("bytes"));
  ASSERT_TRUE(write_output(result, out()).has_value());
  EXPECT_TRUE(check_output(out(), other).has_value()) << "called otherwise, of the same film";
  EXPECT_TRUE(check_output(films() / "new", other).has_value());
  std::ofstream(out() / "result.json") << R"({"hip": "H-1", "films": [{"sha256": 7}, 8]})";
  EXPECT_FALSE(check_output(out(), other).has_value());
}

TEST_F(Output, FolderOfAFilmIsNoOutputOfThatFilm) {
  const fs::path film = films() / "a.png";
  std::ofstream(film) << "x";
  const auto ready = prepare_output(films(), film);
  ASSERT_FALSE(ready.has_value());
  EXPECT_EQ(ready.error().kind, ErrorKind::kUsage);
  EXPECT_TRUE(prepare_output(films() / "out", film).has_value())
      << "what measure does not look into";
}

TEST_F(Output, TwoRunsDoNotMixInOneFolder) {
  {
    const auto first = prepare_output(out(), films());
    ASSERT_TRUE(first.has_value());
    const auto second = prepare_output(out(), films());
    ASSERT_FALSE(second.has_value());
    EXPECT_EQ(second.error().kind, ErrorKind::kNotWritable);
    EXPECT_THAT(second.error().wrong, HasSubstr("another run"));
    ASSERT_TRUE(write_output(two_films(), out()).has_value());
  }
  EXPECT_FALSE(fs::exists(out() / ".tidemark-lock"));
  EXPECT_TRUE(prepare_output(out(), films()).has_value());
}

TEST_F(Output, WhatAnotherProgramWroteIsNotOverwritten) {
  fs::create_directories(out());
  const fs::path file = out() / "result.json";
  std::ofstream(file) << R"({"my": "other program"})";
  const auto result = prepare_output(out(), films());
  ASSERT_FALSE(result.has_value());
  EXPECT_EQ(result.error().kind, ErrorKind::kNotWritable);
  EXPECT_EQ(result.error().subject, file.string());
  EXPECT_TRUE(fs::exists(file));
  fs::remove(file);
  for (const char* name : {"measurements.csv", "report.pdf", "pair-07.png"}) {
    std::ofstream(out() / name) << "somebody's own";
    const auto other = prepare_output(out(), films());
    ASSERT_FALSE(other.has_value()) << name;
    EXPECT_EQ(other.error().subject, (out() / name).string());
    fs::remove(out() / name);
  }
  std::ofstream(out() / "notes.txt") << "somebody's own";
  EXPECT_TRUE(prepare_output(out(), films()).has_value());
}

// A first run that dies leaves pictures and no result; they are not those of the next one.
TEST_F(Output, WhatADeadFirstRunLeftIsNotTakenForTheNextOnes) {
  {
    const auto died = prepare_output(out(), films());
    ASSERT_TRUE(died.has_value());
    std::ofstream(out() / "pair-09.png") << "drawn";
  }
  const auto again = prepare_output(out(), films());
  ASSERT_TRUE(again.has_value()) << again.error().sentence();
  ASSERT_TRUE(write_output(two_films(), out()).has_value());
  EXPECT_FALSE(fs::exists(out() / "pair-09.png"));
}

TEST_F(Output, FileInTheWayIsNotWritable) {
  std::ofstream(films().parent_path() / "file") << "x";
  const auto ready = prepare_output(films().parent_path() / "file", films());
  ASSERT_FALSE(ready.has_value());
  EXPECT_EQ(ready.error().kind, ErrorKind::kNotWritable);
}

}  // namespace
}  // namespace tidemark::followup
