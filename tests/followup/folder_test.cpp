#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <string>

#include "scratch.h"
#include "tidemark/followup/series.h"

namespace tidemark::followup {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

/// A folder of its own for each test.
class Folder : public testing::Test {
 protected:
  void write(const std::string& name, const std::string& bytes) const {
    std::ofstream(folder_ / name, std::ios::binary) << bytes;
  }
  [[nodiscard]] const fs::path& folder() const { return folder_.path(); }

 private:
  test::Scratch folder_;
};

TEST_F(Folder, WithoutSheetTakesEveryFilmByName) {
  const std::string dicom = std::string(128, '\0') + "DICM";
  write("b.dcm", "x");
  write("a.PNG", "x");
  write("IM0001", dicom);    // DICOM without a suffix
  write("DICOMDIR", dicom);  // index of a medium, no film
  write("readme.txt", "hello");
  write("short", "DICM");  // a film that lost all but its first bytes, for all one can tell
  write(".hidden.png", "x");
  fs::create_directory(folder() / "folder.dcm");
  const auto series = load_series(folder(), {});
  ASSERT_TRUE(series.has_value()) << series.error().sentence();
  std::vector<std::string> names;
  for (const auto& film : series->films) names.push_back(film.file);
  EXPECT_THAT(names, testing::ElementsAre("IM0001", "a.PNG", "b.dcm", "short"));
  EXPECT_FALSE(series->hip.has_value());
  EXPECT_FALSE(series->sheet_sha256.has_value());
}

TEST_F(Folder, FilmsThatTheSheetDoesNotListAreNamed) {
  const auto left_out = [&](const std::string& films) {
    write("series.json", R"({"films": [)" + films + "]}");
    return load_series(folder(), {}).value().not_listed;
  };
  for (const char* file : {"a.dcm", "b.dcm", "c.png", "readme.txt", ".hidden.dcm"})
    write(file, "x");
  EXPECT_THAT(left_out(R"({"file": "a.dcm"})"), testing::ElementsAre("b.dcm"))
      << "a picture beside DICOM may show anything";
  EXPECT_THAT(left_out(R"({"file": "./a.dcm"}, {"file": "b.dcm", "exclude": true})"),
              testing::IsEmpty());
  write("d.png", "x");
  EXPECT_THAT(left_out(R"({"file": "c.png"})"), testing::ElementsAre("a.dcm", "b.dcm", "d.png"));
}

// Left out without a word, each of these once left the reference to the next film by date.
TEST_F(Folder, WhatMayBeAFilmIsEnteredThoughItCannotBeReadHere) {
  write("IM0001", std::string("\x08\0\x16\0UI\x04\0", 8) + "1.2.");  // no preamble
  write("notes", "hello");
  write("z.png", "x");
  fs::create_symlink(folder() / "gone", folder() / "IM0002");
  fs::create_symlink(folder() / "IM0003", folder() / "IM0003");  // leads to itself
  fs::create_directory(folder() / "old");
  fs::create_symlink(folder() / "old", folder() / "link");
  const auto series = load_series(folder(), {});
  ASSERT_TRUE(series.has_value()) << series.error().sentence();
  std::vector<std::string> names;
  for (const auto& film : series->films) names.push_back(film.file);
  EXPECT_THAT(names, testing::ElementsAre("IM0001", "IM0002", "IM0003", "z.png"));
}

TEST_F(Folder, ABrokenLinkOfASheetIsNoMissingSheet) {
  write("film.png", "x");
  fs::create_symlink(folder() / "gone", folder() / "series.json");
  EXPECT_FALSE(load_series(folder(), {}).has_value());
}

TEST_F(Folder, AFilmThatMayNotBeReadIsEntered) {
  write("IM0001", "x");
  write("z.png", "x");
  fs::permissions(folder() / "IM0001", fs::perms::none);
  if (std::ifstream(folder() / "IM0001")) GTEST_SKIP() << "root may read everything";
  const auto series = load_series(folder(), {});
  ASSERT_TRUE(series.has_value());
  EXPECT_EQ(series->films.size(), 2U);
}

TEST_F(Folder, SheetIsReadAndOverridesReplaceIt) {
  write("series.json",
        R"({"side": "R", "stem": {"head_diameter_mm": 28}, "films": [{"file": "x.dcm"}]})");
  const auto plain = load_series(folder(), {});
  ASSERT_TRUE(plain.has_value());
  EXPECT_EQ(plain->side, Side::kRight);
  EXPECT_EQ(plain->films[0].path, folder() / "x.dcm");
  const auto stated = load_series(
      folder(),
      {.side = Side::kLeft, .head_diameter = Millimetres{36.0}, .stem_length = Millimetres{150.0}});
  ASSERT_TRUE(stated.has_value());
  EXPECT_EQ(stated->side, Side::kLeft);
  EXPECT_EQ(stated->stem.head_diameter, Millimetres{36.0});
  EXPECT_EQ(stated->stem.length, Millimetres{150.0});
}

TEST_F(Folder, RefusalsSayWhatToDo) {
  const auto missing = load_series(folder() / "none", {});
  ASSERT_FALSE(missing.has_value());
  EXPECT_EQ(missing.error().kind, ErrorKind::kBadInput);
  EXPECT_THAT(missing.error().wrong, HasSubstr("no such folder"));

  const auto empty = load_series(folder(), {});
  ASSERT_FALSE(empty.has_value());
  EXPECT_EQ(empty.error().kind, ErrorKind::kBadInput);
  EXPECT_THAT(empty.error().wrong, HasSubstr("no film"));

  write("film.png", "x");
  const auto file = load_series(folder() / "film.png", {});
  ASSERT_FALSE(file.has_value());
  EXPECT_THAT(file.error().remedy, HasSubstr("tidemark film"));

  const auto as_film = series_of_film(folder(), {});
  ASSERT_FALSE(as_film.has_value());
  EXPECT_THAT(as_film.error().remedy, HasSubstr("tidemark measure"));

  EXPECT_FALSE(series_of_film(folder() / "none.png", {}).has_value());
}

TEST_F(Folder, OverridesOutOfRangeAreWrongUsage) {
  write("film.png", "x");
  for (const double wrong : {0.0, -32.0, 3.2, 320.0, std::nan(""), HUGE_VAL}) {
    const auto series =
        load_series(folder(), {.side = {}, .head_diameter = Millimetres{wrong}, .stem_length = {}});
    ASSERT_FALSE(series.has_value()) << wrong;
    EXPECT_EQ(series.error().kind, ErrorKind::kUsage);
    EXPECT_EQ(series.error().subject, "--head-diameter");
  }
}

TEST_F(Folder, OneFilmIsItsOwnReference) {
  write("film.png", "x");
  const auto series = series_of_film(folder() / "film.png", {});
  ASSERT_TRUE(series.has_value());
  ASSERT_EQ(series->films.size(), 1U);
  EXPECT_EQ(series->films[0].file, "film.png");
  EXPECT_EQ(series->films[0].role, Role::kReference);
}

}  // namespace
}  // namespace tidemark::followup
