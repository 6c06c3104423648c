#include "tidemark/archive/objects.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <string_view>

#include "scratch.h"
#include "tidemark/core/files.h"

namespace tidemark::archive {
namespace {

namespace fs = std::filesystem;

class ObjectsTest : public testing::Test {
 protected:
  void put(const fs::path& file, std::string_view text) {
    ASSERT_TRUE(write_file_atomically(folder / file, text));
  }
  test::Scratch scratch;
  const fs::path folder = scratch.path();
};

TEST_F(ObjectsTest, AFilmThatIsNotTheOneThatWasMeasuredIsRefused) {
  put("film.dcm", "not what it was");
  followup::Series series;
  followup::FilmEntry entry;
  entry.file = "film.dcm";
  entry.path = folder / "film.dcm";
  series.films.push_back(entry);
  followup::Result result;
  followup::FilmResult film;
  film.file = "film.dcm";
  film.sha256 = std::string(64, '0');
  film.status = followup::Status::kMeasured;
  result.films.push_back(film);
  const auto made = make_objects(result, series);
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().kind, ErrorKind::kBadInput);
  EXPECT_NE(made.error().sentence().find("film.dcm: the file has changed"), std::string::npos);
}

TEST_F(ObjectsTest, RemovesItsOwnFilesOnly) {
  fs::create_directories(folder / kFolder);
  for (const char* name : {"report.dcm", "presentation-00.dcm", "pair-01.dcm", "pair-100.dcm"}) {
    put(fs::path(kFolder) / name, "old");
  }
  for (const char* name : {"myreport.dcm", "pair-1.dcm", "film.dcm"}) {
    put(fs::path(kFolder) / name, "mine");
  }
  ASSERT_TRUE(remove_objects(folder));
  std::size_t left = 0;
  for (const auto& entry : fs::directory_iterator(folder / kFolder)) {
    EXPECT_EQ(read_file(entry.path())->size(), 4U) << entry.path();
    ++left;
  }
  EXPECT_EQ(left, 3U);
  EXPECT_TRUE(remove_objects(folder / "no such folder"));
}

TEST_F(ObjectsTest, LeavesNoneWhenOneCannotBeWritten) {
  fs::create_directories(folder / kFolder / "pair-01.dcm");  // a folder is in the way
  Objects objects;
  for (const char* name : {"presentation-00.dcm", "pair-01.dcm", "report.dcm"}) {
    objects.objects.push_back({name, {std::byte{1}}});
  }
  const auto written = write_objects(objects, folder);
  ASSERT_FALSE(written);
  EXPECT_EQ(written.error().kind, ErrorKind::kNotWritable);
  EXPECT_FALSE(fs::exists(folder / kFolder / "presentation-00.dcm"));
  EXPECT_FALSE(fs::exists(folder / kFolder / "report.dcm"));
}

}  // namespace
}  // namespace tidemark::archive
