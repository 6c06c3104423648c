#include "tidemark/view/review.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <fstream>
#include <thread>
#include <vector>

#include "scratch.h"
#include "tidemark/core/files.h"

// What is expected follows from docs/series-format.md and from the contract in review.h.

namespace tidemark::view {
namespace {

using ::testing::HasSubstr;
using ::testing::SizeIs;

constexpr const char* kSheet = R"({
  "hip": "H-1",
  "films": [
    {"file": "a.png", "role": "reference"},
    {"file": "b.png", "landmarks_px": {"stem_tip": [10.0, 20.0]}}
  ]
})";

class Reviews : public ::testing::Test {
 protected:
  Reviews() {
    std::filesystem::create_directory(films());
    std::ofstream(films() / "series.json") << kSheet;
  }
  [[nodiscard]] std::filesystem::path films() const { return scratch_ / "films"; }
  [[nodiscard]] std::filesystem::path journals() const { return scratch_ / "journals"; }
  [[nodiscard]] Review opened() const {
    return std::move(Review::open(films(), journals()).value());
  }
  [[nodiscard]] std::filesystem::path journal() const {
    return std::filesystem::directory_iterator(journals())->path();
  }
  [[nodiscard]] std::string on_disk() const { return read_text(films() / "series.json").value(); }
  [[nodiscard]] Sheet with_lt(const Review& review, double x) const {
    return with_point(review.sheet(), 1, Point::kLesserTrochanter, Vec2(x, 7.25));
  }

 private:
  test::Scratch scratch_;
};

TEST_F(Reviews, CorrectsUndoesAndRedoes) {
  Review review = opened();
  EXPECT_FALSE(review.unsaved());
  ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
  ASSERT_TRUE(review.correct("second", with_lt(review, 2.0)));
  const auto series = review.series().value();
  EXPECT_EQ(series.films[1].landmarks_in_stored_px.lesser_trochanter_px, Vec2(2.0, 7.25));
  EXPECT_EQ(series.films[1].landmarks_in_stored_px.stem_tip_px, Vec2(10.0, 20.0));
  EXPECT_EQ(review.undo().value(), "second");
  EXPECT_EQ(review.undo().value(), "first");
  EXPECT_EQ(review.undo().value(), std::nullopt);
  EXPECT_FALSE(review.unsaved());
  EXPECT_EQ(review.sheet(), Sheet::parse(kSheet));
  EXPECT_EQ(review.redo().value(), "first");
  EXPECT_EQ(review.series()->films[1].landmarks_in_stored_px.lesser_trochanter_px, Vec2(1.0, 7.25));
  ASSERT_TRUE(review.correct("third", with_lt(review, 3.0)));
  EXPECT_EQ(review.redo().value(), std::nullopt) << "a new correction ends what could be redone";
}

TEST_F(Reviews, RefusesWhatTheSheetMayNotHold) {
  Review review = opened();
  const auto done = review.correct("too far", with_lt(review, -100.0));
  ASSERT_FALSE(done);
  EXPECT_THAT(done.error().sentence(), HasSubstr("lesser_trochanter"));
  EXPECT_THAT(review.steps(), SizeIs(0));
}

TEST_F(Reviews, WritesTheSheetOnSavingOnly) {
  Review review = opened();
  ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
  EXPECT_EQ(on_disk(), kSheet);
  ASSERT_TRUE(review.save());
  EXPECT_FALSE(review.unsaved());
  EXPECT_EQ(Sheet::parse(on_disk()), review.sheet());
  EXPECT_EQ(review.undo().value(), "first") << "undo goes on beyond saving";
  EXPECT_TRUE(review.unsaved());
}

TEST_F(Reviews, RefusesToOverwriteWhatSomeoneElseWrote) {
  Review review = opened();
  ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
  std::ofstream(films() / "series.json") << R"({"films": [{"file": "c.png"}]})";
  const auto saved = review.save();
  ASSERT_FALSE(saved);
  EXPECT_THAT(saved.error().sentence(), HasSubstr("changed by someone else"));
  EXPECT_THAT(on_disk(), HasSubstr("c.png"));
}

TEST_F(Reviews, SurvivesAKill) {
  const pid_t child = ::fork();
  if (child == 0) {
    Review review = opened();
    for (int i = 1; i <= 40; ++i) {
      if (!review.correct("step " + std::to_string(i), with_lt(review, i))) ::_exit(1);
    }
    if (!review.undo()) ::_exit(1);
    ::kill(::getpid(), SIGKILL);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
  Review review = opened();
  EXPECT_EQ(review.recovered(), 41U);
  EXPECT_TRUE(review.unsaved());
  EXPECT_EQ(review.series()->films[1].landmarks_in_stored_px.lesser_trochanter_px,
            Vec2(39.0, 7.25));
  EXPECT_EQ(review.undo().value(), "undone: step 40");
  EXPECT_EQ(review.undo().value(), "step 40");
  EXPECT_EQ(review.undo().value(), "step 39");
}

TEST_F(Reviews, TakesNoTornLineAndNoStepsOfAnotherSheet) {
  {
    Review review = opened();
    ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
    ASSERT_TRUE(review.correct("second", with_lt(review, 2.0)));
  }
  for (const auto& file : std::filesystem::directory_iterator(journals())) {
    std::filesystem::resize_file(file.path(), std::filesystem::file_size(file.path()) - 5);
  }
  { EXPECT_EQ(opened().recovered(), 1U); }
  std::ofstream(films() / "series.json") << R"({"films": [{"file": "c.png"}]})";
  const Review other = opened();
  EXPECT_EQ(other.recovered(), 0U);
  EXPECT_THAT(other.note(), HasSubstr("put aside"));
}

TEST_F(Reviews, GoesOnAfterATornLine) {
  {
    Review review = opened();
    ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
    ASSERT_TRUE(review.correct("second", with_lt(review, 2.0)));
  }
  std::filesystem::resize_file(journal(), std::filesystem::file_size(journal()) - 5);
  {
    Review review = opened();
    ASSERT_TRUE(review.correct("third", with_lt(review, 3.0)));
    ASSERT_TRUE(review.correct("fourth", with_lt(review, 4.0)));
  }
  const Review review = opened();
  ASSERT_EQ(review.recovered(), 3U);
  EXPECT_EQ(review.steps()[1].told, "third");
  EXPECT_EQ(review.sheet(), with_lt(review, 4.0));
}

TEST_F(Reviews, PassesOverALineThatCannotBeRead) {
  {
    Review review = opened();
    ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
    const Sheet third{{"told", "third"}, {"sheet", with_lt(review, 3.0)}};
    std::ofstream(journal(), std::ios::app) << "{\"told\": \"se\n" << third.dump() << "\n";
  }
  Review review = opened();
  EXPECT_EQ(review.recovered(), 2U);
  EXPECT_EQ(review.undo().value(), "third");
}

/// No file may grow beyond so many bytes: what a full disk does.
class FullDisk {
 public:
  explicit FullDisk(std::uintmax_t bytes) : before_(std::signal(SIGXFSZ, SIG_IGN)) {
    ::getrlimit(RLIMIT_FSIZE, &limit_);
    const rlimit low{bytes, limit_.rlim_max};
    ::setrlimit(RLIMIT_FSIZE, &low);
  }
  FullDisk(const FullDisk&) = delete;
  FullDisk& operator=(const FullDisk&) = delete;
  ~FullDisk() {
    ::setrlimit(RLIMIT_FSIZE, &limit_);
    std::signal(SIGXFSZ, before_);
  }

 private:
  void (*before_)(int);
  rlimit limit_{};
};

TEST_F(Reviews, LosesNoLaterStepToOneThatTheDiskHadNoRoomFor) {
  {
    Review review = opened();
    ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
    Expected<void> second;
    {
      const FullDisk full(std::filesystem::file_size(journal()) + 10);
      second = review.correct("second", with_lt(review, 2.0));
    }
    ASSERT_FALSE(second);
    EXPECT_EQ(second.error().kind, ErrorKind::kNotWritable);
    ASSERT_TRUE(review.correct("third", with_lt(review, 3.0)));
    ASSERT_TRUE(review.correct("fourth", with_lt(review, 4.0)));
  }
  Review review = opened();
  EXPECT_EQ(review.recovered(), 3U);
  EXPECT_EQ(review.undo().value(), "fourth");
  EXPECT_EQ(review.undo().value(), "third");
  EXPECT_EQ(review.undo().value(), "first");
}

// Corrections go to films by their place in the list: c.png may not become the third of three.
TEST_F(Reviews, KeepsItsFilmsWhenAnotherIsPutIntoTheFolder) {
  std::filesystem::remove(films() / "series.json");
  for (const char* file : {"a.png", "c.png"}) std::ofstream(films() / file) << "1";
  Review review = opened();
  EXPECT_THAT(review.films_added(), SizeIs(0));
  std::ofstream(films() / "b.png") << "1";
  const auto names = [](const followup::Series& series) {
    std::vector<std::string> out;
    for (const auto& film : series.films) out.push_back(film.file);
    return out;
  };
  const std::vector<std::string> before{"a.png", "c.png"};
  EXPECT_EQ(names(review.series().value()), before);
  ASSERT_TRUE(review.correct("tip", with_point(review.sheet(), 1, Point::kStemTip, Vec2(1, 2))));
  EXPECT_EQ(names(review.series().value()), before);
  EXPECT_TRUE(review.series()->films[1].landmarks_in_stored_px.stem_tip_px);
  ASSERT_TRUE(review.undo());
  EXPECT_EQ(names(review.series().value()), before) << "back at the start as well";
  EXPECT_EQ(review.films_added(), std::vector<std::string>{"b.png"});
}

TEST_F(Reviews, EachChoiceOfFilmsOfAFolderHasItsOwnSteps) {
  std::filesystem::remove(films() / "series.json");
  for (const char* file : {"a.png", "b.png", "c.png", "d.png"})
    std::ofstream(films() / file) << "1";
  const auto opened_with = [this](const std::vector<std::string>& files) {
    return std::move(Review::open(films(), journals(), files).value());
  };
  const auto names = [](const Review& review) {
    std::vector<std::string> out;
    const auto series = review.series().value();
    for (const auto& film : series.films) out.push_back(film.file);
    return out;
  };
  const std::vector<std::string> first{"a.png", "b.png"};
  const std::vector<std::string> second{"c.png", "d.png"};
  {
    Review review = opened_with(first);
    EXPECT_EQ(names(review), first);
    EXPECT_FALSE(review.unsaved());
    EXPECT_FALSE(review.series()->sheet_sha256) << "no such file";
    ASSERT_TRUE(review.correct("tip", with_point(review.sheet(), 1, Point::kStemTip, Vec2(1, 2))));
  }
  {
    Review review = opened_with(second);
    EXPECT_EQ(review.recovered(), 0U);
    EXPECT_EQ(names(review), second);
  }
  EXPECT_EQ(names(opened()).size(), 4U);
  Review review = opened_with(first);
  EXPECT_EQ(review.recovered(), 1U);
  EXPECT_EQ(names(review), first);
  ASSERT_TRUE(review.save());
  EXPECT_EQ(names(review), first);
  const auto other = Review::open(films(), journals(), second);
  ASSERT_FALSE(other);
  EXPECT_THAT(other.error().sentence(), HasSubstr("lists other films"));
}

TEST_F(Reviews, AllFilmsOfAFolderAreTheFolder) {
  std::filesystem::remove(films() / "series.json");
  for (const char* file : {"a.png", "b.png"}) std::ofstream(films() / file) << "1";
  const Review review = std::move(Review::open(films(), journals(), {"b.png", "a.png"}).value());
  EXPECT_THAT(review.chosen_files(), SizeIs(0));
  EXPECT_FALSE(Review::open(films(), journals())) << "open in another window";
}

TEST_F(Reviews, SaysThatTheJournalDoesNotHoldWhatWasTakenBack) {
  Review review = opened();
  ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
  {
    const FullDisk full(std::filesystem::file_size(journal()) + 10);
    const auto undone = review.undo();
    ASSERT_FALSE(undone) << "after a crash the correction would be in force again";
    EXPECT_EQ(undone.error().kind, ErrorKind::kNotWritable);
    EXPECT_EQ(review.done(), 0U) << "taken back nevertheless";
    EXPECT_FALSE(review.redo());
    EXPECT_EQ(review.done(), 1U);
  }
  EXPECT_EQ(review.undo().value(), "first");
}

TEST_F(Reviews, PutsAsideStepsThatTheseFilmsCannotHold) {
  Sheet far;
  {
    Review review = opened();
    ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
    far = with_lt(review, -100.0);
    std::ofstream(journal(), std::ios::app)
        << Sheet({{"told", "of another version"}, {"sheet", far}}).dump() << "\n";
  }
  const auto file = journal();
  const Review review = opened();
  EXPECT_EQ(review.recovered(), 1U);
  EXPECT_THAT(review.note(), HasSubstr(file.string() + ".old-1"));
  EXPECT_THAT(read_text(file.string() + ".old-1").value(), HasSubstr("of another version"));
}

TEST_F(Reviews, EmptiesNoJournalThatItCannotPutAside) {
  {
    Review review = opened();
    for (int i = 1; i < 10; ++i) {
      ASSERT_TRUE(review.correct("step " + std::to_string(i), with_lt(review, i)));
    }
  }
  const auto file = journal();
  const auto before = read_text(file).value();
  std::ofstream(films() / "series.json") << R"({"films": [{"file": "c.png"}]})";
  {
    const FullDisk full(100);
    const auto other = Review::open(films(), journals());
    ASSERT_FALSE(other);
    EXPECT_EQ(other.error().kind, ErrorKind::kNotWritable);
  }
  EXPECT_EQ(read_text(file).value(), before);
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(journals()), {}), 1);
  EXPECT_THAT(opened().note(), HasSubstr("put aside in " + file.string() + ".old-1"));
}

TEST_F(Reviews, OpensInOneWindowOnly) {
  const Review review = opened();
  const auto second = Review::open(films(), journals());
  ASSERT_FALSE(second);
  EXPECT_THAT(second.error().sentence(), HasSubstr("open in another window"));
}

// One window closes, and takes its journal with it, while others open it.
TEST_F(Reviews, IsNeverHeldTwiceWhateverIsClosedMeanwhile) {
  std::atomic<int> holders{0};
  std::atomic<bool> twice{false};
  const auto opens_and_closes = [&] {
    for (int i = 0; i < 500 && !twice; ++i) {
      const auto review = Review::open(films(), journals());
      if (!review) continue;
      if (++holders > 1) twice = true;
      std::this_thread::yield();
      --holders;
    }
  };
  constexpr int kWindows = 8;
  std::vector<std::thread> windows;
  windows.reserve(kWindows);
  for (int i = 0; i < kWindows; ++i) windows.emplace_back(opens_and_closes);
  for (std::thread& window : windows) window.join();
  EXPECT_FALSE(twice);
}

TEST_F(Reviews, NamesFilmsThatTheSheetDoesNotList) {
  std::ofstream(films() / "c.png") << "x";
  const Review review = opened();
  EXPECT_THAT(review.films_not_listed(), ::testing::ElementsAre("c.png"));
  EXPECT_THAT(review.series()->not_listed, ::testing::ElementsAre("c.png"));
}

TEST_F(Reviews, RefusesAFilmWhoseNameNoSheetCanHold) {
  std::filesystem::remove(films() / "series.json");
  std::ofstream(films() / "caf\u00e9.png") << "1";
  std::ofstream(films() / "x\xFC-\xE2\x82.png") << "2";
  const auto refused = Review::open(films(), journals());
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(
      refused.error().sentence(),
      "x\\xFC-\\xE2\\x82.png: the name of this file is not UTF-8, so that no correction could "
      "be saved with it; rename the file");
  std::filesystem::remove(films() / "x\xFC-\xE2\x82.png");
  Review review = opened();
  const auto chosen = review.correct("other films", sheet_of({"x\xFC.png"}));
  ASSERT_FALSE(chosen);
  EXPECT_THAT(chosen.error().sentence(), HasSubstr("x\\xFC.png"));
  ASSERT_TRUE(review.correct("first", with_point(review.sheet(), 0, Point::kStemTip, Vec2(1, 2))));
  ASSERT_TRUE(review.save());
  EXPECT_EQ(review.series()->films[0].file, "caf\u00e9.png");
}

TEST_F(Reviews, LeavesNoJournalWhenNothingIsUnsaved) {
  {
    Review review = opened();
    ASSERT_TRUE(review.correct("first", with_lt(review, 1.0)));
    ASSERT_TRUE(review.undo());
  }
  EXPECT_TRUE(std::filesystem::is_empty(journals()));
}

TEST(Sheets, SetAndTakeOutOneValue) {
  const Sheet sheet = Sheet::parse(kSheet);
  EXPECT_EQ(with_point(with_point(sheet, 0, Point::kStemTip, Vec2(1, 2)), 0, Point::kStemTip, {}),
            sheet);
  EXPECT_EQ(with_head(with_head(sheet, 0, Circle2{{5, 6}, 7.0}), 0, {}), sheet);
  EXPECT_EQ(with_head_diameter(with_head_diameter(sheet, Millimetres{32}), {}), sheet);
  EXPECT_EQ(with_use(with_use(sheet, 1, Use::kExcluded), 1, Use::kMeasured), sheet);
  EXPECT_EQ(with_side(with_side(sheet, Side::kLeft), {}), sheet);
  const Sheet dated = with_date_kept(sheet, 1, parse_date("2024-03-01"));
  EXPECT_EQ(dated["films"][1]["date"], "2024-03-01");
  EXPECT_EQ(with_date_kept(dated, 1, parse_date("2025-01-01")), dated) << "the sheet's own stays";
  const auto series =
      followup::parse_sheet(text_of(with_head(with_reference(sheet, 1), 0, Circle2{{5, 6}, 7.0})),
                            "series.json", "")
          .value();
  EXPECT_EQ(series.films[0].role, followup::Role::kFollowUp);
  EXPECT_EQ(series.films[1].role, followup::Role::kReference);
  EXPECT_EQ(series.films[0].landmarks_in_stored_px.head_diameter_px, 14.0);
  EXPECT_EQ(series.films[0].landmarks_in_stored_px.head_centre_px, Vec2(5, 6));
  EXPECT_EQ(with_axis(sheet, 1, Axis::kShaft,
                      AxisEnds{{1, 2}, {3, 44}})["films"][1]["landmarks_px"]["shaft_axis"],
            Sheet::parse("[[1.0,2.0],[3.0,44.0]]"));
}

TEST(Sheets, KeepOneMarkOfAReaderOnAPlace) {
  const Sheet sheet = Sheet::parse(kSheet);
  followup::ZoneMark mark{3,    lucency::Interface::kStemBone, followup::Opinion::kDisagree, {},
                          "R1", "2026-01-31T09:30:00Z"};
  Sheet marked = with_zone_mark(sheet, 1, mark);
  mark.opinion = followup::Opinion::kAgree;
  marked = with_zone_mark(marked, 1, mark);
  auto other = mark;
  other.reader = "R2";
  marked = with_zone_mark(marked, 1, other);
  const auto series = followup::parse_sheet(text_of(marked), "series.json", "").value();
  ASSERT_EQ(series.films[1].zone_marks.size(), 2U);
  EXPECT_EQ(series.films[1].zone_marks[0].opinion, followup::Opinion::kAgree);
  EXPECT_EQ(series.films[1].zone_marks[1].reader, "R2");
  EXPECT_EQ(without_zone_mark(without_zone_mark(marked, 1, mark), 1, other), sheet);
}

}  // namespace
}  // namespace tidemark::view
