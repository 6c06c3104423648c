#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <ostream>
#include <string>

#include "tidemark/core/date.h"
#include "tidemark/followup/series.h"

namespace tidemark::followup {
namespace {

using testing::HasSubstr;

constexpr const char* kWholeSheet = R"({
  "schema": "tidemark/series/1",
  "hip": "H-0042", "side": "L", "surgery_date": "2024-03-01",
  "stem": {"fixation": "uncemented", "length_mm": 140.0, "head_diameter_mm": 32, "surface": "stem.stl"},
  "plan": {"tip_of_greater_trochanter_to_head_centre_mm": 8.0, "leg_length_change_mm": -4.0,
           "stem_tilt_deg": 0.5},
  "films": [
    {"file": "film-00.dcm", "role": "reference", "date": "2024-03-02", "view": "AP"},
    {"file": "b/film-01.png", "role": "follow-up", "date": "2024-04-15", "view": "PA",
     "marker_diameter_mm": 25.4, "marker_px": {"centre": [10, 20.5], "diameter": 180},
     "mm_per_px": {"value": 0.14, "u": 0.0007},
     "landmarks_px": {"head_centre": [1, 2], "head_diameter": 220.5, "stem_tip": [3, 4],
       "stem_shoulder": [5, 6], "lesser_trochanter": [912.0, 1405.5],
       "greater_trochanter": [7, 8], "stem_axis": [[0, 0], [0, 100]],
       "shaft_axis": [[10, 10], [40, 50]], "bone_entry": [11, 12],
       "second_zone_border": [13, 14], "third_zone_border": [15, 16]}},
    {"file": "film-02.dcm", "view": "LAT", "back": "left", "exclude": true, "mm_per_px": 0.2}
  ]
})";

TEST(Sheet, EveryKeyArrivesWhereItBelongs) {
  const auto series = parse_sheet(kWholeSheet, "series.json", "/data/hip");
  ASSERT_TRUE(series.has_value()) << series.error().sentence();
  EXPECT_EQ(series->hip, "H-0042");
  EXPECT_EQ(series->side, Side::kLeft);
  EXPECT_EQ(series->surgery_date, parse_date("2024-03-01"));
  EXPECT_EQ(series->stem.fixation, Fixation::kUncemented);
  EXPECT_EQ(series->stem.length, Millimetres{140.0});
  EXPECT_EQ(series->stem.head_diameter, Millimetres{32.0});
  EXPECT_EQ(series->stem.surface, "stem.stl");
  EXPECT_EQ(series->stem.surface_path.filename(), "stem.stl");
  EXPECT_EQ(series->plan.greater_trochanter_to_head_centre, Millimetres{8.0});
  EXPECT_EQ(series->plan.leg_length_change, Millimetres{-4.0});
  EXPECT_EQ(series->plan.stem_tilt, Degrees{0.5});
  EXPECT_EQ(series->sheet_sha256->size(), 64U);
  ASSERT_EQ(series->films.size(), 3U);
  EXPECT_EQ(series->films[0].role, Role::kReference);
  EXPECT_EQ(series->films[0].path, "/data/hip/film-00.dcm");
  EXPECT_FALSE(series->films[0].excluded);
  EXPECT_EQ(series->films[2].view, View::kLateral);
  EXPECT_EQ(series->films[2].back, PictureSide::kLeft);
  EXPECT_FALSE(series->films[0].back.has_value());
  EXPECT_TRUE(series->films[2].excluded);
  EXPECT_FALSE(series->films[2].role.has_value());
}

TEST(Sheet, CorrectionsOfAFilmArriveInStoredPixels) {
  const auto series = parse_sheet(kWholeSheet, "series.json", "/data/hip");
  ASSERT_TRUE(series.has_value());
  const FilmEntry& film = series->films[1];
  EXPECT_EQ(film.file, "b/film-01.png");
  EXPECT_EQ(film.view, View::kPa);
  EXPECT_EQ(film.marker_diameter, Millimetres{25.4});
  ASSERT_TRUE(film.marker_in_stored_px.has_value());
  EXPECT_EQ(film.marker_in_stored_px->centre, Vec2(10.0, 20.5));
  EXPECT_EQ(film.marker_in_stored_px->radius, 90.0);
  EXPECT_EQ(film.scale->value.value, 0.14);
  EXPECT_EQ(film.scale->u.value, 0.0007);
  EXPECT_NEAR(film.scale->u95.value, 1.96 * 0.0007, 1e-15);  // JCGM 100 table G.1
  const auto& given = film.landmarks_in_stored_px;
  EXPECT_EQ(given.head_centre_px, Vec2(1, 2));
  EXPECT_EQ(given.head_diameter_px, 220.5);
  EXPECT_EQ(given.stem_tip_px, Vec2(3, 4));
  EXPECT_EQ(given.stem_shoulder_px, Vec2(5, 6));
  EXPECT_EQ(given.lesser_trochanter_px, Vec2(912.0, 1405.5));
  EXPECT_EQ(given.greater_trochanter_px, Vec2(7, 8));
  EXPECT_EQ(given.stem_axis_px->direction, Vec2(0, 1));
  // Derived: a 3-4-5 triangle.
  EXPECT_NEAR(given.shaft_axis_px->direction.x(), 0.6, 1e-12);
  EXPECT_NEAR(given.shaft_axis_px->direction.y(), 0.8, 1e-12);
  EXPECT_EQ(given.bone_entry_px, Vec2(11, 12));
  EXPECT_EQ(given.second_zone_border_px, Vec2(13, 14));
  EXPECT_EQ(given.third_zone_border_px, Vec2(15, 16));
}

// House choice, docs/series-format.md: a scale without u gets 1 % of itself.
TEST(Sheet, ScaleWithoutUncertaintyGetsTheDocumentedOne) {
  const auto series = parse_sheet(kWholeSheet, "series.json", ".");
  ASSERT_TRUE(series.has_value());
  EXPECT_NEAR(series->films[2].scale->u.value, 0.002, 1e-15);
}

struct WrongRow {
  std::string name;
  std::string text;
  std::string wrong;   ///< part of Error::wrong
  std::string remedy;  ///< part of Error::remedy

  friend void PrintTo(const WrongRow& row, std::ostream* os) { *os << row.name; }
};

/// A sheet whose one film has these members beside `file`.
std::string film(const std::string& members) {
  return R"({"films": [{"file": "a.dcm"}, {"file": "b.dcm", )" + members + "}]}";
}
std::string top(const std::string& members) {
  return "{" + members + R"(, "films": [{"file": "a.dcm"}]})";
}

class WrongSheet : public testing::TestWithParam<WrongRow> {};

TEST_P(WrongSheet, GetsItsSentence) {
  const auto series = parse_sheet(GetParam().text, "series.json", ".");
  ASSERT_FALSE(series.has_value());
  EXPECT_EQ(series.error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(series.error().subject, "series.json");
  EXPECT_THAT(series.error().wrong, HasSubstr(GetParam().wrong));
  EXPECT_THAT(series.error().remedy, HasSubstr(GetParam().remedy));
}

INSTANTIATE_TEST_SUITE_P(
    Rows, WrongSheet,
    testing::Values(
        WrongRow{"Empty", "", "no JSON from line 1 on", "comma"},
        WrongRow{"CutOff", "{\n\"films\": [\n", "no JSON from line 3 on", "bracket"},
        WrongRow{"NotUtf8", "{\"hip\": \"\xff\"}", "no JSON from line 1 on", ""},
        WrongRow{"List", "[1, 2]", "a list of 2, not an object", "braces"},
        WrongRow{"Number", "7", "holds 7", "braces"},
        WrongRow{"TopKey", top(R"("sied": "R")"), R"(key "sied" is not known)",
                 R"(did you mean "side"?)"},
        WrongRow{"FarKey", top(R"("zzzzzzzzzz": 1)"), R"(key "zzzzzzzzzz")", "the keys here are"},
        WrongRow{"StemKey", top(R"("stem": {"head_diametre_mm": 32})"),
                 R"(stem has the key "head_diametre_mm")", R"("head_diameter_mm")"},
        WrongRow{"FilmKey", film(R"("marker_diameter": 25)"),
                 R"(films[1] has the key "marker_diameter")", R"("marker_diameter_mm")"},
        WrongRow{"LandmarkKey", film(R"("landmarks_px": {"lesser_trochantr": [1, 2]})"),
                 "films[1].landmarks_px has the key", R"("lesser_trochanter")"},
        WrongRow{"TwiceTheSameKey", R"({"side": "R", "side": "L", "films": [{"file": "a"}]})",
                 R"(key "side" stands twice)", "keep one"},
        WrongRow{"OtherSchema", top(R"("schema": "tidemark/series/2")"), "schema is", "/1"},
        WrongRow{"Side", top(R"("side": "right")"), R"(side is "right")", "R or L"},
        WrongRow{"SideNumber", top(R"("side": 1)"), "side is 1", "R or L"},
        WrongRow{"HipEmpty", top(R"("hip": "")"), "hip is", "quotes"},
        WrongRow{"HipLong", top("\"hip\": \"" + std::string(65, 'x') + "\""), "64 characters", ""},
        WrongRow{"DateForm", top(R"("surgery_date": "01.03.2024")"),
                 R"(surgery_date is "01.03.2024")", "YYYY-MM-DD"},
        WrongRow{"DateOfNoCalendar", film(R"("date": "2023-02-29")"), "films[1].date",
                 "YYYY-MM-DD"},
        WrongRow{"DicomDate", film(R"("date": "20230228")"), "films[1].date", "YYYY-MM-DD"},
        WrongRow{"HeadInCentimetres", top(R"("stem": {"head_diameter_mm": 3.2})"),
                 "stem.head_diameter_mm is 3.2", "from 20 to 62"},
        WrongRow{"HeadAsText", top(R"("stem": {"head_diameter_mm": "32"})"),
                 R"(stem.head_diameter_mm is "32")", "from 20 to 62"},
        WrongRow{"Fixation", top(R"("stem": {"fixation": "hybrid"})"), "stem.fixation",
                 "cemented, uncemented, cemented_polished_taper or cemented_composite_beam"},
        WrongRow{"SurfaceOutside", top(R"("stem": {"surface": "../stem.stl"})"),
                 "stem.surface is \"../stem.stl\", which leads out", "into the folder"},
        WrongRow{"StemNoObject", top(R"("stem": 140)"), "stem is 140, not an object", "braces"},
        WrongRow{"PlanTilt", top(R"("plan": {"stem_tilt_deg": 90})"), "plan.stem_tilt_deg is 90",
                 "from -30 to 30"},
        WrongRow{"NoFilms", R"({"side": "R"})", "films is missing", "list the films"},
        WrongRow{"EmptyFilms", R"({"films": []})", "films is no list", "list the films"},
        WrongRow{"FilmNoObject", R"({"films": ["a.dcm"]})", R"(films[0] is "a.dcm")", "braces"},
        WrongRow{"NoFile", R"({"films": [{"view": "AP"}]})", "films[0] names no file", "file"},
        WrongRow{"FileOutside", R"({"films": [{"file": "../x.dcm"}]})", "out of the folder",
                 "into the folder"},
        WrongRow{"FileAbsolute", R"({"films": [{"file": "/x.dcm"}]})", "out of the folder",
                 "into the folder"},
        WrongRow{"FileTwice", R"({"films": [{"file": "x.dcm"}, {"file": "x.dcm"}]})",
                 "films[1].file", "once"},
        WrongRow{"Role", film(R"("role": "followup")"), "films[1].role", "reference or follow-up"},
        WrongRow{
            "TwoReferences",
            R"({"films": [{"file": "a", "role": "reference"}, {"file": "b", "role": "reference"}]})",
            "films[1] is a second reference film", "films[0]"},
        WrongRow{"View", film(R"("view": "AXIAL")"), R"(films[1].view is "AXIAL")",
                 "AP, PA, LAT or OTHER"},
        WrongRow{"Back", film(R"("back": "posterior")"), R"(films[1].back is "posterior")",
                 "left or right"},
        WrongRow{"Exclude", film(R"("exclude": "yes")"), "films[1].exclude", "true or false"},
        WrongRow{"PointOfThree", film(R"("landmarks_px": {"stem_tip": [1, 2, 3]})"),
                 "films[1].landmarks_px.stem_tip is a list of 3", "[column, row]"},
        WrongRow{"PointOfText", film(R"("landmarks_px": {"stem_tip": [1, "2"]})"),
                 R"(films[1].landmarks_px.stem_tip[1] is "2")", "number"},
        WrongRow{"PointNegative", film(R"("landmarks_px": {"stem_tip": [-7, 2]})"),
                 "stem_tip[0] is -7", "number"},
        WrongRow{"AxisOfOnePlace", film(R"("landmarks_px": {"stem_axis": [[5, 5], [5, 5]]})"),
                 "two points at the same place", "far apart"},
        WrongRow{"AxisIsPoint", film(R"("landmarks_px": {"shaft_axis": [5, 5]})"),
                 "shaft_axis[0] is 5, not a point", "[column, row]"},
        WrongRow{"MarkerHalf", film(R"("marker_px": {"centre": [5, 5]})"),
                 "films[1].marker_px is not complete", "diameter"},
        WrongRow{"ScaleInCentimetres", film(R"("mm_per_px": 0.001)"), "films[1].mm_per_px is 0.001",
                 "from 0.01 to 2"},
        WrongRow{"MarksNoList", film(R"("zone_marks": {})"), "films[1].zone_marks is no list",
                 "one mark"},
        WrongRow{"MarkHalf", film(R"("zone_marks": [{"zone": 2}])"),
                 "films[1].zone_marks[0] is not complete", "marked_at"},
        WrongRow{
            "MarkOpinion",
            film(
                R"("zone_marks": [{"zone": 2, "interface": "stem_bone", "opinion": "yes", "program": "absent", "reader": "R1", "marked_at": "2026-01-31T09:30:00Z"}])"),
            "films[1].zone_marks[0].opinion", "agree, disagree or cannot_tell"},
        WrongRow{
            "MarkZone",
            film(
                R"("zone_marks": [{"zone": 15, "interface": "stem_bone", "opinion": "agree", "program": "absent", "reader": "R1", "marked_at": "2026-01-31T09:30:00Z"}])"),
            "films[1].zone_marks[0].zone is 15", "from 1 to 14"},
        WrongRow{
            "MarkTime",
            film(
                R"("zone_marks": [{"zone": 2, "interface": "stem_bone", "opinion": "agree", "program": "absent", "reader": "R1", "marked_at": "2026-02-30T09:30:00Z"}])"),
            "not a time", "UTC"},
        WrongRow{
            "MarkTwice",
            film(
                R"("zone_marks": [{"zone": 2, "interface": "stem_bone", "opinion": "agree", "program": "absent", "reader": "R1", "marked_at": "2026-01-31T09:30:00Z"}, {"zone": 2, "interface": "stem_bone", "opinion": "agree", "program": "absent", "reader": "R1", "marked_at": "2026-01-31T09:30:00Z"}])"),
            "films[1].zone_marks[1] is a second mark", "keep the last"},
        WrongRow{"ScaleHalf", film(R"("mm_per_px": {"value": 0.1})"),
                 "films[1].mm_per_px is not complete", "standard uncertainty"}),
    [](const auto& row) { return row.param.name; });

TEST(Sheet, MarksOfReadersArrive) {
  const auto series = parse_sheet(film(R"("zone_marks": [{"zone": 5, "interface": "cement_bone",
      "opinion": "disagree", "program": "present", "reader": "R1",
      "marked_at": "2026-01-31T09:30:00Z"}])"),
                                  "series.json", ".");
  ASSERT_TRUE(series) << series.error().sentence();
  ASSERT_EQ(series->films[1].zone_marks.size(), 1U);
  const ZoneMark& mark = series->films[1].zone_marks.front();
  EXPECT_EQ(mark.zone, 5);
  EXPECT_EQ(mark.interface, lucency::Interface::kCementBone);
  EXPECT_EQ(mark.reader, "R1");
  EXPECT_EQ(state_of(mark), lucency::State::kAbsent) << "who disagrees with a line sees none";
}

TEST(Sheet, DeepNestingIsRefusedNotACrash) {
  const std::string deep(200000, '[');
  EXPECT_FALSE(parse_sheet(deep, "series.json", ".").has_value());
}

TEST(Sheet, SaysHowACementedStemCarriesItsLoad) {
  const auto fixation = [](const std::string& word) {
    return parse_sheet(R"({"stem": {"fixation": ")" + word + R"("}, "films": [{"file": "a.png"}]})",
                       "series.json", "");
  };
  EXPECT_EQ(fixation("cemented_polished_taper")->stem.fixation, Fixation::kCemented);
  EXPECT_EQ(fixation("cemented_polished_taper")->stem.cement_principle,
            CementPrinciple::kPolishedTaper);
  EXPECT_EQ(fixation("cemented_composite_beam")->stem.cement_principle,
            CementPrinciple::kCompositeBeam);
  EXPECT_EQ(fixation("cemented")->stem.cement_principle, std::nullopt);
  EXPECT_EQ(fixation("uncemented")->stem.cement_principle, std::nullopt);
}

}  // namespace
}  // namespace tidemark::followup
