#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <QTableWidget>
#include <QTest>
#include <QTextDocument>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "finding_page.h"
#include "measurer.h"
#include "overlay.h"
#include "zone_page.h"

// Parts of the window on made-up results: what no film of the tests shows.

namespace tidemark::view {
namespace {

using followup::FilmResult;
using followup::ZoneResult;
using lucency::Interface;
using lucency::State;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

ZoneResult zone(int number, Interface interface, State state) {
  ZoneResult out;
  out.zone = number;
  out.interface = interface;
  out.state = state;
  return out;
}

/// Stem-cement first, as results have it. Zone 3 has a line, but not at the first interface.
FilmResult cemented() {
  FilmResult out;
  out.file = "late.dcm";
  const auto both = [&](int number, State stem, State bone) {
    out.zones.push_back(zone(number, Interface::kStemCement, stem));
    out.zones.push_back(zone(number, Interface::kCementBone, bone));
  };
  both(1, State::kAbsent, State::kAbsent);
  both(2, State::kAbsent, State::kCannotTell);
  both(3, State::kAbsent, State::kPresent);
  both(4, State::kPresent, State::kAbsent);
  both(5, State::kAbsent, State::kNotSeen);
  for (int i = 0; i < 5; ++i) {
    out.zone_borders.push_back({Vec2(100.0, 100.0 * i), Vec2(200.0, 100.0 * i)});
  }
  return out;
}

std::vector<std::string> names_on(const Overlay& overlay) {
  std::vector<std::string> out;
  for (const PointMark& mark : overlay.points) out.push_back(mark.name);
  return out;
}

TEST(CementedHip, TheFilmSaysALineWhereAnyInterfaceHasOne) {
  const auto names = names_on(overlay_of(cemented(), 0, {}));
  EXPECT_THAT(names, Contains("1 no line\u2020"));
  EXPECT_THAT(names, Contains("2")) << "open at one interface: nothing is said";
  EXPECT_THAT(names, Contains("3 line\u2020"));
  EXPECT_THAT(names, Contains("4 line\u2020"));
  EXPECT_THAT(names, Contains("5"));
}

TEST(CementedHip, AClickChoosesTheInterfaceThatHasTheLine) {
  followup::Result result;
  result.films = {cemented()};
  auto& unrolled = result.unrolled.emplace_back();
  auto& strip = unrolled.strips.emplace_back();
  constexpr int kColumns = 50;  // ten a zone
  strip.grey = RasterOf<std::uint8_t>(kColumns, 8);
  strip.edge_px.resize(kColumns);
  strip.state.resize(kColumns);
  for (int i = 0; i < 5; ++i) unrolled.zones.push_back({i + 1, 10.0 * i, 10.0 * i + 9.0});
  std::optional<ZonePlace> marked;
  ZonePage page({[](const auto&) {}, [&](const ZonePlace& place, auto) { marked = place; }},
                nullptr);
  page.show_film(result, 0, {}, "");
  const auto marked_by_click = [&](int number) {
    QTest::mouseClick(page.strips(), Qt::LeftButton, {}, page.strips()->rect_of(number).center());
    page.mark(followup::Opinion::kAgree);
    return marked->zone == number ? marked->interface : Interface::kStemBone;
  };
  EXPECT_EQ(marked_by_click(3), Interface::kCementBone);
  EXPECT_EQ(marked_by_click(4), Interface::kStemCement);
  EXPECT_EQ(marked_by_click(2), Interface::kCementBone);
  page.table()->setCurrentCell(4, 0);  // the row of zone 3 without a line, by hand
  EXPECT_EQ(marked_by_click(3), Interface::kCementBone);
}

// Rows that stand twice as far apart as columns: a view px is a stored column and half a stored row
// (docs/series-format.md: the diameter counts columns). A head of 320 columns is 160 rows high.
TEST(PixelsThatAreNotSquare, TheHeadsHandleLiesOnItsRimAndGivesItsDiameter) {
  Affine2 view_from_stored;
  view_from_stored.linear(1, 1) = 2.0;
  FilmResult film;
  film.head = followup::CircleResult{Vec2(500.0, 200.0), 320.0};
  const Overlay overlay = overlay_of(film, 0, {{}, view_from_stored, Whose::kReference});
  const Vec2 centre(500.0, 400.0);  // in the view, the world here
  const Handle edge{0, Grip::kHeadEdge};
  const auto grip = std::find_if(overlay.points.begin(), overlay.points.end(),
                                 [&](const PointMark& mark) { return mark.handle == edge; });
  ASSERT_NE(grip, overlay.points.end());
  EXPECT_NEAR((grip->at - (centre - Vec2(0.0, 160.0))).norm(), 0.0, 1e-9);
  ASSERT_EQ(overlay.lines.size(), 1U);
  for (const Vec2& p : overlay.lines[0].points) EXPECT_NEAR((p - centre).norm(), 160.0, 1e-9);
  // Dragged on the rim it stays a head of 320, wherever it is put; 10 view px out make it 20 wider.
  for (const double angle : {0.0, 0.7, -1.5}) {
    const Vec2 way(std::cos(angle), std::sin(angle));
    for (const double radius : {160.0, 170.0}) {
      const Vec2 at = view_from_stored.inverse().apply(centre + radius * way);
      const Sheet sheet = moved(sheet_of({"a.png"}), film, edge, at, view_from_stored).value();
      EXPECT_NEAR(sheet["films"][0]["landmarks_px"]["head_diameter"].get<double>(), 2.0 * radius,
                  0.01);
    }
  }
}

/// Two measured follow-up films; the pair of the second was refused.
followup::Result refused_pair() {
  followup::Result out;
  out.films.resize(3);
  for (std::size_t i = 0; i < 3; ++i) {
    out.films[i].file = "film-0" + std::to_string(i) + ".dcm";
    out.films[i].status = followup::Status::kMeasured;
  }
  for (const std::size_t film : {1U, 2U}) {
    auto& pair = out.comparisons.emplace_back();
    pair.follow_up = film;
  }
  out.comparisons[0].status = followup::Status::kMeasured;
  out.comparisons[0].migration.emplace().subsidence = {{2.1}, {0.2}, {0.4}};
  out.comparisons[1].reason = "the bone shows too little, take the film again";
  return out;
}

std::string finding(const followup::Result& result, std::size_t chosen) {
  QTextDocument page;
  page.setHtml(
      finding_html(result, report::document_of(result, report::Language::kEnglish), chosen));
  return page.toPlainText().toStdString();
}

TEST(FindingPage, SaysWhyAPairWasRefusedWhicheverFilmIsChosen) {
  for (const std::size_t chosen : {1U, 2U}) {
    const std::string text = finding(refused_pair(), chosen);
    EXPECT_THAT(text, HasSubstr("the bone shows too little, take the film again")) << chosen;
  }
  EXPECT_THAT(finding(refused_pair(), 1),
              HasSubstr("film-02.dcm could not be compared with film-00.dcm"));
}

TEST(FindingPage, TellsTheDoubtsOfTheChosenFilmUnderItsNumbers) {
  auto result = refused_pair();
  result.comparisons[0].flags = {{"few_votes", "Doubt of the first pair."}};
  result.films[1].flags = {{"implant_uncertain", "Perhaps another implant."},
                           {"file_note", "No doubt of the pair."}};
  result.comparisons[1].migration = result.comparisons[0].migration;
  result.comparisons[1].status = followup::Status::kMeasured;
  result.comparisons[1].flags = {{"few_votes", "Doubt of the second pair."}};
  const std::string text = finding(result, 1);
  const auto own = text.find("What stands against these numbers");
  const auto of_verdict = text.find("What stands against it (film-02.dcm)");
  ASSERT_NE(own, std::string::npos);
  ASSERT_NE(of_verdict, std::string::npos);
  const std::string under = text.substr(own, of_verdict - own);
  EXPECT_THAT(under, HasSubstr("Doubt of the first pair."));
  EXPECT_THAT(under, HasSubstr("film-01.dcm: Perhaps another implant."));
  EXPECT_THAT(under, Not(HasSubstr("No doubt of the pair.")));
  EXPECT_THAT(under, Not(HasSubstr("second pair")));
  const std::string of_last = finding(result, 2);
  EXPECT_THAT(of_last, Not(HasSubstr("What stands against these numbers"))) << "said once";
  EXPECT_THAT(of_last, HasSubstr("Doubt of the second pair."));
}

// A folder of many films, of which a few are chosen: the few do not wait for the many.
TEST(Measurer, ANewListOfFilmsTakesThePlaceOfTheOneThatIsStillRead) {
  const auto all = followup::load_series(TIDEMARK_FILMS, {}).value();
  ASSERT_EQ(all.films.size(), 3U);
  auto one = all;
  one.films.erase(one.films.begin(), one.films.begin() + 2);
  std::mutex mutex;
  std::vector<Order> answered;
  Heard heard;
  heard.film = [&](Order order, const std::string&, const auto&) {
    const std::scoped_lock lock(mutex);
    answered.push_back(order);
  };
  Measurer measurer([](const std::function<void()>& done) { done(); }, heard);
  const Order first = measurer.load(all, 0);
  const Order second = measurer.load(one, 0);
  const auto count = [&](Order order) {
    const std::scoped_lock lock(mutex);
    return std::count(answered.begin(), answered.end(), order);
  };
  while (count(second) == 0) std::this_thread::sleep_for(std::chrono::milliseconds(5));
  EXPECT_LE(count(first), 1) << "what was being read when the second came";
  EXPECT_EQ(measurer.films_kept(), 1U);
}

}  // namespace
}  // namespace tidemark::view
