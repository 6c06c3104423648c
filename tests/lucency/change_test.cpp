#include "tidemark/lucency/change.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <string>

#include "lucency/invented_lines.h"

namespace tidemark::lucency {
namespace {

using invented::film;
using invented::WidthAt;
using testing::HasSubstr;

const WidthAt none_at = [](int, double) { return 0.0; };

WidthAt everywhere(double width) {
  return [=](int, double) { return width; };
}

WidthAt in_zone(int zone, double width, double elsewhere = 0.0) {
  return [=](int number, double) { return number == zone ? width : elsewhere; };
}

ZoneChange of(const std::vector<ZoneChange>& all, int zone) {
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const ZoneChange& one) { return one.zone == zone; });
  return found == all.end() ? ZoneChange{} : *found;
}

struct Row {
  std::string name;
  std::string source;
  WidthAt then;
  WidthAt now;
  int zone;
  double change, mean;  // mm
  Answer progressive;
  std::string reason;

  friend void PrintTo(const Row& row, std::ostream* os) { *os << row.source; }
};

class ChangeTable : public testing::TestWithParam<Row> {};

TEST_P(ChangeTable, GivesTheAnswerWorkedByHand) {
  const Row& row = GetParam();
  SCOPED_TRACE(row.source);
  const auto change = of(compare(film(0.0, row.then), film(0.0, row.now)), row.zone);
  ASSERT_TRUE(change.change.has_value());
  EXPECT_NEAR(change.change->value.value, row.change, 1e-9);
  EXPECT_NEAR(change.change_mean->value.value, row.mean, 1e-9);
  EXPECT_EQ(change.progressive, row.progressive);
  EXPECT_THAT(change.reason, HasSubstr(row.reason));
  EXPECT_DOUBLE_EQ(change.compared, 1.0);
}

const WidthAt upper_half = [](int zone, double at) { return zone == 1 && at < 20.25 ? 2.0 : 0.0; };

// Zones are 40 mm long (81 points, 0.5 mm apart). Rule: change.h.
INSTANTIATE_TEST_SUITE_P(
    Rule, ChangeTable,
    testing::Values(
        Row{"Grew", "derived: 1.0 to 2.2 mm, 1.2 > u95 = 1.96 hypot(0.1, 0.1) = 0.28",
            everywhere(1.0), everywhere(2.2), 2, 1.2, 1.2, Answer::kYes, "1 mm or more"},
        Row{"GrewALittle", "derived: 0.5 + 0.28 < 1 mm", everywhere(1.0), everywhere(1.5), 6, 0.5,
            0.5, Answer::kNo, "less than 1 mm"},
        Row{"GrewUnclear", "derived: 0.9 + 0.28 > 1 mm > 0.9", everywhere(1.0), everywhere(1.9), 5,
            0.9, 0.9, Answer::kCannotTell, "reaches 1 mm"},
        Row{"New", "derived: 0.8 > 1.96 hypot(0.17, 0.1) = 0.39", none_at, in_zone(7, 0.8), 7, 0.8,
            0.8, Answer::kYes, "shows none"},
        Row{"NewButThin", "derived: 0.35 < 0.39", none_at, in_zone(7, 0.35), 7, 0.35, 0.35,
            Answer::kCannotTell, "is new"},
        Row{"NewElsewhere", "a line in zone 7 says nothing of zone 6", none_at, in_zone(7, 0.8), 6,
            0.0, 0.0, Answer::kNo, "no line"},
        Row{"FilledIn", "derived: the largest change is the loss", everywhere(0.9), none_at, 3,
            -0.9, -0.9, Answer::kNo, "no line"},
        Row{"LostOrTooWide", "a line of 3 mm that grew to 4.5 mm is no line to be told",
            everywhere(3.0), none_at, 3, -3.0, -3.0, Answer::kCannotTell, "lost 1 mm or more"},
        Row{"Narrower", "derived: 2.5 to 1.3 mm, a loss of 1.2 mm", everywhere(2.5),
            everywhere(1.3), 6, -1.2, -1.2, Answer::kCannotTell, "lost 1 mm or more"},
        Row{"GrewInLength", "derived: new over 41 of 81 points of a zone", none_at, upper_half, 1,
            2.0, 2.0 * 41.0 / 81.0, Answer::kYes, "shows none"},
        Row{"Tip", "the tip zone goes along the outline, not along the axis", in_zone(4, 1.0),
            in_zone(4, 2.5), 4, 1.5, 1.5, Answer::kYes, "1 mm or more"}),
    [](const auto& row) { return row.param.name; });

TEST(Change, ErrorsOfBothFilmsCount) {
  const auto change = of(compare(film(0.0, everywhere(1.0)), film(0.0, everywhere(2.0))), 1);
  // derived: both films' points 0.1 mm; means 0.08 mm (invented_lines.h); lengths 1 mm.
  EXPECT_NEAR(change.change->u.value, std::hypot(0.1, 0.1), 1e-9);
  EXPECT_NEAR(change.change_mean->u.value, std::hypot(0.08, 0.08), 1e-9);
  EXPECT_NEAR(change.change_length->u.value, std::hypot(1.0, 1.0), 1e-9);
  EXPECT_NEAR(change.change->u95.value, 1.96 * change.change->u.value, 1e-4);  // GUM, table G.1
}

TEST(Change, LengthIsThatOfThePlacesInCommon) {
  const auto change = of(compare(film(0.0, none_at), film(0.0, upper_half)), 1);
  EXPECT_NEAR(change.change_length->value.value, 0.5 * 41.0, 1e-9);
}

// The entry level belongs to the bone: a stem that subsided by 3 mm has its places 3 mm further
// from it, and a line that went with the stem has not changed.
TEST(Change, PlacesBelongToTheStemNotToTheEntryLevel) {
  const auto mark = [](double entry) {
    return [=](int zone, double at) {
      const double on_stem = entry + at;  // from the stem's own origin
      return zone <= 3 && on_stem > 50.0 && on_stem < 60.0 ? 1.5 : 0.0;
    };
  };
  for (const ZoneChange& change : compare(film(0.0, mark(0.0)), film(3.0, mark(3.0)))) {
    ASSERT_TRUE(change.change.has_value()) << change.zone;
    EXPECT_NEAR(change.change->value.value, 0.0, 1e-9) << change.zone;
    EXPECT_EQ(change.progressive, Answer::kNo) << change.zone;
  }
}

// A step of the width, or the end of a line, is placed no better than 2 mm: a step that stands 1.5
// mm further on the second film is no growth of 2 mm, neither in the zone it stands in nor across
// the border of a zone; one that stands 8 mm further is.
TEST(Change, AnEndThatShiftsALittleIsNoGrowth) {
  const auto step_at = [](double mm) {
    return [=](int zone, double at) { return zone <= 3 ? (at > mm ? 3.0 : 0.7) : 0.0; };
  };
  for (const double edge : {60.0, 80.0}) {
    const auto still = compare(film(0.0, step_at(edge)), film(0.0, step_at(edge - 1.5)));
    for (const int zone : {2, 3}) {
      EXPECT_NEAR(of(still, zone).change->value.value, 0.0, 1e-9) << edge;
      EXPECT_EQ(of(still, zone).progressive, Answer::kNo) << edge;
    }
  }
  const auto longer = compare(film(0.0, step_at(60.0)), film(0.0, step_at(52.0)));
  EXPECT_EQ(of(longer, 2).progressive, Answer::kYes);
}

TEST(Change, WhatFilledInDoesNotHideWhatGrew) {
  const WidthAt before = [](int zone, double at) {
    return zone == 2 ? (at < 60.0 ? 3.0 : 1.0) : 0.0;
  };
  const WidthAt after = [](int zone, double at) {
    return zone == 2 ? (at < 60.0 ? 0.0 : 2.5) : 0.0;
  };
  const auto change = of(compare(film(0.0, before), film(0.0, after)), 2);
  EXPECT_NEAR(change.change->value.value, 1.5, 1e-9);
  EXPECT_EQ(change.progressive, Answer::kYes);
}

TEST(Change, ALineThatBecameLongerIsNotToldAsStill) {
  const WidthAt whole = in_zone(2, 1.2);
  const auto from = [](double mm) -> WidthAt {
    return [mm](int zone, double at) { return zone == 2 && at >= mm ? 1.2 : 0.0; };
  };
  const auto spread = of(compare(film(0.0, from(70.0)), film(0.0, whole)), 2);
  EXPECT_NEAR(spread.change_length->value.value, 30.0, 1e-9);
  EXPECT_EQ(spread.progressive, Answer::kCannotTell);
  EXPECT_THAT(spread.reason, HasSubstr("longer"));
  const auto hardly = of(compare(film(0.0, from(43.0)), film(0.0, whole)), 2);
  EXPECT_EQ(hardly.progressive, Answer::kNo) << "3 mm";
}

TEST(Change, SinglePlacesInAZoneWithoutALineAreNoFinding) {
  FilmLucency now =
      film(0.0, [](int zone, double at) { return zone == 2 && at < 42.0 ? 2.0 : 0.0; });
  for (ZoneLine& line : now.lines) {
    if (line.zone != 2) continue;
    line.state = State::kAbsent;
    line.width_max.reset();
    line.width_mean.reset();
    line.length.reset();
  }
  const auto change = of(compare(film(0.0, none_at), now), 2);
  EXPECT_NEAR(change.change->value.value, 0.0, 1e-9);
  EXPECT_LT(change.compared, 1.0);
  EXPECT_EQ(change.progressive, Answer::kNo);
}

TEST(Change, WhatOneFilmLeavesOpenCannotBeTold) {
  const auto change = of(compare(film(0.0, in_zone(2, -1.0)), film(0.0, everywhere(2.0))), 2);
  EXPECT_FALSE(change.change.has_value());
  EXPECT_LE(change.compared, 1.0 / 81.0);  // the border is a place of the zone above, too
  EXPECT_EQ(change.progressive, Answer::kCannotTell);
  EXPECT_THAT(change.reason, HasSubstr("reference film leaves it open"));
}

TEST(Change, ALineInAPartLeavesTheUnseenRestOpen) {
  const WidthAt mostly_hidden = [](int, double at) {
    return std::fmod(at, 40.0) < 10.0 ? 1.0 : -1.0;
  };
  const auto change = of(compare(film(0.0, mostly_hidden), film(0.0, everywhere(1.0))), 2);
  EXPECT_LT(change.compared, 0.5);
  EXPECT_NEAR(change.change->value.value, 0.0, 1e-9);
  EXPECT_EQ(change.progressive, Answer::kCannotTell);
}

TEST(Change, InterfacesOfACementedStemStayApart) {
  FilmLucency then = film(0.0, none_at, Interface::kStemCement);
  FilmLucency now = film(0.0, none_at, Interface::kStemCement);
  const auto more_then = film(0.0, none_at, Interface::kCementBone).lines;
  const auto more_now = film(0.0, in_zone(1, 1.5), Interface::kCementBone).lines;
  then.lines.insert(then.lines.end(), more_then.begin(), more_then.end());
  now.lines.insert(now.lines.end(), more_now.begin(), more_now.end());
  const auto all = compare(then, now);
  ASSERT_EQ(all.size(), 14U);
  EXPECT_EQ(all[0].interface, Interface::kStemCement);
  EXPECT_EQ(all[0].progressive, Answer::kNo);
  EXPECT_EQ(all[1].interface, Interface::kCementBone);
  EXPECT_EQ(all[1].progressive, Answer::kYes);
}

TEST(Change, AnInterfaceOnOneFilmOnlyCannotBeTold) {
  const auto all = compare(film(0.0, everywhere(1.0), Interface::kStemBone),
                           film(0.0, everywhere(3.0), Interface::kCementBone));
  ASSERT_EQ(all.size(), 14U);
  for (const ZoneChange& change : all) {
    EXPECT_EQ(change.progressive, Answer::kCannotTell);
    EXPECT_THAT(change.reason, HasSubstr("not looked at"));
  }
}

// 400 pairs of one line of 1.2 mm, whose points carry the noise that they state and one error
// common to the film: the stated intervals must hold the true change, 0, in about 95 % of the
// zones. The largest change is picked out of the zone's windows, so that its value is not centred
// on 0.
TEST(Change, IntervalsHoldWhatTheyPromise) {
  std::mt19937 generator(20251125);
  std::normal_distribution<double> normal;
  const auto noisy = [&]() {
    const double common = 0.08 * normal(generator);
    return film(0.0, [&, common](int, double) { return 1.2 + common + 0.06 * normal(generator); });
  };
  int held = 0;
  int held_mean = 0;
  int progressive = 0;
  constexpr int kPairs = 400;
  for (int i = 0; i < kPairs; ++i) {
    const auto change = of(compare(noisy(), noisy()), 2);
    held += std::abs(change.change->value.value) <= change.change->u95.value ? 1 : 0;
    held_mean += std::abs(change.change_mean->value.value) <= change.change_mean->u95.value ? 1 : 0;
    progressive += change.progressive == Answer::kYes ? 1 : 0;
  }
  // 95 % of 400 within three standard deviations of a binomial count (derived): at least 367.
  EXPECT_GE(held, 367);
  EXPECT_GE(held_mean, 367);
  EXPECT_EQ(progressive, 0);
}

}  // namespace
}  // namespace tidemark::lucency
