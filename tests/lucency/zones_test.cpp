#include "tidemark/lucency/zones.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "drawn_stem.h"

namespace tidemark::lucency {
namespace {

struct Drawn {
  DrawnFilm how;
  film::FilmImage film = draw(how);
  anatomy::Implant implant = implant_of(how, film);
  MillimetresPerPixel scale{how.mm_per_px};
  Entry entry{Vec2((kAxisMm + how.half_width_mm) / how.mm_per_px, kEntryMm / how.mm_per_px),
              Millimetres{0.4}, Source::kFound};
};

double length_inside(const Zone& zone, double from, double to) {
  return std::max(0.0, std::min(to, zone.to.value) - std::max(from, zone.from.value));
}

// Derived from the published division (Gruen, McNeice, Amstutz, Clin Orthop 141 (1979) 17; thirds
// from memory): an embedded length of 126.0 mm has its borders at 42.0 and 84.0 mm, and a line from
// 30.0 to 60.0 mm lies 12.0 mm in zone 1 (28.6 %) and 18.0 mm in zone 2 (42.9 %).
TEST(Zones, ThirdsOfTheEmbeddedLength) {
  const Drawn drawn;
  const auto plan = divide(drawn.implant, drawn.scale, View::kAp, drawn.entry);
  ASSERT_TRUE(plan.has_value()) << plan.error().sentence();
  ASSERT_EQ(plan->zones.size(), 7U);
  const double borders[] = {0.0, 42.0, 84.0, 126.0, 136.0};
  ASSERT_EQ(plan->borders.size(), 5U);
  for (std::size_t i = 0; i < 5; ++i) {
    const Vec2 middle = 0.5 * (plan->borders[i].lateral_px + plan->borders[i].medial_px);
    EXPECT_NEAR(drawn.how.mm_per_px * along(plan->axis_px, middle), borders[i], 1e-6);
    EXPECT_LT(plan->borders[i].lateral_px.x(), plan->borders[i].medial_px.x());
  }
  EXPECT_NEAR(length_inside(plan->zones[0], 30.0, 60.0), 12.0, 1e-6);
  EXPECT_NEAR(length_inside(plan->zones[1], 30.0, 60.0), 18.0, 1e-6);
  EXPECT_NEAR(length_inside(plan->zones[0], 30.0, 60.0) / 42.0, 0.286, 5e-4);
  EXPECT_NEAR(length_inside(plan->zones[1], 30.0, 60.0) / 42.0, 0.429, 5e-4);
  EXPECT_FALSE(plan->entry_assumed);
}

struct ZoneRow {
  int number;
  Flank flank;
  double from, to;
  double x;  ///< mm from the axis, medial +, of the interface's middle point
};

// Numbers run down the lateral flank and up the medial one (as above).
TEST(Zones, NumbersAndFlanks) {
  const Drawn drawn;
  const auto plan = divide(drawn.implant, drawn.scale, View::kAp, drawn.entry);
  ASSERT_TRUE(plan.has_value());
  const ZoneRow rows[] = {{1, Flank::kLateral, 0, 42, -6},   {2, Flank::kLateral, 42, 84, -6},
                          {3, Flank::kLateral, 84, 126, -6}, {4, Flank::kTip, 126, 136, 0},
                          {5, Flank::kMedial, 84, 126, 6},   {6, Flank::kMedial, 42, 84, 6},
                          {7, Flank::kMedial, 0, 42, 6}};
  for (std::size_t i = 0; i < 7; ++i) {
    const Zone& zone = plan->zones[i];
    SCOPED_TRACE(rows[i].number);
    EXPECT_EQ(zone.number, rows[i].number);
    EXPECT_EQ(zone.flank, rows[i].flank);
    EXPECT_NEAR(zone.from.value, rows[i].from, 1e-6);
    EXPECT_NEAR(zone.to.value, rows[i].to, 1e-6);
    const Vec2 middle = zone.interface_px[zone.interface_px.size() / 2];
    EXPECT_NEAR(middle.x() * drawn.how.mm_per_px - kAxisMm, rows[i].x, 0.3);
    // Proximal to distal on a flank, lateral to medial about the tip.
    const Vec2 way = zone.interface_px.back() - zone.interface_px.front();
    EXPECT_GT(zone.flank == Flank::kTip ? way.x() : way.y(), 0.0);
  }
}

TEST(Zones, LateralFilmsCountOnFromEight) {
  const Drawn drawn;
  const auto plan = divide(drawn.implant, drawn.scale, View::kLateral, drawn.entry);
  ASSERT_TRUE(plan.has_value());
  EXPECT_EQ(plan->zones.front().number, 8);
  EXPECT_EQ(plan->zones.back().number, 14);
}

/// A point `along_mm` below the entry level, off the axis: only its level counts.
Vec2 below_entry(const Drawn& drawn, double along_mm) {
  return Vec2(kAxisMm + 20.0, kEntryMm + along_mm) / drawn.how.mm_per_px;
}

// The drawn stem reaches 126 mm into bone; thirds of that would be 42 mm.
TEST(Zones, EndAtBordersByHand) {
  const Drawn drawn;
  const auto plan = divide(drawn.implant, drawn.scale, View::kAp, drawn.entry,
                           {below_entry(drawn, 90.0), below_entry(drawn, 100.0)});
  ASSERT_TRUE(plan.has_value());
  EXPECT_NEAR(plan->zones[0].to.value, 90.0, 0.1);
  EXPECT_NEAR(plan->zones[1].to.value, 100.0, 0.1);
  EXPECT_NEAR(plan->zones[2].to.value, 126.0, 0.1);
  EXPECT_NEAR(plan->zones[5].from.value, 90.0, 0.1);
  EXPECT_EQ(plan->borders[1].source, Source::kGiven);
  EXPECT_EQ(plan->borders[2].source, Source::kGiven);
  EXPECT_EQ(plan->borders[3].source, Source::kFound);
  ASSERT_EQ(plan->flags.size(), 1U);
  EXPECT_EQ(plan->flags.front().id, "short_zones") << "10 mm";
}

TEST(Zones, KeepTheThirdThatNoHandMoved) {
  const Drawn drawn;
  const auto plan =
      divide(drawn.implant, drawn.scale, View::kAp, drawn.entry, {{}, below_entry(drawn, 60.0)});
  ASSERT_TRUE(plan.has_value());
  EXPECT_NEAR(plan->zones[0].to.value, 42.0, 0.1);
  EXPECT_NEAR(plan->zones[1].to.value, 60.0, 0.1);
  EXPECT_EQ(plan->borders[1].source, Source::kFound);
  EXPECT_TRUE(plan->flags.empty());
}

TEST(Zones, LeaveAMisplacedBorderAside) {
  const Drawn drawn;
  for (const double at : {-5.0, 2.0, 82.0, 130.0}) {
    SCOPED_TRACE(at);
    const auto plan =
        divide(drawn.implant, drawn.scale, View::kAp, drawn.entry, {below_entry(drawn, at), {}});
    ASSERT_TRUE(plan.has_value());
    EXPECT_NEAR(plan->zones[0].to.value, 42.0, 0.1);
    EXPECT_EQ(plan->borders[1].source, Source::kFound);
    ASSERT_EQ(plan->flags.size(), 1U);
    EXPECT_EQ(plan->flags.front().id, "zone_border_misplaced");
  }
}

TEST(Zones, WithoutAnEntryTheLevelIsAssumedAndFlagged) {
  const Drawn drawn;
  const auto plan = divide(drawn.implant, drawn.scale, View::kAp, std::nullopt);
  ASSERT_TRUE(plan.has_value());
  EXPECT_TRUE(plan->entry_assumed);
  EXPECT_GE(plan->entry_u.value, 6.0);  // docs/lucency.md, RMS of such films
  ASSERT_EQ(plan->flags.size(), 1U);
  EXPECT_EQ(plan->flags.front().id, "entry_assumed");
}

TEST(Zones, RefusesWhatItCannotDivide) {
  const Drawn drawn;
  const auto no_scale = divide(drawn.implant, {0.0}, View::kAp, drawn.entry);
  ASSERT_FALSE(no_scale.has_value());
  EXPECT_EQ(no_scale.error().kind, ErrorKind::kBadInput);
  anatomy::Implant cut = drawn.implant;
  cut.outline_px.resize(cut.outline_px.size() / 3);
  const auto short_outline = divide(cut, drawn.scale, View::kAp, drawn.entry);
  ASSERT_FALSE(short_outline.has_value());
  EXPECT_EQ(short_outline.error().kind, ErrorKind::kCannotTell);
}

// The drawn bone begins at y = 0 exactly.
TEST(Entry, IsWhereBoneBegins) {
  const Drawn drawn;
  const auto entry = find_entry(drawn.film, drawn.implant, drawn.scale);
  ASSERT_TRUE(entry.has_value());
  EXPECT_NEAR(entry->px.y() * drawn.how.mm_per_px - kEntryMm, 0.0, 0.3);
  EXPECT_LE(entry->u.value, 1.6);
}

/// Gives every place beside the medial flank between two levels, mm below the entry, a grey by its
/// distance from the metal. The first millimetre of halo and blur stays.
template <typename GreyAt>
void beside_medial_flank(film::FilmImage& film, const DrawnFilm& how, double from_mm, double to_mm,
                         const GreyAt& grey) {
  for (int y = 0; y < film.pixels.height; ++y) {
    const double below = y * how.mm_per_px - kEntryMm;
    if (below < from_mm || below >= to_mm) continue;
    for (int x = 0; x < film.pixels.width; ++x) {
      const double out = x * how.mm_per_px - kAxisMm - how.half_width_mm;
      if (out > 0.5) film.pixels.at(x, y) = static_cast<float>(grey(out));
    }
  }
}

// What is left of the calcar is a rim of 1.5 mm behind a line of 1.5 mm; 9 mm farther down the
// lesser trochanter begins, whose step is wider and half again as high. Its level was taken for the
// bone's (12.0 mm too distal on a film of the phantom's lucency set, seed 77031).
TEST(Entry, IsThatOfAThinCalcarAboveTheTrochanter) {
  DrawnFilm how;
  how.noise = 10.0;
  film::FilmImage film = draw(how);
  const anatomy::Implant implant = implant_of(how, film);
  beside_medial_flank(film, how, 0.0, 9.0,
                      [](double out) { return out > 1.5 && out < 3.0 ? kBone : kSoft; });
  beside_medial_flank(film, how, 9.0, 100.0, [](double) { return kBone + 0.5 * (kBone - kSoft); });
  const auto entry = find_entry(film, implant, {how.mm_per_px});
  ASSERT_TRUE(entry.has_value());
  const double error = entry->px.y() * how.mm_per_px - kEntryMm;
  EXPECT_NEAR(error, 0.0, 1.0);
  EXPECT_LE(std::abs(error), 1.96 * entry->u.value);
}

// A faint border above a strong one may be the cut or not.
TEST(Entry, IsAbsentWhereAFainterBorderStandsAbove) {
  DrawnFilm how;
  how.noise = 5.0;
  film::FilmImage film = draw(how);
  const anatomy::Implant implant = implant_of(how, film);
  beside_medial_flank(film, how, 0.0, 9.0, [](double) { return kSoft + 0.3 * (kBone - kSoft); });
  EXPECT_FALSE(find_entry(film, implant, {how.mm_per_px}).has_value());
}

// The drawn shoulder stands 12 mm above the entry level; 23 mm below it no cut lies.
TEST(Entry, IsAbsentWhereTheOnlyBorderLiesFarFromWhereCutsLie) {
  DrawnFilm how;
  film::FilmImage film = draw(how);
  const anatomy::Implant implant = implant_of(how, film);
  beside_medial_flank(film, how, 0.0, 11.0, [](double) { return kSoft; });
  EXPECT_FALSE(find_entry(film, implant, {how.mm_per_px}).has_value());
}

TEST(Entry, IsAbsentWithoutAStep) {
  DrawnFilm how;
  how.noise = 30.0;
  film::FilmImage film = draw(how);
  const anatomy::Implant implant = implant_of(how, film);
  // Bone all the way up: what stands above the entry level is copied from below it.
  const int entry_row = static_cast<int>(kEntryMm / how.mm_per_px);
  for (int y = 0; y < entry_row + 40; ++y) {
    for (int x = 0; x < film.pixels.width; ++x) {
      film.pixels.at(x, y) = film.pixels.at(x, y + entry_row + 80);
    }
  }
  EXPECT_FALSE(find_entry(film, implant, {how.mm_per_px}).has_value());
}

}  // namespace
}  // namespace tidemark::lucency
