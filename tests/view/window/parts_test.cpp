#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <QTableWidget>
#include <QTest>
#include <optional>

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

}  // namespace
}  // namespace tidemark::view
