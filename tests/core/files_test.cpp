#include "tidemark/core/files.h"

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <fstream>
#include <iterator>
#include <string>

#include "scratch.h"

namespace tidemark {
namespace {

namespace fs = std::filesystem;

std::string content(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::vector<std::string> names_in(const fs::path& folder) {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(folder)) {
    names.push_back(entry.path().filename().string());
  }
  std::sort(names.begin(), names.end());
  return names;
}

class Files : public testing::Test {
 protected:
  test::Scratch scratch_;
  const fs::path& folder_ = scratch_.path();
};

TEST_F(Files, WhatWasWrittenIsReadBack) {
  std::vector<std::byte> bytes(70'000);
  for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<std::byte>(i * 31 % 251);
  ASSERT_TRUE(write_file_atomically(folder_ / "a.bin", bytes).has_value());
  const auto back = read_file(folder_ / "a.bin");
  ASSERT_TRUE(back.has_value()) << back.error().sentence();
  EXPECT_EQ(*back, bytes);
}

TEST_F(Files, AnOldFileIsReplacedAndNothingElseIsLeft) {
  ASSERT_TRUE(write_file_atomically(folder_ / "r.json", "a longer first text").has_value());
  ASSERT_TRUE(write_file_atomically(folder_ / "r.json", "second").has_value());
  EXPECT_EQ(content(folder_ / "r.json"), "second");
  EXPECT_EQ(names_in(folder_), std::vector<std::string>{"r.json"});
}

// A killed run leaves its unfinished file; in a container the next run has the same process number.
TEST_F(Files, WhatAKilledRunLeftIsNotInTheWay) {
  for (int i = 0; i < 2000; ++i) {
    const std::string left = ".r.json." + std::to_string(::getpid()) + "-" + std::to_string(i);
    std::ofstream(folder_ / (left + ".tmp")) << "half";
  }
  const auto written = write_file_atomically(folder_ / "r.json", "whole");
  ASSERT_TRUE(written.has_value()) << written.error().sentence();
  EXPECT_EQ(content(folder_ / "r.json"), "whole");
}

TEST_F(Files, PermissionsFollowTheUsersMask) {
  const mode_t before = ::umask(022);
  const auto written = write_file_atomically(folder_ / "a", "x");
  ::umask(before);
  ASSERT_TRUE(written.has_value());
  EXPECT_EQ(fs::status(folder_ / "a").permissions(), static_cast<fs::perms>(0644));
}

TEST_F(Files, AMissingFolderIsNotWritable) {
  const auto written = write_file_atomically(folder_ / "none" / "r.json", "x");
  ASSERT_FALSE(written.has_value());
  EXPECT_EQ(written.error().kind, ErrorKind::kNotWritable);
  EXPECT_FALSE(written.error().remedy.empty());
}

TEST_F(Files, AFolderAsTargetIsRefusedAndLeftAlone) {
  fs::create_directory(folder_ / "r.json");
  const auto written = write_file_atomically(folder_ / "r.json", "x");
  ASSERT_FALSE(written.has_value());
  EXPECT_EQ(written.error().kind, ErrorKind::kNotWritable);
  EXPECT_EQ(names_in(folder_), std::vector<std::string>{"r.json"});
  EXPECT_TRUE(fs::is_directory(folder_ / "r.json"));
}

// A full disk is played by a limit on the size of the files of this process: write(2) then fails in
// the middle of the file.
TEST_F(Files, AWriteThatBreaksOffLeavesTheOldFileAndNothingElse) {
  ASSERT_TRUE(write_file_atomically(folder_ / "r.json", "old").has_value());
  ASSERT_NE(std::signal(SIGXFSZ, SIG_IGN), SIG_ERR);
  struct rlimit before {};
  ASSERT_EQ(::getrlimit(RLIMIT_FSIZE, &before), 0);
  struct rlimit small = before;
  small.rlim_cur = 1000;
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &small), 0);
  const auto written = write_file_atomically(folder_ / "r.json", std::string(5000, 'x'));
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &before), 0);
  ASSERT_FALSE(written.has_value());
  EXPECT_EQ(written.error().kind, ErrorKind::kNotWritable);
  EXPECT_EQ(content(folder_ / "r.json"), "old");
  EXPECT_EQ(names_in(folder_), std::vector<std::string>{"r.json"});
}

TEST_F(Files, AFileOverTheLimitIsNotRead) {
  ASSERT_TRUE(write_file_atomically(folder_ / "big", "12345").has_value());
  const auto refused = read_file(folder_ / "big", 4);
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(refused.error().subject, "big");
  EXPECT_TRUE(read_file(folder_ / "big", 5).has_value());
}

TEST_F(Files, AnEmptyFileIsEmpty) {
  ASSERT_TRUE(write_file_atomically(folder_ / "empty", "").has_value());
  const auto bytes = read_file(folder_ / "empty");
  ASSERT_TRUE(bytes.has_value());
  EXPECT_TRUE(bytes->empty());
}

TEST_F(Files, WhatIsNoFileIsRefusedWithoutWaiting) {
  ASSERT_EQ(::mkfifo((folder_ / "pipe").c_str(), 0600), 0);
  for (const fs::path& path : {folder_ / "missing", folder_, folder_ / "pipe"}) {
    const auto bytes = read_file(path);
    ASSERT_FALSE(bytes.has_value()) << path;
    EXPECT_EQ(bytes.error().kind, ErrorKind::kBadInput);
    EXPECT_EQ(bytes.error().sentence().find(folder_.parent_path().string() + "/"),
              std::string::npos)
        << "the sentence must not show the folder";
  }
}

}  // namespace
}  // namespace tidemark
