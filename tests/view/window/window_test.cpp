#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <QAction>
#include <QApplication>
#include <QComboBox>
#include <QDialog>
#include <QDoubleSpinBox>
#include <QElapsedTimer>
#include <QInputDialog>
#include <QLabel>
#include <QListWidget>
#include <QMenu>
#include <QMenuBar>
#include <QMessageBox>
#include <QMouseEvent>
#include <QPushButton>
#include <QTabWidget>
#include <QTableWidget>
#include <QTest>
#include <QTextBrowser>
#include <QTimer>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <functional>
#include <nlohmann/json.hpp>
#include <random>
#include <set>
#include <stdexcept>
#include <thread>

#include "comma_locale.h"
#include "review_window.h"
#include "scratch.h"
#include "tidemark/core/files.h"
#include "tidemark/film/field.h"
#include "tidemark/followup/history.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/write.h"

// The real window on the films of the command line's tests (TIDEMARK_FILMS). What numbers it must
// show comes from followup::measure on the saved sheet, which is what `tidemark measure` prints.
// TIDEMARK_SCREENSHOTS=DIR keeps pictures of what was seen.

namespace tidemark::view {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

class Window : public ::testing::Test {
 protected:
  void SetUp() override {
    const QString other = qEnvironmentVariable("TIDEMARK_OTHER_FILMS");  // for pictures
    const std::filesystem::path from = other.isEmpty() ? TIDEMARK_FILMS : other.toStdString();
    std::filesystem::create_directory(folder());
    for (const auto& file : std::filesystem::directory_iterator(from)) {
      const auto to = folder() / file.path().filename();
      if (file.path().filename() == "series.json") {
        std::filesystem::copy_file(file.path(), to);
      } else if (file.path().extension() == ".dcm") {
        std::filesystem::create_symlink(file.path(), to);
      }
    }
    make();
  }

  [[nodiscard]] std::filesystem::path folder() const { return scratch_ / "hip"; }

  void make() {
    // What the steps said in an earlier test need not be worked out again.
    window_ = std::make_unique<ReviewWindow>(scratch_ / "journals", memory());
    window_->resize(1366, 740);
    window_->show();
    ASSERT_TRUE(QTest::qWaitForWindowExposed(window_.get()));
  }

  void TearDown() override { close(); }
  void close() {
    if (!window_) return;
    window_->cancel();
    QTest::qWait(1);
    memory() = window_->memory();
    window_ = nullptr;
  }
  static Measurer::Memory& memory() {
    static Measurer::Memory kept;
    return kept;
  }

  void open() {
    window_->open(folder());
    wait();
    if (window_->hip() == nullptr) throw std::runtime_error(window_->message().toStdString());
  }

  void wait() {
    constexpr int kMostMs = 400000;  // other work may have the machine
    if (!QTest::qWaitFor([this] { return !window_->busy(); }, kMostMs)) {
      throw std::runtime_error("the window is still busy");
    }
    QTest::qWait(20);
  }

  /// Picks a point of the follow-up film at the right and moves it distally by 40 steps.
  void move_down(std::size_t film, const char* pick) {
    trigger(pick);
    if (window_->picked()->film != film) trigger(pick);
    ASSERT_EQ(window_->picked()->film, film);
    window_->right()->setFocus();
    for (int i = 0; i < 4; ++i) QTest::keyClick(window_->right(), Qt::Key_Down, Qt::ShiftModifier);
    QTest::qWait(600);
    wait();
  }
  /// Moves a handle by ten steps to the right and down, and lets go of it at once.
  void nudge(FilmCanvas* canvas, const Handle& handle) {
    window_->pick(handle);
    QTest::keyClick(canvas, Qt::Key_Right, Qt::ShiftModifier);
    QTest::keyClick(canvas, Qt::Key_Down, Qt::ShiftModifier);
    window_->pick({});
  }
  /// landmarks_px of a film as the sheet has them now.
  [[nodiscard]] Sheet by_hand(std::size_t film) const {
    return window_->review()->sheet()["films"][film].value("landmarks_px", Sheet::object());
  }
  /// The letter that goes with Alt for this text, as a text; empty when it has none.
  [[nodiscard]] static QString letter_of(const QString& text) {
    const QKeySequence keys = QKeySequence::mnemonic(text);
    return keys.isEmpty() ? QString() : keys.toString().right(1);
  }
  [[nodiscard]] static bool each_once(const QString& letters) {
    return std::set<QChar>(letters.begin(), letters.end()).size() ==
           static_cast<std::size_t>(letters.size());
  }
  /// All letters that go with Alt in the window as it stands.
  [[nodiscard]] QString letters() const {
    QString out;
    for (const QAction* menu : window_->menuBar()->actions()) out += letter_of(menu->text());
    const auto* tabs = window_->findChild<QTabWidget*>();
    for (int i = 0; i < tabs->count(); ++i) out += letter_of(tabs->tabText(i));
    for (const auto* one : window_->findChildren<QPushButton*>()) {
      if (one->isVisible() && one->isEnabled()) out += letter_of(one->text());
    }
    for (const auto* one : window_->findChildren<QLabel*>()) {
      if (one->isVisible() && one->buddy() != nullptr) out += letter_of(one->text());
    }
    return out;
  }
  void trigger(const char* name) {
    auto* action = window_->findChild<QAction*>(name);
    ASSERT_NE(action, nullptr) << name;
    action->trigger();
  }

  /// result.json by followup::measure of what stands in the folder.
  [[nodiscard]] std::string by_command_line() const {
    const auto series = followup::load_series(folder(), {}).value();
    return followup::to_json(followup::measure(series, {}));
  }
  [[nodiscard]] std::string shown() const { return followup::to_json(window_->hip()->result); }
  [[nodiscard]] double subsidence() const {
    return window_->hip()->result.comparisons.back().migration->subsidence.value.value;
  }

  /// QTest::mouseMove moves the cursor only, and offscreen there is none.
  static void move(QWidget* widget, const QPointF& to, Qt::MouseButton button) {
    QMouseEvent event(QEvent::MouseMove, to, widget->mapToGlobal(to.toPoint()), Qt::NoButton,
                      button, Qt::NoModifier);
    QApplication::sendEvent(widget, &event);
  }

  void drag(FilmCanvas* canvas, const QPointF& from, const QPointF& to) {
    QTest::mousePress(canvas, Qt::LeftButton, {}, from.toPoint());
    move(canvas, from + QPointF(QApplication::startDragDistance(), 0.0), Qt::LeftButton);
    move(canvas, to, Qt::LeftButton);
    QTest::mouseRelease(canvas, Qt::LeftButton, {}, to.toPoint());
  }

  void picture(const QString& name) {
    const QString to = qEnvironmentVariable("TIDEMARK_SCREENSHOTS");
    if (to.isEmpty()) return;
    QTest::qWait(200);  // films that were moved are drawn in full again
    window_->grab().save(to + "/" + name + ".png");
  }

  /// The window beside testdata/screens/NAME.png, a sixth of its size: what has moved or gone
  /// shows, how letters are smoothed does not. TIDEMARK_SCREENS=make writes the file; look at it
  /// then.
  void looks_as_before(const QString& name) {
    QTest::qWait(200);
    constexpr int kWidth = 228;
    const QImage now = window_->grab()
                           .toImage()
                           .scaledToWidth(kWidth, Qt::SmoothTransformation)
                           .convertToFormat(QImage::Format_Grayscale8);
    const QString file = QString(TIDEMARK_SCREENS) + "/" + name + ".png";
    if (qEnvironmentVariable("TIDEMARK_SCREENS") == "make") now.save(file);
    const QImage then = QImage(file).convertToFormat(QImage::Format_Grayscale8);
    ASSERT_EQ(now.size(), then.size()) << name.toStdString();
    double sum = 0.0;
    int far = 0;
    for (int y = 0; y < now.height(); ++y) {
      for (int x = 0; x < now.width(); ++x) {
        const int apart = std::abs(qGray(now.pixel(x, y)) - qGray(then.pixel(x, y)));
        sum += apart;
        far += apart > 40 ? 1 : 0;
      }
    }
    const double pixels = now.width() * now.height();
    EXPECT_LT(sum / pixels, 3.0) << name.toStdString();
    EXPECT_LT(far / pixels, 0.01) << name.toStdString();
  }

  /// The text of the help that is open.
  std::string explained(const QString& name) {
    auto* dialog = window_->findChild<QDialog*>("help-dialog");
    if (dialog == nullptr) return "no help is open";
    const QString to = qEnvironmentVariable("TIDEMARK_SCREENSHOTS");
    if (!to.isEmpty() && !name.isEmpty()) dialog->grab().save(to + "/" + name + ".png");
    return dialog->findChild<QTextBrowser*>("help-text")->toPlainText().toStdString();
  }
  void close_help() {
    QTest::keyClick(window_->findChild<QDialog*>("help-dialog"), Qt::Key_Escape);
    QCoreApplication::sendPostedEvents(nullptr, QEvent::DeferredDelete);
    QTest::qWait(10);
  }

  test::Scratch scratch_;
  std::unique_ptr<ReviewWindow> window_;
};

TEST_F(Window, OpensAndSaysWhatTheCommandLineSays) {
  open();
  EXPECT_EQ(shown(), by_command_line());
  EXPECT_EQ(window_->findChild<QListWidget*>("time-line")->count(), 3);
  EXPECT_GE(window_->findChild<QTableWidget*>("seat")->rowCount(), 12);
  EXPECT_TRUE(window_->right()->isVisible());
  picture("side-by-side");
  looks_as_before("side-by-side");
}

TEST_F(Window, SaysTheSameUnderALocaleWithADecimalComma) {
  const std::string expected = by_command_line();
  const test::CommaLocale comma;
  if (!comma.in_force()) GTEST_SKIP() << "no locale with a comma can be made here";
  close();
  memory() = {};  // what steps said in other tests
  make();
  open();
  EXPECT_EQ(shown(), expected);
}

TEST_F(Window, CorrectsTheLesserTrochanterByMouse) {
  open();
  const std::string before = shown();
  const auto on_disk = read_file(folder() / "series.json").value();
  FilmCanvas* canvas = window_->right();
  const Handle lesser{window_->chosen(), Grip::kLesserTrochanter};
  const auto place = canvas->place_of(lesser);
  ASSERT_TRUE(place);
  const QPointF from = canvas->screen_from_world(*place);
  drag(canvas, from, from + QPointF(6.0, 14.0));
  ASSERT_TRUE(window_->review()->unsaved());
  wait();
  EXPECT_NE(shown(), before) << "the numbers follow";
  EXPECT_EQ(read_file(folder() / "series.json").value(), on_disk) << "not before saving";
  const auto point = window_->hip()->result.films[window_->chosen()].lesser_trochanter;
  ASSERT_TRUE(point);
  EXPECT_EQ(point->source, Source::kGiven);
  picture("corrected");

  trigger("save");
  EXPECT_FALSE(window_->review()->unsaved()) << window_->message().toStdString();
  close();
  make();
  open();
  EXPECT_EQ(shown(), by_command_line()) << "the command line reproduces what was seen";
  EXPECT_EQ(window_->hip()->result.films.back().lesser_trochanter->stored_px, point->stored_px);
}

TEST_F(Window, AClickThatPicksAPointIsNoCorrection) {
  open();
  FilmCanvas* canvas = window_->right();
  const Handle tip{window_->chosen(), Grip::kStemTip};
  const QPointF at = canvas->screen_from_world(canvas->place_of(tip).value());
  QTest::mousePress(canvas, Qt::LeftButton, {}, at.toPoint());
  move(canvas, at + QPointF(1.0, 0.0), Qt::LeftButton);
  QTest::mouseRelease(canvas, Qt::LeftButton, {}, at.toPoint());
  EXPECT_EQ(window_->picked(), tip);
  EXPECT_EQ(window_->review()->done(), 0U);
}

TEST_F(Window, TakesNoPointOutsideOfTheFilm) {
  open();
  const std::size_t film = window_->chosen();
  const Handle tip{film, Grip::kStemTip};
  FilmCanvas* canvas = window_->right();
  const Vec2 before = canvas->place_of(tip).value();
  window_->pick(tip);
  trigger("fit-whole");
  for (int i = 0; i < 8; ++i) trigger("zoom-out");
  QTest::mouseDClick(canvas, Qt::LeftButton, {}, QPoint(3, 3));
  EXPECT_EQ(window_->review()->done(), 0U);
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("outside of the film"));
  EXPECT_EQ(canvas->place_of(tip).value(), before) << "the mark is back";
}

TEST_F(Window, TellsTheChosenFilmFirstWhenTheReferenceFilmIsCorrected) {
  open();
  window_->choose(1);
  const auto before = window_->hip();
  const auto& tip = before->result.films[0].stem->tip;
  ASSERT_TRUE(tip);
  const Handle handle{0, Grip::kStemTip};
  const auto sheet = moved(window_->review()->sheet(), before->result.films[0], handle,
                           tip->stored_px + Vec2(0.0, 3.0), {});
  ASSERT_TRUE(sheet);
  window_->correct("the tip", *sheet);
  ASSERT_TRUE(QTest::qWaitFor([&] { return window_->hip() != before; }, 400000));
  const auto early = window_->hip();
  ASSERT_EQ(early->early, std::optional<std::size_t>(1));
  EXPECT_TRUE(window_->busy());
  EXPECT_THAT(window_->stale_words().toStdString(), HasSubstr("measured anew"));
  picture("told_early");
  EXPECT_EQ(early->result.films[0].stem->tip->source, Source::kGiven);
  EXPECT_NE(followup::to_json(early->result), followup::to_json(before->result));
  EXPECT_EQ(early->result.comparisons[1].migration->subsidence.value,
            before->result.comparisons[1].migration->subsidence.value)
      << "the other film's number is from before";
  window_->choose(2);
  EXPECT_THAT(window_->stale_words().toStdString(), HasSubstr("from before"));
  wait();
  EXPECT_FALSE(window_->hip()->early);
  EXPECT_TRUE(window_->stale_words().isEmpty());
  trigger("save");
  EXPECT_EQ(shown(), by_command_line());
}

TEST_F(Window, SaysThatNumbersAreFromBeforeForAsLongAsTheyAre) {
  open();
  const std::string before = shown();
  window_->correct("tip", with_point(window_->review()->sheet(), 2, Point::kStemTip, Vec2(9, 8)));
  ASSERT_TRUE(window_->busy());
  window_->cancel();
  EXPECT_EQ(shown(), before);
  const auto says = [this] {
    return window_->findChild<QLabel*>("stale")->isVisible() &&
           window_->stale_words().contains("from before");
  };
  EXPECT_TRUE(says()) << "cancelled";
  window_->findChild<QPushButton*>("noted")->click();
  window_->choose(1);
  EXPECT_TRUE(says()) << "and on another film";
  trigger("save");
  EXPECT_TRUE(says()) << "saved is not measured";
  trigger("undo");
  window_->cancel();
  EXPECT_TRUE(window_->stale_words().isEmpty()) << "the sheet that was measured";
  trigger("redo");
  EXPECT_TRUE(says());
  wait();
  EXPECT_NE(shown(), before);
  EXPECT_TRUE(window_->stale_words().isEmpty());
}

TEST_F(Window, SaysThatOnlyTheMotionIsNewAfterAnEarlyAnswerThatWasCancelled) {
  open();
  const auto before = window_->hip();
  trigger("pick-stem-tip");
  const auto tip = before->result.films[2].stem->tip->stored_px;
  window_->correct(
      "tip", with_point(window_->review()->sheet(), 2, Point::kStemTip, tip + Vec2(0.0, 3.0)));
  ASSERT_TRUE(QTest::qWaitFor([&] { return window_->hip() != before; }, 400000));
  ASSERT_TRUE(window_->hip()->early);
  window_->cancel();
  EXPECT_THAT(window_->stale_words().toStdString(), HasSubstr("lines, seat and other films"));
  EXPECT_THAT(window_->stale_words().toStdString(), HasSubstr("F5"));
  window_->choose(1);
  EXPECT_THAT(window_->stale_words().toStdString(), HasSubstr("from before"));
}

TEST_F(Window, EscLetsGoOfThePointBeforeItCancels) {
  open();
  trigger("pick-stem-tip");
  trigger("measure");
  trigger("cancel-work");
  EXPECT_FALSE(window_->picked());
  EXPECT_TRUE(window_->busy());
  trigger("cancel-work");
  EXPECT_FALSE(window_->busy());
}

// Its shaft axis turned by 20 degrees, the pair of the chosen film is refused.
TEST_F(Window, StaysOnTheFilmThatIsCorrectedWhenItsPairIsRefused) {
  open();
  const std::size_t film = window_->chosen();
  ASSERT_EQ(film, 2U);
  const auto axis = window_->hip()->result.films[film].shaft_axis.value();
  const Vec2 along = axis.distal_px - axis.proximal_px;
  const AxisEnds turned{axis.proximal_px, axis.distal_px + 0.36 * Vec2(-along.y(), along.x())};
  window_->correct("shaft", with_axis(window_->review()->sheet(), film, Axis::kShaft, turned));
  wait();
  const auto& pair = window_->hip()->result.comparisons.back();
  ASSERT_EQ(pair.follow_up, film);
  ASSERT_FALSE(pair.migration) << "the test needs a pair that is refused";
  EXPECT_EQ(window_->chosen(), film);
  EXPECT_THAT(window_->findChild<QTextBrowser*>("finding")->toPlainText().toStdString(),
              HasSubstr(pair.reason));
}

// In the following nothing waits between two corrections: no answer of the measurer is taken.

TEST_F(Window, TheHeadsEdgeKeepsACentreMovedJustBefore) {
  open();
  FilmCanvas* canvas = window_->right();
  const std::size_t film = window_->chosen();
  const Handle centre{film, Grip::kHeadCentre};
  const Handle edge{film, Grip::kHeadEdge};
  const QPointF from = canvas->screen_from_world(canvas->place_of(centre).value());
  const QPointF edge_from = canvas->screen_from_world(canvas->place_of(edge).value());
  const QPointF by(6.0, 3.0);
  drag(canvas, from, from + by);
  const Sheet moved = by_hand(film);
  const QPointF now = canvas->screen_from_world(canvas->place_of(centre).value());
  EXPECT_NEAR(now.x(), from.x() + by.x(), 1.0) << "px: the mark stays where it was let go of";
  EXPECT_NEAR(now.y(), from.y() + by.y(), 1.0);
  const QPointF edge_now = canvas->screen_from_world(canvas->place_of(edge).value());
  EXPECT_NEAR(edge_now.x(), edge_from.x() + by.x(), 1.0) << "px: and its edge with it";
  drag(canvas, edge_now, edge_now - QPointF(0.0, 4.0));
  EXPECT_EQ(by_hand(film)["head_centre"], moved["head_centre"]);
  EXPECT_GT(by_hand(film)["head_diameter"], moved["head_diameter"]);
  wait();
  const Vec2 measured = window_->hip()->result.films[film].head->centre_px;
  EXPECT_NEAR(measured.x(), moved["head_centre"][0].get<double>(), 0.01);
  EXPECT_NEAR(measured.y(), moved["head_centre"][1].get<double>(), 0.01);
}

TEST_F(Window, AnAxisKeepsAnEndMovedJustBefore) {
  open();
  FilmCanvas* canvas = window_->right();
  const std::size_t film = window_->chosen();
  nudge(canvas, {film, Grip::kStemAxisProximal});
  nudge(canvas, {film, Grip::kShaftAxisDistal});
  const Sheet before = by_hand(film);
  nudge(canvas, {film, Grip::kStemAxisDistal});
  nudge(canvas, {film, Grip::kShaftAxisProximal});
  EXPECT_EQ(by_hand(film)["stem_axis"][0], before["stem_axis"][0]);
  EXPECT_NE(by_hand(film)["stem_axis"][1], before["stem_axis"][1]);
  EXPECT_EQ(by_hand(film)["shaft_axis"][1], before["shaft_axis"][1]);
  EXPECT_NE(by_hand(film)["shaft_axis"][0], before["shaft_axis"][0]);
}

TEST_F(Window, TheNextArrowKeyStartsFromWhereTheMarkWasLetGoOf) {
  open();
  FilmCanvas* canvas = window_->right();
  for (const Grip grip : {Grip::kStemTip, Grip::kStemShoulder, Grip::kLesserTrochanter,
                          Grip::kGreaterTrochanter, Grip::kBoneEntry, Grip::kHeadCentre}) {
    SCOPED_TRACE(words_of(grip));
    const Handle handle{window_->chosen(), grip};
    const Vec2 first = canvas->place_of(handle).value();
    nudge(canvas, handle);
    const Vec2 second = canvas->place_of(handle).value();
    nudge(canvas, handle);
    const Vec2 third = canvas->place_of(handle).value();
    EXPECT_GT((second - first).norm(), 2.0);
    EXPECT_NEAR((third - second - (second - first)).norm(), 0.0, 0.1) << "px: as far again";
  }
  trigger("undo");
  const Handle head{window_->chosen(), Grip::kHeadCentre};
  const Vec2 undone = canvas->place_of(head).value();
  trigger("redo");
  EXPECT_GT((canvas->place_of(head).value() - undone).norm(), 2.0);
}

// The point of the reference film is picked; the hand is on the follow-up film.
// What arrow keys moved is let go of a moment later; all that is done before that takes it in.
TEST_F(Window, LosesNoPointThatArrowKeysMovedJustNow) {
  open();
  const std::size_t film = window_->chosen();
  const auto moved_by_key = [&] {
    window_->pick(Handle{film, Grip::kStemTip});
    QTest::keyClick(window_->right(), Qt::Key_Down, Qt::ShiftModifier);
    ASSERT_FALSE(window_->review()->unsaved()) << "still held";
  };
  const auto taken = [&] { return by_hand(film).contains("stem_tip"); };
  moved_by_key();
  window_->choose(1);
  EXPECT_TRUE(taken()) << "another film is chosen";
  window_->undo();
  window_->choose(film);
  moved_by_key();
  window_->show_as(Showing::kBlend);
  EXPECT_TRUE(taken()) << "shown in another way";
  window_->show_as(Showing::kSideBySide);
  window_->undo();
  moved_by_key();
  window_->undo();
  EXPECT_FALSE(window_->review()->unsaved()) << "undo takes back what was seen to move";
  EXPECT_EQ(window_->review()->steps().size(), 1U);
  moved_by_key();
  trigger("save");
  EXPECT_TRUE(followup::load_series(folder(), {})
                  ->films[film]
                  .landmarks_in_stored_px.stem_tip_px.has_value())
      << "saved";
}

TEST_F(Window, AsksBeforeItIsClosedOnAPointThatArrowKeysMovedJustNow) {
  open();
  window_->pick(Handle{window_->chosen(), Grip::kStemTip});
  QTest::keyClick(window_->right(), Qt::Key_Down, Qt::ShiftModifier);
  bool asked = false;
  QTimer::singleShot(50, [&asked] {
    auto* box = qobject_cast<QMessageBox*>(QApplication::activeModalWidget());
    if (box == nullptr) return;
    asked = true;
    for (QAbstractButton* button : box->buttons()) {
      if (button->text() == "&Back") button->click();
    }
  });
  EXPECT_FALSE(window_->close());
  EXPECT_TRUE(asked);
}

TEST_F(Window, APointThatIsHeldStaysOnItsFilmWhenThatIsLaidOtherwise) {
  open();
  const Handle tip{window_->chosen(), Grip::kStemTip};
  window_->show_as(Showing::kBlend);
  trigger("on-bone");
  window_->pick(tip);
  const Vec2 on_bone = window_->left()->place_of(tip).value();
  QTest::keyClick(window_->left(), Qt::Key_Down, Qt::ShiftModifier);
  const Vec2 by = window_->left()->place_of(tip).value() - on_bone;
  trigger("on-stem");
  window_->left()->let_go();
  trigger("on-bone");
  // The two ways of laying differ by a shift of some px and a turn of less than a degree.
  EXPECT_NEAR((window_->left()->place_of(tip).value() - on_bone - by).norm(), 0.0, 0.05);
}

TEST_F(Window, ADoubleClickOrEnterPutsThePointOfTheFilmItIsOn) {
  open();
  const std::size_t film = window_->chosen();
  const auto* status = window_->findChild<QLabel*>("status");
  for (const bool click : {true, false}) {
    SCOPED_TRACE(click ? "double click" : "Enter");
    window_->pick(Handle{0, Grip::kLesserTrochanter});
    EXPECT_THAT(status->text().toStdString(), HasSubstr("on film-00.dcm"));
    const QPoint at(window_->right()->width() / 2, window_->right()->height() / 2);
    click ? QTest::mouseDClick(window_->right(), Qt::LeftButton, {}, at)
          : QTest::keyClick(window_->right(), Qt::Key_Return);
    EXPECT_EQ(window_->picked(), (Handle{film, Grip::kLesserTrochanter}));
    EXPECT_THAT(status->text().toStdString(), HasSubstr("on film-02.dcm"));
    EXPECT_FALSE(window_->review()->sheet()["films"][0].contains("landmarks_px"));
    EXPECT_TRUE(by_hand(film).contains("lesser_trochanter"));
    trigger("undo");
    wait();
  }
}

TEST_F(Window, UndoesAndRedoesAndBringsBackUnsavedWork) {
  open();
  const std::string before = shown();
  const double at_first = subsidence();
  window_->pick(Handle{window_->chosen(), Grip::kStemTip});
  window_->right()->setFocus();
  for (int i = 0; i < 5; ++i) QTest::keyClick(window_->right(), Qt::Key_Down, Qt::ShiftModifier);
  QTest::qWait(600);
  wait();
  ASSERT_EQ(window_->review()->done(), 1U) << "keys in one go are one correction";
  const std::string after = shown();
  EXPECT_NE(after, before);
  trigger("undo");
  wait();
  EXPECT_EQ(shown(), before);
  EXPECT_EQ(subsidence(), at_first);
  trigger("redo");
  wait();
  close();  // without saving
  make();
  open();
  EXPECT_TRUE(window_->review()->unsaved());
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("are back"));
  EXPECT_EQ(window_->hip()->result.films.back().stem->tip->source, Source::kGiven);
}

TEST_F(Window, UnrollsTheInterfaceAndGoesToAPlaceOfIt) {
  open();
  const auto& result = window_->hip()->result;
  ASSERT_EQ(result.unrolled.size(), 3U);
  const auto& last = result.unrolled.back();
  ASSERT_EQ(last.strips.size(), 2U) << "past over present";
  EXPECT_EQ(last.strips[0].film, 0U);
  EXPECT_EQ(last.strips[1].film, window_->chosen());
  ASSERT_EQ(last.zones.size(), 7U);
  // Each column lies on the outline of the stem as the result has it.
  for (const auto& strip : last.strips) {
    const Polyline& outline = result.films[strip.film].stem->outline_px;
    std::size_t known = 0;
    for (const auto& edge : strip.edge_px) {
      if (!edge) continue;
      ++known;
      double away = 1e9;
      for (const Vec2& p : outline) away = std::min(away, (p - *edge).norm());
      EXPECT_LT(away, 6.0);  // px: the outline's points stand that far apart
    }
    EXPECT_GT(known, strip.edge_px.size() / 2);
  }
  window_->panel()->tabs()->setCurrentWidget(window_->panel()->zones());
  ZoneStrips* strips = window_->panel()->zones()->strips();
  const QRect zone = strips->rect_of(6);
  ASSERT_FALSE(zone.isEmpty());
  QTest::mouseClick(strips, Qt::LeftButton, {}, zone.center());
  EXPECT_EQ(window_->panel()->zones()->chosen()->zone, 6);
  // The place that was clicked stands in the middle of the film.
  const auto column = static_cast<std::size_t>(zone.center().x());
  const auto past = last.strips[0].edge_px[column];
  ASSERT_TRUE(past);
  const auto head = window_->left()->place_of({0, Grip::kHeadCentre});
  ASSERT_TRUE(head);
  const QPointF middle(0.5 * window_->left()->width(), 0.5 * window_->left()->height());
  const QPointF at_head = window_->left()->screen_from_world(*head);
  const double px = std::hypot(at_head.x() - middle.x(), at_head.y() - middle.y());
  const double apart = (*past - result.films[0].head->centre_px).norm();
  EXPECT_NEAR(px / apart, 2.0, 0.2) << "at twice the film's size";
  strips->setFocus();
  QTest::keyClick(strips, Qt::Key_Right);
  EXPECT_EQ(window_->panel()->zones()->chosen()->zone, 7);
  EXPECT_FALSE(strips->visibleRegion().intersected(strips->rect_of(7)).isEmpty());
  picture("zones");
  looks_as_before("zones");
}

// As on a lateral film, whose past is the first lateral film and not the reference film.
TEST_F(Window, GoesToAPlaceOfAFilmThatIsShown) {
  open();
  const std::size_t film = window_->chosen();
  const Vec2 tip = window_->hip()->result.films[film].stem->tip->stored_px;
  window_->go_to({8, ZoneStrips::OnFilm{1, Vec2(10.0, 10.0)}, ZoneStrips::OnFilm{film, tip}});
  const FilmCanvas* canvas = window_->right();
  const QPointF at = canvas->screen_from_world(canvas->place_of({film, Grip::kStemTip}).value());
  EXPECT_NEAR(at.x(), 0.5 * canvas->width(), 0.1);
  EXPECT_NEAR(at.y(), 0.5 * canvas->height(), 0.1);
}

TEST_F(Window, MovesTheUpperBorderOfTheZones) {
  open();
  const auto film = window_->chosen();
  const auto before = window_->hip()->result.films[film].zone_borders;
  ASSERT_EQ(before.size(), 5U);
  move_down(film, "pick-upper-border-of-the-zones");
  const auto& after = window_->hip()->result.films[film];
  EXPECT_EQ(after.zone_borders[0].source, Source::kGiven);
  const Vec2 distal = (after.stem->axis.distal_px - after.stem->axis.proximal_px).normalized();
  const auto down = [&](std::size_t i) {
    return (after.zone_borders[i].medial_px - before[i].medial_px).dot(distal);
  };
  EXPECT_GT(down(0), 2.0);
  EXPECT_NEAR(down(1), 2.0 / 3.0 * down(0), 1.0) << "px: thirds of the way to the tip";
  EXPECT_NEAR(down(3), 0.0, 0.5);
  trigger("give-back");
  wait();
  EXPECT_EQ(window_->hip()->result.films[film].zone_borders[0].source, Source::kFound);
}

TEST_F(Window, MovesTheInnerBordersOfTheZones) {
  open();
  const auto film = window_->chosen();
  for (const std::size_t border : {1U, 2U}) {
    SCOPED_TRACE(border);
    const char* action =
        border == 1 ? "pick-second-border-of-the-zones" : "pick-third-border-of-the-zones";
    const auto before = window_->hip()->result.films[film].zone_borders;
    move_down(film, action);
    const auto& after = window_->hip()->result.films[film];
    ASSERT_EQ(after.zone_borders.size(), 5U);
    const Vec2 distal = (after.stem->axis.distal_px - after.stem->axis.proximal_px).normalized();
    for (std::size_t i = 0; i < 5; ++i) {
      const double down = (after.zone_borders[i].medial_px - before[i].medial_px).dot(distal);
      if (i == border) {
        EXPECT_GT(down, 2.0);
      } else {
        EXPECT_NEAR(down, 0.0, 0.5) << i;
      }
    }
    EXPECT_EQ(after.zone_borders[border].source, Source::kGiven);
    trigger("give-back");
    wait();
    EXPECT_EQ(window_->hip()->result.films[film].zone_borders[border].source, Source::kFound);
  }
}

TEST_F(Window, KeepsAReadersMarks) {
  open();
  const std::string before = shown();
  window_->set_reader("R1");
  trigger("next-zone");
  trigger("next-zone");
  ASSERT_EQ(window_->panel()->zones()->chosen()->zone, 2);
  trigger("mark-disagree");
  wait();
  EXPECT_TRUE(window_->review()->unsaved());
  const auto* table = window_->findChild<QTableWidget*>("zones");
  EXPECT_EQ(table->item(1, 2)->text(), "R1 disagrees");
  ASSERT_EQ(window_->panel()->zones()->chosen()->zone, 2) << "the row stays chosen";
  trigger("mark-agree");
  wait();
  EXPECT_EQ(table->item(1, 2)->text(), "R1 agrees");
  trigger("save");
  const auto series = followup::load_series(folder(), {}).value();
  const auto& marks = series.films[window_->chosen()].zone_marks;
  ASSERT_EQ(marks.size(), 1U);
  EXPECT_EQ(marks[0].zone, 2);
  EXPECT_EQ(marks[0].opinion, followup::Opinion::kAgree);
  EXPECT_EQ(marks[0].program, window_->hip()->result.films[window_->chosen()].zones[1].state);
  EXPECT_EQ(shown(), by_command_line());
  picture("marked");
  trigger("mark-none");
  wait();
  EXPECT_EQ(table->item(1, 2)->text(), "");
  EXPECT_EQ(nlohmann::json::parse(shown())["comparisons"],
            nlohmann::json::parse(before)["comparisons"])
      << "a mark changes no number";
}

TEST_F(Window, AsksWhoReadsBeforeTheFirstMark) {
  open();
  trigger("mark-agree");
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("Choose a zone first"));
  trigger("next-zone");
  trigger("mark-agree");
  auto* dialog = window_->findChild<QInputDialog*>("reader-dialog");
  ASSERT_NE(dialog, nullptr);
  dialog->setTextValue("R2");
  dialog->accept();
  wait();
  EXPECT_EQ(window_->findChild<QTableWidget*>("zones")->item(0, 2)->text(), "R2 agrees");
}

TEST_F(Window, AMarkGoesToTheFilmThatWasShownWhenItWasMade) {
  open();
  const std::size_t film = window_->chosen();
  trigger("next-zone");
  trigger("mark-agree");
  auto* dialog = window_->findChild<QInputDialog*>("reader-dialog");
  ASSERT_NE(dialog, nullptr);
  window_->choose(1);
  dialog->setTextValue("R2");
  dialog->accept();
  wait();
  EXPECT_TRUE(window_->review()->sheet()["films"][film].contains("zone_marks"));
  EXPECT_FALSE(window_->review()->sheet()["films"][1].contains("zone_marks"));
}

TEST_F(Window, ShowsFilmsLaidOverEachOther) {
  open();
  const std::pair<Showing, const char*> ways[] = {{Showing::kBlend, "blended"},
                                                  {Showing::kEdge, "edge"},
                                                  {Showing::kFlicker, "in-turn"},
                                                  {Showing::kDifference, "difference"}};
  for (const auto& [way, name] : ways) {
    window_->show_as(way);
    EXPECT_TRUE(window_->findChild<QAction*>(QString("show-%1").arg(static_cast<int>(way) + 1))
                    ->isChecked());
    EXPECT_FALSE(window_->right()->isVisible());
    EXPECT_TRUE(window_->left()->content().empty.isEmpty());
    picture(name);
    if (way == Showing::kDifference) looks_as_before(name);
  }
  trigger("on-stem");
  picture("difference-on-stem");
  // Bone on bone, the two head centres differ by the motion; stem on stem they fall together.
  const auto apart = [this] {
    const auto a = window_->left()->place_of({0, Grip::kHeadCentre});
    const auto b = window_->left()->place_of({window_->chosen(), Grip::kHeadCentre});
    return (*a - *b).norm();
  };
  const double on_stem = apart();
  trigger("on-bone");
  EXPECT_LT(on_stem, 3.0);
  EXPECT_GT(apart(), on_stem);
}

/// A film of a right hip as a PNG of this hip, its grey values spread over 16 bits; lead over so
/// many of its first columns.
void write_png(const film::FilmImage& right, Side side, const std::filesystem::path& to, int lead) {
  const film::FilmImage film = film::as_right_hip(right, side);  // mirrored: of a left one
  const auto [low, high] =
      std::minmax_element(film.pixels.values.begin(), film.pixels.values.end());
  QImage out(film.pixels.width, film.pixels.height, QImage::Format_Grayscale16);
  for (int y = 0; y < out.height(); ++y) {
    auto* row = reinterpret_cast<std::uint16_t*>(out.scanLine(y));
    for (int x = 0; x < out.width(); ++x) {
      const float share = (film.pixels.at(x, y) - *low) / (*high - *low);
      row[x] = x < lead ? 65535 : static_cast<std::uint16_t>(std::lround(60000.0F * share));
    }
  }
  if (!out.save(QString::fromStdString(to))) throw std::runtime_error("no PNG was written");
}

// Two films whose fields are cut differently before they are measured. What falls on what is
// followup's: AlignedFilms, which knows nothing of the window.
TEST_F(Window, LaysFilmsWithLeadBordersOnEachOtherAsTheyWereMeasured) {
  for (const Side side : {Side::kRight, Side::kLeft}) {
    const std::string letter = side == Side::kRight ? "R" : "L";
    SCOPED_TRACE(letter);
    const auto lead = scratch_ / ("lead-" + letter);
    std::filesystem::create_directory(lead);
    write_png(film::read(folder() / "film-00.dcm").value(), side, lead / "a.png", 0);
    write_png(film::read(folder() / "film-02.dcm").value(), side, lead / "b.png", 90);
    ASSERT_TRUE(film::read_in_field(lead / "b.png")->field);
    std::ofstream(lead / "series.json")
        << R"({"side": ")" << letter << R"(", "stem": {"head_diameter_mm": 32.0},
    "films": [{"file": "a.png", "role": "reference", "date": "2024-03-02", "view": "AP"},
              {"file": "b.png", "date": "2025-03-02", "view": "AP"}]})";
    window_->open(lead);
    wait();
    ASSERT_NE(window_->hip(), nullptr);
    window_->show_as(Showing::kBlend);
    const auto series = followup::load_series(lead, {}).value();
    const auto result = followup::measure(series, {.aligned = followup::Aligned::kKeep});
    ASSERT_TRUE(result.aligned && result.aligned->films.size() == 2);
    const auto& films = result.aligned->films;
    const CanvasContent& shown = window_->left()->content();
    ASSERT_NE(shown.second.picture, nullptr);
    for (const Vec2& p : {Vec2(200.0, 150.0), Vec2(300.0, 700.0)}) {
      const Vec2 there = films[1].stored_from_px.apply(films[0].stored_from_px.inverse().apply(p));
      EXPECT_NEAR((shown.second.film_from_screen.apply(p) - there).norm(), 0.0, 0.01) << "px";
    }
  }
}

TEST_F(Window, SaysThatTheReferenceFilmIsTheReferenceFilm) {
  open();
  window_->choose(0);
  const auto& right = window_->right()->content();
  EXPECT_TRUE(right.title.startsWith("Reference")) << right.title.toStdString();
  ASSERT_FALSE(right.overlay.points.empty());
  for (const PointMark& mark : right.overlay.points) EXPECT_EQ(mark.whose, Whose::kReference);
  window_->show_as(Showing::kBlend);
  EXPECT_THAT(window_->left()->content().empty.toStdString(), HasSubstr("is the reference film"));
  window_->correct(
      "tip", with_point(window_->review()->sheet(), 0, Point::kStemTip,
                        window_->hip()->result.films[0].stem->tip->stored_px + Vec2(0.0, 2.0)));
  wait();
  EXPECT_EQ(window_->chosen(), 0U) << "whoever corrects it stays on it";
}

TEST_F(Window, ExplainsARowOfTheSeatByKeyboardAlone) {
  open();
  QApplication::setActiveWindow(window_.get());
  QTest::keyClick(window_.get(), Qt::Key_4, Qt::ControlModifier);
  auto* seat = window_->findChild<QTableWidget*>("seat");
  for (int i = 0; i < 4 && QApplication::focusWidget() != seat; ++i) {
    QTest::keyClick(QApplication::focusWidget(), Qt::Key_Tab);
  }
  ASSERT_EQ(QApplication::focusWidget(), seat);
  while (seat->currentRow() < 9) QTest::keyClick(seat, Qt::Key_Down);
  ASSERT_EQ(seat->item(9, 0)->text().toStdString(), "Canal flare index");
  picture("seat-row");
  QTest::keyClick(seat, Qt::Key_F1);
  const std::string text = explained("seat-help");
  EXPECT_THAT(text, HasSubstr("Canal flare index"));
  EXPECT_THAT(text, HasSubstr("Inner width of the canal 20 mm above"));
  EXPECT_THAT(text, HasSubstr("Noble et al. 1988"));
  close_help();
  EXPECT_EQ(QApplication::focusWidget(), seat) << "back to where the focus was";
  EXPECT_EQ(seat->currentRow(), 9);
}

TEST_F(Window, ExplainsTheNumbersOfTheFindingByKeyboardAlone) {
  open();
  QApplication::setActiveWindow(window_.get());
  auto* finding = window_->findChild<QTextBrowser*>("finding");
  finding->setFocus();
  std::set<std::string> titles;
  for (int i = 0; i < 20; ++i) {
    QTest::keyClick(finding, Qt::Key_Tab);
    if (QApplication::focusWidget() != finding) break;
    QTest::keyClick(finding, i % 2 == 0 ? Qt::Key_F1 : Qt::Key_Return);
    if (i == 2) picture("finding-link");
    const std::string text = explained(i == 2 ? "finding-help" : "");
    EXPECT_THAT(text, HasSubstr("Source"));
    titles.insert(text.substr(0, text.find('\n')));
    close_help();
    ASSERT_EQ(QApplication::focusWidget(), finding);
  }
  for (const char* title :
       {"The verdict of the whole", "Subsidence", "Medial shift", "Tilt change", "M-TILT-3"}) {
    EXPECT_THAT(titles, ::testing::Contains(title));
  }
}

TEST_F(Window, ExplainsFilmsPointsZonesAndCharts) {
  open();
  QApplication::setActiveWindow(window_.get());
  const auto asked = [this](QWidget* widget, const QString& name) {
    widget->setFocus();
    QTest::keyClick(widget, Qt::Key_F1);
    std::string text = explained(name);
    close_help();
    EXPECT_EQ(QApplication::focusWidget(), widget);
    return text;
  };
  EXPECT_THAT(asked(window_->right(), "film-help"), HasSubstr("Scale of film-02.dcm"));
  EXPECT_THAT(asked(window_->left(), ""), HasSubstr("Scale of film-00.dcm"));
  trigger("pick-stem-tip");
  EXPECT_THAT(asked(window_->left(), "point-help"), HasSubstr("Stem tip on film-00.dcm"));
  EXPECT_THAT(asked(window_->findChild<QListWidget*>("time-line"), ""),
              HasSubstr("Scale of film-02.dcm"));
  window_->panel()->tabs()->setCurrentIndex(1);
  EXPECT_THAT(asked(window_->findChild<QWidget*>("course-subsidence"), "course-help"),
              HasSubstr("Subsidence over time"));
  EXPECT_THAT(asked(window_->findChild<QWidget*>("course-tilt"), ""), HasSubstr("Tilt over time"));
  window_->panel()->tabs()->setCurrentIndex(2);
  auto* zones = window_->findChild<QTableWidget*>("zones");
  zones->setFocus();
  zones->setCurrentCell(2, 0);
  EXPECT_THAT(asked(zones, ""), HasSubstr("Zone 3 (lateral, distal): the zone"));
  for (int i = 0; i < 4; ++i) QTest::keyClick(zones, Qt::Key_Right);
  EXPECT_THAT(asked(zones, "zone-help"), HasSubstr("Zone 3 (lateral, distal): since the"));
  EXPECT_THAT(asked(window_->panel()->zones()->strips(), ""), HasSubstr("interface unrolled"));
  window_->panel()->tabs()->setCurrentIndex(4);
  EXPECT_THAT(asked(window_->findChild<QListWidget*>("steps"), ""), HasSubstr("by hand"));
}

TEST_F(Window, APointThatIsPickedShowsItsLayerAndItsMenuEntryFollows) {
  open();
  auto* axes = window_->findChild<QAction*>("layer-F7");
  ASSERT_FALSE(axes->isChecked());
  trigger("pick-stem-axis,-upper-end");
  EXPECT_TRUE(axes->isChecked());
  const auto all = window_->left()->handles();
  const Handle axis{0, Grip::kStemAxisProximal};
  EXPECT_EQ(std::count(all.begin(), all.end(), axis), 1);
  axes->trigger();
  const auto fewer = window_->left()->handles();
  EXPECT_EQ(std::count(fewer.begin(), fewer.end(), axis), 0);
}

TEST_F(Window, DrawsCoarserWhileMovedAndInFullAfterwards) {
  open();
  FilmCanvas* canvas = window_->left();
  const auto seen = [&] { return canvas->grab().toImage().convertToFormat(QImage::Format_RGB32); };
  const QImage before = seen();
  const auto place = canvas->screen_from_world(*canvas->place_of({0, Grip::kHeadCentre}));
  canvas->hurry(0.0);  // no frame is fast enough
  EXPECT_EQ(canvas->coarseness(), 3);
  const QImage moving = seen();
  EXPECT_NE(moving, before);
  EXPECT_EQ(canvas->screen_from_world(*canvas->place_of({0, Grip::kHeadCentre})), place);
  // What is shown stays where it was: means of blocks of six pixels are those of the full frame.
  double apart = 0.0;
  int blocks = 0;
  for (int y = 0; y + 6 <= before.height(); y += 6) {
    for (int x = 0; x + 6 <= before.width(); x += 6) {
      double sum = 0.0;
      for (int i = 0; i < 36; ++i) {
        sum +=
            qGray(moving.pixel(x + i % 6, y + i / 6)) - qGray(before.pixel(x + i % 6, y + i / 6));
      }
      apart += std::abs(sum / 36.0);
      ++blocks;
    }
  }
  EXPECT_LT(apart / blocks, 1.5) << "grey levels";
  EXPECT_TRUE(QTest::qWaitFor([&] { return canvas->coarseness() == 1; }, 5000));
  EXPECT_EQ(seen(), before);
}

TEST_F(Window, SaysNothingOfTheHipBefore) {
  open();
  window_->correct("tip", with_point(window_->review()->sheet(), 1, Point::kStemTip, Vec2(9, 8)));
  wait();
  const auto said_of = [this](const char* chart) {
    return window_->findChild<QWidget*>(chart)->accessibleDescription();
  };
  window_->panel()->tabs()->setCurrentIndex(1);
  EXPECT_NE(said_of("course-subsidence"), "");
  EXPECT_NE(window_->findChild<QTextBrowser*>("course-words")->toPlainText(), "");
  const auto other = scratch_ / "other";
  std::filesystem::create_directory(other);
  std::filesystem::copy_file(folder() / "film-00.dcm", other / "film.dcm");
  window_->open(other);
  ASSERT_EQ(window_->hip(), nullptr) << "not measured yet";
  const auto is_empty = [&] {
    for (const char* name : {"course-words", "seat-words", "zones-words"}) {
      EXPECT_EQ(window_->findChild<QTextBrowser*>(name)->toPlainText(), "") << name;
    }
    EXPECT_EQ(window_->findChild<QTextBrowser*>("finding")->toPlainText(),
              "Nothing is measured yet.");
    EXPECT_EQ(window_->findChild<QTableWidget*>("seat")->rowCount(), 0);
    EXPECT_EQ(window_->findChild<QTableWidget*>("zones")->rowCount(), 0);
    EXPECT_EQ(window_->findChild<QListWidget*>("steps")->count(), 0);
    EXPECT_EQ(said_of("course-subsidence"), "") << "no figure";
    EXPECT_EQ(said_of("course-tilt"), "");
  };
  is_empty();
  window_->cancel();
  is_empty();
}

TEST_F(Window, OpensTheFilmsThatWereChosenAndNoOthers) {
  std::filesystem::remove(folder() / "series.json");
  const auto opened = [this](const std::vector<std::string>& files) {
    std::vector<std::filesystem::path> paths;
    for (const std::string& file : files) paths.push_back(folder() / file);
    window_->open_these(paths);
    wait();
    std::vector<std::string> out;
    for (const auto& film : window_->hip()->result.films) out.push_back(film.file);
    return out;
  };
  const std::vector<std::string> first{"film-00.dcm", "film-01.dcm"};
  const std::vector<std::string> second{"film-00.dcm", "film-02.dcm"};
  const std::vector<std::string> all{"film-00.dcm", "film-01.dcm", "film-02.dcm"};
  EXPECT_EQ(opened(first), first);
  EXPECT_FALSE(window_->review()->unsaved());
  EXPECT_EQ(window_->films_kept(), 2U) << "what was not chosen is not read";
  EXPECT_EQ(opened(second), second);
  EXPECT_EQ(opened(all), all);
  EXPECT_EQ(opened(first), first);
  window_->correct("tip", with_point(window_->review()->sheet(), 1, Point::kStemTip, Vec2(9, 8)));
  trigger("save");
  EXPECT_EQ(opened(second), first) << "series.json says which films are the hip";
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("lists other films"));
}

TEST_F(Window, LetsGoOfTheFilmsOfTheHipBefore) {
  open();
  EXPECT_EQ(window_->films_kept(), 3U);
  const auto other = scratch_ / "other";
  std::filesystem::create_directory(other);
  std::filesystem::copy_file(folder() / "film-00.dcm", other / "film.dcm");
  window_->open(other);
  wait();
  EXPECT_EQ(window_->films_kept(), 1U);
}

TEST_F(Window, KeepsCorrectionsOnTheirFilmsWhenAFilmIsPutIntoTheFolder) {
  std::filesystem::remove(folder() / "series.json");
  std::filesystem::rename(folder() / "film-01.dcm", scratch_ / "late.dcm");
  open();
  const auto* time_line = window_->findChild<QListWidget*>("time-line");
  ASSERT_EQ(time_line->count(), 2);
  std::filesystem::rename(scratch_ / "late.dcm", folder() / "film-01.dcm");
  window_->correct("tip", with_point(window_->review()->sheet(), 1, Point::kStemTip, Vec2(9, 8)));
  trigger("measure");
  wait();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("film-01.dcm is new in this folder"));
  EXPECT_EQ(window_->hip()->result.films[1].file, "film-02.dcm") << "the corrected one";
  trigger("undo");
  wait();
  ASSERT_EQ(window_->hip()->result.films.size(), 2U);
  EXPECT_EQ(window_->review()->sheet()["films"].size(), 2U) << "the list is that of the sheet";
}

TEST_F(Window, TakesInAFilmThatIsNewWhenNothingIsCorrected) {
  std::filesystem::remove(folder() / "series.json");
  std::filesystem::rename(folder() / "film-01.dcm", scratch_ / "late.dcm");
  open();
  std::filesystem::rename(scratch_ / "late.dcm", folder() / "film-01.dcm");
  trigger("measure");
  wait();
  ASSERT_EQ(window_->hip()->result.films.size(), 3U);
  EXPECT_EQ(window_->review()->sheet()["films"][1]["file"], "film-01.dcm");
}

TEST_F(Window, SaysWhichFilmsTheSheetLeavesOut) {
  std::filesystem::remove(folder() / "series.json");
  std::filesystem::rename(folder() / "film-01.dcm", scratch_ / "late.dcm");
  open();
  window_->correct("tip", with_point(window_->review()->sheet(), 1, Point::kStemTip, Vec2(9, 8)));
  wait();
  std::filesystem::rename(scratch_ / "late.dcm", folder() / "film-01.dcm");
  trigger("save");
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("film-01.dcm stands beside series.json"));
  trigger("measure");
  wait();
  EXPECT_EQ(shown(), by_command_line());
  EXPECT_THAT(shown(), HasSubstr("films_not_listed"));
  close();
  make();
  open();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("film-01.dcm stands beside series.json"));
}

TEST_F(Window, LeavesAFilmOutAndChangesTheReference) {
  Sheet sheet = Sheet::parse(read_text(folder() / "series.json").value());
  sheet["films"][1].erase("date");  // its header has it
  std::ofstream(folder() / "series.json") << text_of(sheet);
  open();
  window_->choose(1);
  trigger("exclude");
  wait();
  EXPECT_TRUE(window_->hip()->result.films[1].excluded);
  EXPECT_TRUE(window_->hip()->result.films[1].date) << "though it is not read any more";
  EXPECT_EQ(window_->hip()->result.comparisons.size(), 1U);
  trigger("undo");
  wait();
  window_->choose(1);
  trigger("reference");
  wait();
  EXPECT_EQ(window_->hip()->result.films[1].role, followup::Role::kReference);
}

// Two of one letter and Alt with it only moves the focus: neither is done.
TEST_F(Window, HasEveryLetterOfAltOnce) {
  open();
  auto* tabs = window_->findChild<QTabWidget*>();
  for (int i = 0; i < tabs->count(); ++i) {
    tabs->setCurrentIndex(i);
    QTest::qWait(1);
    EXPECT_TRUE(each_once(letters())) << "page " << i << ": " << letters().toStdString();
  }
  for (const QAction* head : window_->menuBar()->actions()) {
    QString inside;
    for (const QAction* action : head->menu()->actions()) inside += letter_of(action->text());
    EXPECT_TRUE(each_once(inside)) << head->text().toStdString() << ": " << inside.toStdString();
  }
}

TEST_F(Window, AsksForSideAndHeadWhereNoSheetIs) {
  std::filesystem::remove(folder() / "series.json");
  open();
  EXPECT_TRUE(each_once(letters())) << letters().toStdString();
  auto* asking = window_->findChild<QWidget*>("asking");
  ASSERT_TRUE(asking->isVisible());
  picture("asking");
  looks_as_before("asking");
  window_->findChild<QDoubleSpinBox*>("asked-diameter")->setValue(32.0);
  QTest::mouseClick(window_->findChild<QPushButton*>("asked-take"), Qt::LeftButton);
  wait();
  EXPECT_FALSE(asking->isVisible());
  EXPECT_EQ(window_->hip()->result.films[0].calibration->method, "head_diameter");
  EXPECT_FALSE(std::filesystem::exists(folder() / "series.json")) << "not before saving";
}

TEST_F(Window, AsksForASideThatWasOnlyAssumed) {
  // Without a header that names the side: pictures, with a scale from the sheet.
  std::ofstream(folder() / "series.json") << R"({"stem": {"head_diameter_mm": 32},
    "films": [{"file": "a.png"}]})";
  const auto film = film::read(folder() / "film-00.dcm").value();
  const auto [low, high] =
      std::minmax_element(film.pixels.values.begin(), film.pixels.values.end());
  QImage grey(film.pixels.width, film.pixels.height, QImage::Format_Grayscale8);
  for (int y = 0; y < grey.height(); ++y) {
    for (int x = 0; x < grey.width(); ++x) {
      grey.scanLine(y)[x] =
          static_cast<uchar>(255.0F * (film.pixels.at(x, y) - *low) / (*high - *low));
    }
  }
  ASSERT_TRUE(grey.save(QString::fromStdString(folder() / "a.png")));
  open();
  ASSERT_TRUE(window_->hip()->result.side) << "assumed";
  const auto* asking = window_->findChild<QWidget*>("asking");
  EXPECT_TRUE(asking->isVisible());
  trigger("side-right");
  wait();
  EXPECT_FALSE(asking->isVisible());
}

TEST_F(Window, OffersNoNumberThatNobodyStated) {
  std::filesystem::remove(folder() / "series.json");
  open();
  const Sheet before = window_->review()->sheet();
  for (const QString name : {"scale-dialog", "head-dialog"}) {
    SCOPED_TRACE(name.toStdString());
    trigger(name == "scale-dialog" ? "scale" : "head-diameter");
    auto* dialog = window_->findChild<QDialog*>(name);
    ASSERT_NE(dialog, nullptr);
    auto* number = dialog->findChild<QDoubleSpinBox*>(name + "-number");
    EXPECT_EQ(number->text(), "not given");
    QTest::keyClick(dialog, Qt::Key_Return);
    EXPECT_TRUE(dialog->isVisible()) << "there is nothing to take";
    EXPECT_FALSE(dialog->findChild<QPushButton*>(name + "-as-films")->isEnabled());
    EXPECT_EQ(window_->review()->sheet(), before);
    dialog->reject();
    QCoreApplication::sendPostedEvents(nullptr, QEvent::DeferredDelete);
  }
}

TEST_F(Window, GivesAScaleOnlyWhenItIsAnotherAndGivesItBack) {
  open();
  const auto film = static_cast<std::size_t>(0);  // the film in front
  const auto asked = [this](const std::function<void(QDialog*)>& answer) {
    trigger("scale");
    auto* dialog = window_->findChild<QDialog*>("scale-dialog");
    if (dialog == nullptr) throw std::runtime_error("no dialog");
    answer(dialog);
    if (dialog->isVisible()) dialog->reject();
    QCoreApplication::sendPostedEvents(nullptr, QEvent::DeferredDelete);
    wait();
  };
  const Sheet before = window_->review()->sheet();
  asked([](QDialog* dialog) { QTest::keyClick(dialog, Qt::Key_Return); });
  EXPECT_EQ(window_->review()->sheet(), before) << "the measured scale stays a measured one";
  asked([](QDialog* dialog) {
    dialog->findChild<QDoubleSpinBox*>("scale-dialog-number")->setValue(0.27);
    QTest::keyClick(dialog, Qt::Key_Return);
  });
  EXPECT_EQ(window_->review()->sheet()["films"][film]["mm_per_px"], 0.27);
  EXPECT_EQ(window_->hip()->result.films[film].calibration->method, "given");
  const auto steps = window_->review()->steps().size();
  asked([](QDialog* dialog) { QTest::keyClick(dialog, Qt::Key_Return); });
  EXPECT_EQ(window_->review()->steps().size(), steps) << "the same again is no step";
  asked([](QDialog* dialog) { dialog->findChild<QPushButton*>("scale-dialog-as-films")->click(); });
  EXPECT_EQ(window_->review()->sheet(), before);
  EXPECT_NE(window_->hip()->result.films[film].calibration->method, "given");
}

TEST_F(Window, AsksTheNextHipAnew) {
  std::filesystem::remove(folder() / "series.json");
  open();
  auto* side = window_->findChild<QComboBox*>("asked-side");
  auto* diameter = window_->findChild<QDoubleSpinBox*>("asked-diameter");
  EXPECT_EQ(window_->findChild<QLabel*>("asked-hip")->text(), "hip:");
  side->setCurrentIndex(2);
  diameter->setValue(32.0);
  const auto other = scratch_ / "other";
  std::filesystem::create_directory(other);
  std::filesystem::copy_file(folder() / "film-00.dcm", other / "film.dcm");
  window_->open(other);
  wait();
  ASSERT_TRUE(window_->findChild<QWidget*>("asking")->isVisible());
  EXPECT_EQ(window_->findChild<QLabel*>("asked-hip")->text(), "other:");
  EXPECT_EQ(side->currentIndex(), 0);
  EXPECT_EQ(diameter->value(), 0.0);
}

TEST_F(Window, SaysWhatIsWrongInOneSentence) {
  open();
  window_->open(scratch_ / "nowhere");
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("nowhere"));
  EXPECT_NE(window_->hip(), nullptr) << "the hip that is open stays";
  std::ofstream(folder() / "series.json") << R"({"films": [{"file": "gone.dcm"}]})";
  window_->open(folder());
  wait();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("gone.dcm"));
}

// An answer that was on its way came to a window without a hip.
TEST_F(Window, KeepsTheHipThatCannotBeOpenedAgain) {
  window_->open(folder());
  const std::string sheet = read_text(folder() / "series.json").value();
  std::ofstream(folder() / "series.json") << "{";
  window_->open(folder());
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("series.json"));
  ASSERT_NE(window_->review(), nullptr) << "what is open stays";
  std::ofstream(folder() / "series.json") << sheet;
  wait();
  EXPECT_NE(window_->hip(), nullptr);
  // The journal is gone and cannot be made: nothing is open then, and nothing is awaited.
  trigger("measure");
  std::this_thread::sleep_for(std::chrono::seconds(3));  // the answer waits to be heard
  std::filesystem::remove_all(scratch_ / "journals");
  std::ofstream(scratch_ / "journals") << "in the way";
  window_->open(folder());
  QTest::qWait(200);
  EXPECT_EQ(window_->review(), nullptr);
  EXPECT_EQ(window_->hip(), nullptr);
  EXPECT_FALSE(window_->busy());
}

TEST_F(Window, Cancels) {
  window_->open(folder());
  EXPECT_TRUE(window_->busy());
  window_->cancel();
  EXPECT_FALSE(window_->busy());
  QTest::qWait(50);
  trigger("measure");
  wait();
  EXPECT_NE(window_->hip(), nullptr);
}

TEST_F(Window, ReadsOnF5WhatWasCancelled) {
  window_->open(folder());
  window_->cancel();
  EXPECT_THAT(window_->right()->content().empty.toStdString(), HasSubstr("F5 reads it"));
  trigger("measure");
  wait();
  EXPECT_NE(window_->left()->content().first.picture, nullptr);
  EXPECT_TRUE(window_->right()->content().empty.isEmpty());
}

// A copy from the archive that was not finished when the folder was opened.
TEST_F(Window, ShowsOnF5WhatStandsOnTheDiskNow) {
  const auto film = folder() / "film-02.dcm";
  const std::string whole = read_text(film).value();
  std::filesystem::remove(film);
  std::ofstream(film, std::ios::binary) << whole.substr(0, 2000);
  open();
  window_->choose(2);
  EXPECT_FALSE(window_->right()->content().empty.isEmpty());
  std::ofstream(film, std::ios::binary) << whole;
  trigger("measure");
  wait();
  EXPECT_TRUE(window_->right()->content().empty.isEmpty());
  EXPECT_EQ(window_->hip()->result.films[2].status, followup::Status::kMeasured);
  const auto pixels = [this] {
    return window_->right()->content().first.picture->levels.front().values;
  };
  const auto before = pixels();
  // Another film under the same name: the picture follows the numbers.
  std::filesystem::remove(film);
  std::filesystem::copy_file(folder() / "film-01.dcm", film);
  trigger("measure");
  wait();
  EXPECT_TRUE(pixels() != before);
  EXPECT_EQ(window_->hip()->result.films[2].sha256, window_->hip()->result.films[1].sha256);
}

// A share that was away for a moment: time and size of the file are what they were.
TEST_F(Window, ReadsAgainOnF5WhatCouldNotBeRead) {
  const auto film = folder() / "film-02.dcm";
  const std::string whole = read_text(film).value();
  std::filesystem::remove(film);
  std::ofstream(film, std::ios::binary) << std::string(whole.size(), 'x');
  const auto time = std::filesystem::last_write_time(film);
  open();
  EXPECT_EQ(window_->hip()->result.films[2].status, followup::Status::kNotMeasured);
  std::ofstream(film, std::ios::binary) << whole;
  std::filesystem::last_write_time(film, time);
  trigger("measure");
  wait();
  EXPECT_EQ(window_->hip()->result.films[2].status, followup::Status::kMeasured);
}

TEST_F(Window, WritesTheReport) {
  open();
  ReportOrder order{scratch_ / "report",
                    {report::Form::kHtml, report::Form::kPdf},
                    true,
                    "A. Reader",
                    "Seen twice."};
  window_->report_to(order);
  wait();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("The report is in"));
  for (const char* file : {"report.html", "report.pdf", "result.json", "dicom"}) {
    EXPECT_TRUE(std::filesystem::exists(order.folder / file)) << file;
  }
  const std::string page = read_text(order.folder / "report.html").value();
  EXPECT_THAT(page, HasSubstr("A. Reader"));
  EXPECT_THAT(page, HasSubstr("Seen twice."));
  EXPECT_THAT(page, Not(HasSubstr("not in series.json yet")));
}

// A report of the program in that folder leaves files that belong to its own result.
TEST_F(Window, WhatARunLeftInTheFolderBelongsToTheWindowsReportThen) {
  open();
  const ReportOrder order{scratch_ / "report", {report::Form::kHtml}, false, "", ""};
  std::filesystem::create_directory(order.folder);
  followup::Result before = window_->hip()->result;
  before.comparisons.clear();
  ASSERT_TRUE(followup::write_history(before, {}, "0.1.0", order.folder));
  ASSERT_TRUE(followup::write_output(before, order.folder));
  window_->report_to(order);
  wait();
  const auto left = followup::read_earlier(order.folder, "0.1.0");
  EXPECT_EQ(left.note, "");
  ASSERT_TRUE(left.last_result && left.base_result);
  EXPECT_EQ(*left.last_result, read_text(order.folder / "result.json").value());
  EXPECT_EQ(*left.base_result, followup::to_json(before));
}

TEST_F(Window, SaysInTheReportThatCorrectionsAreNotSaved) {
  open();
  window_->correct("tip", with_point(window_->review()->sheet(), 2, Point::kStemTip, Vec2(9, 8)));
  const ReportOrder order{scratch_ / "report", {report::Form::kHtml}, false, "", ""};
  window_->report_to(order);
  wait();
  EXPECT_THAT(read_text(order.folder / "report.html").value(),
              HasSubstr("corrections that were not in series.json yet"));
}

TEST_F(Window, SaysWhatIsWrongWithTheReportsFolderWithoutOptions) {
  open();
  window_->report_to({folder() / "report", {report::Form::kHtml}, false, "", ""});
  wait();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("inside the folder of the films"));
  EXPECT_THAT(window_->message().toStdString(), Not(HasSubstr("--")));
}

TEST_F(Window, WritesNoReportIntoTheFolderOfFilmsThatLieDeeper) {
  std::filesystem::create_directory(folder() / "sub");
  std::filesystem::rename(folder() / "film-00.dcm", folder() / "sub" / "film-00.dcm");
  std::ofstream(folder() / "series.json") << R"({"films": [{"file": "sub/film-00.dcm"}]})";
  open();
  window_->report_to({folder() / "out", {report::Form::kHtml}, false, "", ""});
  wait();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("inside the folder of the films"));
  EXPECT_FALSE(std::filesystem::exists(folder() / "out"));
}

TEST_F(Window, ReplacesNoReportOfAnotherHip) {
  open();
  const ReportOrder order{scratch_ / "report", {report::Form::kHtml}, false, "", ""};
  std::filesystem::create_directory(order.folder);
  const std::string other = R"({"hip": "another", "films": [{"sha256": "00"}]})";
  std::ofstream(order.folder / "result.json") << other;
  window_->report_to(order);
  wait();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("of another hip"));
  EXPECT_THAT(window_->message().toStdString(), Not(HasSubstr("--")));
  EXPECT_EQ(read_text(order.folder / "result.json").value(), other);
}

TEST_F(Window, WritesTheReportWhereNoObjectForTheArchiveCanBeMade) {
  const auto plain = scratch_ / "plain";
  std::filesystem::create_directory(plain);
  QImage grey(400, 500, QImage::Format_Grayscale8);
  grey.fill(90);
  ASSERT_TRUE(grey.save(QString::fromStdString(plain / "a.png")));
  window_->open(plain);
  wait();
  const ReportOrder order{
      scratch_ / "report", {report::Form::kHtml, report::Form::kPdf}, true, "", ""};
  window_->report_to(order);
  wait();
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("The report is in"));
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("DICOM"));
  for (const char* file : {"report.html", "report.pdf", "result.json", "measurements.csv"}) {
    EXPECT_TRUE(std::filesystem::exists(order.folder / file)) << file;
  }
}

TEST_F(Window, SaysThatAReportWasGivenUpWhenAnotherHipIsOpened) {
  open();
  const auto other = scratch_ / "other";
  std::filesystem::create_directory(other);
  std::filesystem::copy_file(folder() / "film-00.dcm", other / "film.dcm");
  trigger("measure");
  const ReportOrder order{scratch_ / "report", {report::Form::kHtml}, false, "", ""};
  window_->report_to(order);
  window_->open(other);
  EXPECT_TRUE(QTest::qWaitFor([this] { return !window_->busy(); }, 60000));
  EXPECT_THAT(window_->message().toStdString(), HasSubstr("given up"));
  EXPECT_FALSE(std::filesystem::exists(order.folder));
}

TEST_F(Window, AsksBeforeItIsClosedWhileAReportIsNotWritten) {
  close();
  memory() = {};  // so that the report takes a second
  make();
  window_->open(folder());
  window_->report_to({scratch_ / "report", {report::Form::kHtml}, false, "", ""});
  const auto answer = [](const char* with) {
    QTimer::singleShot(100, [with] {
      auto* box = qobject_cast<QMessageBox*>(QApplication::activeModalWidget());
      if (box == nullptr) return;
      for (QAbstractButton* button : box->buttons()) {
        if (button->text() == with) button->click();
      }
    });
  };
  answer("&Back");
  EXPECT_FALSE(window_->close());
  EXPECT_TRUE(window_->isVisible());
  ASSERT_TRUE(window_->busy());
  answer("&Close without the report");
  EXPECT_TRUE(window_->close());
}

TEST_F(Window, EveryPartHasANameForScreenReadersAndEveryActionAKeyOrAMenu) {
  open();
  for (const QWidget* widget : window_->findChildren<QWidget*>()) {
    const bool reached = (widget->focusPolicy() & Qt::TabFocus) != 0 && widget->isVisible();
    if (!reached || widget->objectName().startsWith("qt_")) continue;
    const bool named = !widget->accessibleName().isEmpty() ||
                       qobject_cast<const QAbstractButton*>(widget) != nullptr ||
                       qobject_cast<const QTabBar*>(widget) != nullptr ||
                       widget->inherits("QTabWidget");
    EXPECT_TRUE(named) << widget->metaObject()->className() << " "
                       << widget->objectName().toStdString();
  }
  std::map<QString, QString> keys;
  for (const QAction* action : window_->findChildren<QAction*>()) {
    for (const QKeySequence& key : action->shortcuts()) {
      EXPECT_TRUE(keys.emplace(key.toString(), action->objectName()).second)
          << key.toString().toStdString() << " stands twice";
    }
  }
}

/// Random clicks, drags, wheels and keys, from a seed; nothing may crash or hang.
TEST_F(Window, StandsRandomClicksAndKeys) {
  open();
  std::mt19937 random(8);
  const auto upto = [&](int n) { return static_cast<int>(random() % static_cast<unsigned>(n)); };
  const int keys[] = {
      Qt::Key_Left,   Qt::Key_Right, Qt::Key_Up,     Qt::Key_Down,        Qt::Key_N,   Qt::Key_E,
      Qt::Key_L,      Qt::Key_G,     Qt::Key_T,      Qt::Key_H,           Qt::Key_1,   Qt::Key_2,
      Qt::Key_3,      Qt::Key_4,     Qt::Key_5,      Qt::Key_J,           Qt::Key_K,   Qt::Key_Plus,
      Qt::Key_Minus,  Qt::Key_0,     Qt::Key_9,      Qt::Key_F6,          Qt::Key_F10, Qt::Key_Tab,
      Qt::Key_Delete, Qt::Key_Space, Qt::Key_PageUp, Qt::Key_BracketLeft, Qt::Key_A,   Qt::Key_V,
      Qt::Key_W};
  const char* const actions[] = {"undo",    "redo",      "next-film",  "previous-film",
                                 "save",    "exclude",   "reference",  "cancel-work",
                                 "measure", "next-zone", "mark-agree", "mark-none",
                                 "help",    "tab-3",     "tab-0"};
  window_->set_reader("R1");
  const int seconds = qEnvironmentVariableIntValue("TIDEMARK_FUZZ_SECONDS");
  QElapsedTimer clock;
  clock.start();
  int done = 0;
  while (clock.elapsed() < qint64{1000} * (seconds > 0 ? seconds : 6)) {
    FilmCanvas* canvas = upto(2) == 0 ? window_->left() : window_->right();
    const QPoint at(upto(std::max(1, canvas->width())), upto(std::max(1, canvas->height())));
    switch (upto(8)) {
      case 0:
      case 1:
        drag(canvas, at, at + QPoint(upto(80) - 40, upto(80) - 40));
        break;
      case 2:
        QTest::mouseDClick(canvas, Qt::LeftButton, {}, at);
        break;
      case 3:
        QTest::mousePress(canvas, Qt::RightButton, {}, at);
        move(canvas, at + QPoint(upto(60) - 30, upto(60) - 30), Qt::RightButton);
        QTest::mouseRelease(canvas, Qt::RightButton, {}, at);
        break;
      case 4:
        trigger(actions[upto(static_cast<int>(std::size(actions)))]);
        break;
      default:
        QTest::keyClick(upto(3) == 0 ? static_cast<QWidget*>(window_.get()) : canvas,
                        static_cast<Qt::Key>(keys[upto(static_cast<int>(std::size(keys)))]));
    }
    if (window_->findChild<QDialog*>("help-dialog") != nullptr) close_help();
    if (upto(5) == 0) QTest::qWait(5);
    ++done;
  }
  wait();
  RecordProperty("events", done);
  EXPECT_GT(done, 30);
  EXPECT_TRUE(window_->review()->series());
}

}  // namespace
}  // namespace tidemark::view

int main(int argc, char** argv) {
  if (qEnvironmentVariableIsEmpty("QT_QPA_PLATFORM")) qputenv("QT_QPA_PLATFORM", "offscreen");
  ::testing::InitGoogleTest(&argc, argv);
  QApplication app(argc, argv);
  QApplication::setStyle(
      "Fusion");  // pictures that are compared must not hang on a desktop's taste
  QApplication::setFont(QFont("DejaVu Sans", QApplication::font().pointSize()));
  return RUN_ALL_TESTS();
}
