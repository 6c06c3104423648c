#include "tidemark/assessment/judge.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <ostream>
#include <string>
#include <utility>

#include "invented_hip.h"
#include "tidemark/core/monte_carlo.h"

namespace tidemark::assessment {
namespace {

using invented::Visit;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

Measured<double> value(double y, double u) { return measured(y, u); }

struct DecideRow {
  double y, threshold, u;
  double above;   ///< printed probability of lying above
  double digits;  ///< half of its last digit
  Verdict verdict;
  std::string source;
};

// JCGM 106:2012, conformance probability of a normal distribution with one tolerance limit, and
// guarded acceptance and rejection at a risk of 5 %. The table is computed from a printed table of
// the normal distribution; the last row is the guide's own worked example of a voltage, 0.07 V
// within its limit with u = 0.05 V: probability of conformity 0.919 (numbers from memory).
TEST(Decide, AgreesWithTheGuidesRules) {
  for (const auto& row : {
           DecideRow{1.0, 1.5, 0.3, 0.04779, 5e-6, Verdict::kWithin, "Phi(5/3)"},
           DecideRow{1.5, 1.5, 0.3, 0.50000, 5e-6, Verdict::kCannotTell, "symmetry"},
           DecideRow{1.9, 1.5, 0.3, 0.90879, 5e-6, Verdict::kCannotTell, "Phi(4/3)"},
           DecideRow{2.0, 1.5, 0.3, 0.95221, 5e-6, Verdict::kExceeds, "Phi(5/3)"},
           DecideRow{2.1, 1.5, 0.3, 0.97725, 5e-6, Verdict::kExceeds, "Phi(2)"},
           DecideRow{2.4, 1.5, 0.3, 0.99865, 5e-6, Verdict::kExceeds, "Phi(3)"},
           DecideRow{0.93, 1.0, 0.05, 1.0 - 0.919, 5e-4, Verdict::kCannotTell,
                     "JCGM 106, voltage example, shifted to a limit of 1 V"},
       }) {
    SCOPED_TRACE(row.source);
    const auto c = decide(value(row.y, row.u), row.threshold, Sense::kAbove);
    EXPECT_NEAR(c.probability_exceeds, row.above, row.digits);
    EXPECT_EQ(c.verdict, row.verdict);
  }
}

// JCGM 106:2012, 7.3, the table of conformance probabilities for one tolerance limit and a normal
// distribution: pC against z = (T - y) / u (numbers from memory). z is printed with two decimals,
// so pC is good to the density there times half of the last one.
TEST(Decide, AgreesWithTheGuidesTableOfConformance) {
  constexpr double kLimit = 3.0;
  constexpr double kU = 0.5;
  for (const auto& [conforms, z] :
       {std::pair{0.80, 0.84}, std::pair{0.90, 1.28}, std::pair{0.95, 1.64}, std::pair{0.99, 2.33},
        std::pair{0.999, 3.09}}) {
    const double density = std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi);
    const auto below = decide(value(kLimit - z * kU, kU), kLimit, Sense::kAbove);
    EXPECT_NEAR(below.probability_exceeds, 1.0 - conforms, 0.005 * density + 1e-6) << z;
    const auto above = decide(value(kLimit + z * kU, kU), kLimit, Sense::kAbove);
    EXPECT_NEAR(above.probability_exceeds, conforms, 0.005 * density + 1e-6) << z;
    EXPECT_EQ(above.verdict, conforms > 0.951 ? Verdict::kExceeds : Verdict::kCannotTell) << z;
  }
}

// JCGM 106:2012, 7.4, a tolerance interval of 12.5 to 16.3, result 13.6, u = 1.8 (inputs of the
// guide's example as retold by metrologyrules.com, March 2022; read there). It conforms with
// Phi(1.5) - Phi(-0.611) = 0.93319 - 0.27056, from a printed table of the normal distribution.
TEST(Decide, AgreesWithTheGuidesExampleOfAnInterval) {
  const auto above = decide(value(13.6, 1.8), 16.3, Sense::kAbove);
  const auto over_lower = decide(value(13.6, 1.8), 12.5, Sense::kAbove);
  EXPECT_NEAR(above.probability_exceeds, 1.0 - 0.93319, 5e-6);
  EXPECT_NEAR(over_lower.probability_exceeds, 1.0 - 0.27056, 1e-4);  // z rounded to -0.611
  EXPECT_NEAR(over_lower.probability_exceeds - above.probability_exceeds, 0.6626, 1e-4);
}

// Guard limits T -+ 1.645 u: 1.0065 and 1.9935; 2.1775 and 3.8225; 2.013 and 3.987 (by hand).
TEST(Decide, TurnsAtTheGuardLimits) {
  struct Row {
    double threshold, u, lower, upper;
  };
  for (const auto& row : {Row{1.5, 0.3, 1.0065, 1.9935}, Row{3.0, 0.5, 2.1775, 3.8225},
                          Row{3.0, 0.6, 2.013, 3.987}}) {
    const auto at = [&](double y) {
      return decide(value(y, row.u), row.threshold, Sense::kAbove).verdict;
    };
    EXPECT_EQ(at(row.lower - 1e-3), Verdict::kWithin);
    EXPECT_EQ(at(row.lower + 1e-3), Verdict::kCannotTell);
    EXPECT_EQ(at(row.upper - 1e-3), Verdict::kCannotTell);
    EXPECT_EQ(at(row.upper + 1e-3), Verdict::kExceeds);
  }
}

// 0.15 mm asks for u of at most 0.091 mm: 0.15 / 1.645 (by hand).
TEST(Decide, ThresholdFinerThanTheFilmIsNeverDecided) {
  for (const double y : {0.0, 0.15, 4.0}) {
    const auto c = decide(value(y, 0.1), 0.15, Sense::kAbove);
    EXPECT_EQ(c.verdict, Verdict::kCannotTell) << y;
    EXPECT_EQ(c.because, Because::kFinerThanFilm) << y;
  }
  EXPECT_EQ(decide(value(0.0, 0.091), 0.15, Sense::kAbove).verdict, Verdict::kWithin);
}

TEST(Decide, EitherWayCountsBothTails) {
  for (const double sign : {-1.0, 1.0}) {
    const auto c = decide(value(sign * 2.0, 0.5), 1.5, Sense::kEitherWay);
    EXPECT_NEAR(c.probability_exceeds, 0.84134, 1e-5);  // Phi(1), the other tail below 1e-11
  }
  // At 0 both tails count: 2 (1 - Phi(1.96)) = 0.05 (printed tables).
  EXPECT_NEAR(decide(value(0.0, 1.0), 1.959964, Sense::kEitherWay).probability_exceeds, 0.05, 1e-6);
  EXPECT_EQ(decide(value(0.0, 1.0), 1.95, Sense::kEitherWay).because, Because::kFinerThanFilm);
  EXPECT_EQ(decide(value(0.0, 1.0), 1.97, Sense::kEitherWay).verdict, Verdict::kWithin);
}

// t(0.975, 4) = 2.776 and t(0.95, 4) = 2.132 (printed tables): what the normal distribution scaled
// by u95 asks for, 1.645 x 2.776 / 1.96 = 2.330 u, is more than Student's t does.
TEST(Decide, FewDegreesOfFreedomWidenTheGuardBand) {
  const Measured<double> few = measured(1.5 + 2.25 * 0.3, 0.3, 4.0);
  EXPECT_EQ(decide(few, 1.5, Sense::kAbove).verdict, Verdict::kCannotTell);
  const Measured<double> farther = measured(1.5 + 2.34 * 0.3, 0.3, 4.0);
  EXPECT_EQ(decide(farther, 1.5, Sense::kAbove).verdict, Verdict::kExceeds);
}

TEST(Decide, NumbersThatAreNoneAreNotDecided) {
  EXPECT_EQ(decide(value(std::nan(""), 0.1), 1.5, Sense::kAbove).verdict, Verdict::kCannotTell);
  EXPECT_EQ(decide({3.0, 0.0, 0.0}, 1.5, Sense::kAbove).verdict, Verdict::kCannotTell);
}

// JCGM 106, 8.3: the risk of a guarded verdict is at most 5 % where the true value lies at the
// limit. 20,000 values drawn: the share called wrongly is 0.05 within four standard errors.
TEST(Decide, CallsOneInTwentyWronglyAtTheLimit) {
  Random random(7);
  constexpr int kDraws = 20000;
  int above = 0;
  int within = 0;
  for (int i = 0; i < kDraws; ++i) {
    const auto c = decide(value(random.normal(1.5, 0.4), 0.4), 1.5, Sense::kAbove);
    above += c.verdict == Verdict::kExceeds ? 1 : 0;
    within += c.verdict == Verdict::kWithin ? 1 : 0;
  }
  const double margin = 4.0 * std::sqrt(0.05 * 0.95 / kDraws);
  EXPECT_NEAR(static_cast<double>(above) / kDraws, 0.05, margin);
  EXPECT_NEAR(static_cast<double>(within) / kDraws, 0.05, margin);
}

Criterion limit(double threshold, std::optional<Window> window = {}) {
  Criterion c;
  c.id = "T-1";
  c.threshold = threshold;
  c.window = window;
  c.certainty = Certainty::kRead;
  return c;
}

constexpr Window kTwoYears{730, 730, 91};

Finding found(const HipEvidence& hip, const Criterion& c, std::size_t comparison = 0) {
  return judge(hip, comparison, c, follow(hip));
}

TEST(Judge, SaysAboveWithinAndCannotTell) {
  const Criterion c = limit(1.5, kTwoYears);
  const auto above = found(invented::hip({{730, 2.4, 0.3}}), c);
  EXPECT_EQ(above.verdict, Verdict::kExceeds);
  EXPECT_EQ(above.because, Because::kDecided);
  EXPECT_THAT(above.text, HasSubstr("above the limit; subsidence +2.40 ± 0.59 mm at 24 months "
                                    "against 1.5 mm. The probability of lying above it is more "
                                    "than 99 %."));
  EXPECT_THAT(above.doubts, IsEmpty());
  EXPECT_EQ(found(invented::hip({{730, 0.9, 0.3}}), c).verdict, Verdict::kWithin);
  const auto open = found(invented::hip({{730, 1.7, 0.3}}), c);
  EXPECT_EQ(open.verdict, Verdict::kCannotTell);
  EXPECT_EQ(open.because, Because::kGuardBand);
  EXPECT_NEAR(open.probability_exceeds.value(), 0.7475, 5e-5);  // Phi(2/3), printed table
}

TEST(Judge, FinerThanTheFilmSaysSo) {
  const auto f = found(invented::hip({{730, 0.1, 0.3}}), limit(0.15, kTwoYears));
  EXPECT_EQ(f.verdict, Verdict::kCannotTell);
  EXPECT_EQ(f.because, Because::kFinerThanFilm);
  EXPECT_THAT(f.text, HasSubstr("finer than these films allow"));
}

TEST(Judge, KeepsToTheWindowWithItsTolerance) {
  const Criterion c = limit(1.5, kTwoYears);
  for (const int day : {639, 730, 821}) {
    EXPECT_EQ(found(invented::hip({{day, 3.0, 0.3}}), c).verdict, Verdict::kExceeds) << day;
  }
  for (const int day : {638, 822}) {
    const auto f = found(invented::hip({{day, 3.0, 0.3}}), c);
    EXPECT_EQ(f.verdict, Verdict::kNotApplicable) << day;
    EXPECT_EQ(f.because, Because::kOutsideWindow) << day;
    EXPECT_THAT(f.text, HasSubstr(day < 730 ? ", which already lies above that number"
                                            : ", which lies above that number"));
  }
}

// What a limit that holds at two years says of six weeks does not depend on that film's value.
TEST(Judge, OutsideOfTheWindowNothingIsOpenWhereNothingIsMeasured) {
  auto hip = invented::hip({{42, 3.0, 0.3}});
  hip.comparisons[0].migration.reset();
  hip.comparisons[0].reason = "the bone cannot be aligned";
  const auto early = found(hip, limit(1.5, kTwoYears));
  EXPECT_EQ(early.verdict, Verdict::kNotApplicable);
  EXPECT_EQ(early.because, Because::kOutsideWindow);
  EXPECT_FALSE(early.measured);
  EXPECT_THAT(early.text, HasSubstr("holds at 24 months"));
  EXPECT_THAT(early.text, HasSubstr("Not measured: the comparison is not measured: the bone"));
  EXPECT_EQ(found(hip, limit(1.5)).because, Because::kNotMeasured);
  auto in_time = invented::hip({{730, 3.0, 0.3}});
  in_time.comparisons[0].migration.reset();
  EXPECT_EQ(found(in_time, limit(1.5, kTwoYears)).verdict, Verdict::kCannotTell);
  auto undated = invented::without_surgery(hip);
  undated.comparisons[0].days.reset();
  EXPECT_EQ(found(undated, limit(1.5, kTwoYears)).because, Because::kNotMeasured);
}

TEST(Judge, WithoutADateOfSurgeryCountsFromTheReferenceFilmAndSaysSo) {
  auto hip = invented::without_surgery(invented::hip({{731, 3.0, 0.3}}));
  hip.reference_film = ReferenceFilm::kStated;
  const auto f = found(hip, limit(1.5, kTwoYears));
  EXPECT_EQ(f.days, 730);
  EXPECT_EQ(f.verdict, Verdict::kExceeds);
  ASSERT_FALSE(f.doubts.empty());
  EXPECT_THAT(f.doubts[0], HasSubstr("count from the reference film"));
}

// Films of 2019, 2020 and 2021 of a hip operated on in 2010: 0.1 mm since the first of them.
TEST(Judge, WithoutADateOfSurgeryNothingIsWithinUnlessTheSheetNamesTheReferenceFilm) {
  auto hip = invented::without_surgery(invented::hip({{366, 0.1, 0.3}, {731, 0.1, 0.3}}));
  Criterion late = limit(1.0);
  late.quantity = Quantity::kLateSubsidence;
  for (const Criterion& c : {limit(1.5, kTwoYears), limit(1.5), late}) {
    hip.reference_film = ReferenceFilm::kChosen;
    const auto open = found(hip, c, 1);
    EXPECT_EQ(open.verdict, Verdict::kCannotTell);
    EXPECT_EQ(open.because, Because::kDateUnknown);
    EXPECT_THAT(open.text, HasSubstr("how long after the operation the reference film was taken"));
    EXPECT_THAT(open.doubts, testing::Contains(HasSubstr("nor how long after it")));
    hip.reference_film = ReferenceFilm::kStated;
    const auto kept = found(hip, c, 1);
    EXPECT_THAT(kept.doubts, testing::Contains(HasSubstr("count from the reference film")));
    if (c.quantity == Quantity::kSubsidence) {
      EXPECT_EQ(kept.verdict, Verdict::kWithin);
    }
  }
  // What it moved since then it did move.
  hip = invented::without_surgery(invented::hip({{731, 3.0, 0.3}}));
  EXPECT_EQ(found(hip, limit(1.5)).verdict, Verdict::kExceeds);
}

// On a film from 300 days before the reference film the stem stood 3 mm higher: it sank by 3 mm.
TEST(Judge, AFilmFromBeforeTheReferenceFilmTellsWhatMovedUntilThen) {
  auto hip = invented::hip({{365, -3.0, 0.3, -4.0, 0.2}}, 665);
  ASSERT_EQ(hip.comparisons[0].days, -300);
  hip.films[0].days_from_surgery = hip.films[1].days_from_surgery = 1;  // an early pair
  const auto f = found(hip, limit(1.5));
  EXPECT_EQ(f.verdict, Verdict::kExceeds);
  ASSERT_TRUE(f.measured);
  EXPECT_EQ(f.measured->value, 3.0);
  EXPECT_THAT(f.text, HasSubstr("from this film to the reference film"));
  Criterion tilt = limit(3.0);
  tilt.quantity = Quantity::kTiltChange;
  EXPECT_EQ(found(hip, tilt).measured->value, 4.0);
}

TEST(Judge, WithoutDatesAWindowCannotBeTold) {
  auto hip = invented::without_surgery(invented::hip({{730, 3.0, 0.3}}));
  hip.comparisons[0].days.reset();
  const auto windowed = found(hip, limit(1.5, kTwoYears));
  EXPECT_EQ(windowed.verdict, Verdict::kCannotTell);
  EXPECT_EQ(windowed.because, Because::kDateUnknown);
  EXPECT_EQ(found(hip, limit(1.5)).verdict, Verdict::kExceeds);
}

struct BaselineRow {
  int day;
  double subsidence;
  Verdict verdict;
  Because because;
};

// Two weeks and three months: proposals from what is known of early settling (Arch Orthop Trauma
// Surg 2021, doi:10.1007/s00402-021-03913-0: most of it within 6 to 8 weeks).
TEST(Judge, ALateReferenceFilmCallsNothingWithin) {
  for (const auto& row : {BaselineRow{14, 0.2, Verdict::kWithin, Because::kDecided},
                          BaselineRow{15, 0.2, Verdict::kCannotTell, Because::kBaselineLate},
                          BaselineRow{15, 3.0, Verdict::kExceeds, Because::kDecided},
                          BaselineRow{91, 3.0, Verdict::kExceeds, Because::kDecided},
                          BaselineRow{92, 0.2, Verdict::kNotApplicable, Because::kBaselineTooLate},
                          BaselineRow{92, 1.6, Verdict::kCannotTell, Because::kBaselineTooLate},
                          BaselineRow{92, 3.0, Verdict::kExceeds, Because::kDecided}}) {
    const auto f =
        found(invented::hip({{730, row.subsidence, 0.3}}, row.day), limit(1.5, kTwoYears));
    EXPECT_EQ(f.verdict, row.verdict) << row.day;
    EXPECT_EQ(f.because, row.because) << row.day;
    EXPECT_EQ(f.doubts.empty(), row.day <= 14) << row.day;
  }
}

// 6.0 degrees with u 0.3: above 3 degrees by 10 u. The reference film of day 200 hides what the
// stem tilted before, which takes nothing from what it tilted since.
TEST(Judge, WhatPassesALimitSinceALateReferenceFilmPassesIt) {
  Criterion tilt = limit(3.0);
  tilt.quantity = Quantity::kTiltChange;
  tilt.sense = Sense::kEitherWay;
  const auto f = found(invented::hip({{565, 5.0, 0.3, 6.0, 0.3}}, 200), tilt);
  EXPECT_EQ(f.verdict, Verdict::kExceeds);
  ASSERT_FALSE(f.doubts.empty());
  EXPECT_THAT(f.doubts[0], HasSubstr("200 days after surgery"));
  const auto still = found(invented::hip({{565, 5.0, 0.3, 0.1, 0.3}}, 200), tilt);
  EXPECT_EQ(still.because, Because::kBaselineTooLate);
}

// The window counts from surgery and needs the follow-up film's day only.
TEST(Judge, AnUndatedReferenceFilmTakesNoDateFromTheFollowUpFilm) {
  const auto at = [](double subsidence) {
    auto hip = invented::hip({{730, subsidence, 0.3}});
    hip.films[0].date.reset();
    hip.films[0].days_from_surgery.reset();
    hip.comparisons[0].days.reset();
    return hip;
  };
  const auto f = found(at(6.0), limit(1.5, kTwoYears));
  EXPECT_EQ(f.days, 730);
  EXPECT_EQ(f.verdict, Verdict::kExceeds);
  EXPECT_THAT(f.text, Not(HasSubstr("from the reference film")));
  ASSERT_EQ(f.doubts.size(), 1U);
  EXPECT_THAT(f.doubts[0], HasSubstr("The reference film has no date"));
  // How much the stem settled before a film of unknown day is not known either.
  for (const Criterion& c : {limit(1.5, kTwoYears), limit(1.5)}) {
    const auto within = found(at(0.2), c);
    EXPECT_EQ(within.verdict, Verdict::kCannotTell);
    EXPECT_EQ(within.because, Because::kDateUnknown);
    EXPECT_THAT(within.text, HasSubstr("the reference film has no date"));
  }
}

// -3.0 +- 1.8 mm: the whole 95 % interval lies above the place where the stem stood.
TEST(Judge, AStemThatRisesIsNotWithin) {
  const Criterion c = limit(1.5, kTwoYears);
  const auto f = found(invented::hip({{730, -3.0, 0.9}}), c);
  EXPECT_EQ(f.verdict, Verdict::kCannotTell);
  EXPECT_EQ(code_of(f.because), "rises");
  EXPECT_THAT(f.text, HasSubstr("which stems do not do"));
  ASSERT_EQ(f.doubts.size(), 1U);
  EXPECT_THAT(f.doubts[0], HasSubstr("look at the pair"));
  EXPECT_EQ(found(invented::hip({{730, -0.5, 0.3}}), c).verdict, Verdict::kWithin);
  // Of a film from before the reference film it is what sinking looks like.
  auto before = invented::hip({{730, -3.0, 0.9}});
  before.comparisons[0].days = -30;
  EXPECT_NE(code_of(found(before, limit(1.5)).because), "rises");
  before.comparisons[0].migration->subsidence.value.value = 3.0;
  EXPECT_NE(found(before, limit(1.5)).verdict, Verdict::kWithin);
  Criterion tilt = limit(3.0);
  tilt.quantity = Quantity::kTiltChange;
  tilt.sense = Sense::kEitherWay;
  EXPECT_EQ(found(invented::hip({{730, -3.0, 0.9}}), tilt).verdict, Verdict::kWithin);
  Criterion late = limit(1.0);
  late.quantity = Quantity::kLateSubsidence;
  EXPECT_EQ(code_of(found(invented::hip({{100, 3.0, 0.3}, {730, 1.0, 0.3}}), late, 1).because),
            "rises");
}

TEST(Judge, ARateCarriesTheUncertaintyOfBothFilms) {
  Criterion c = limit(1.2);
  c.quantity = Quantity::kSubsidenceRate;
  // 3.0 mm in 2 years of 365.25 days less the day of the reference film, u of the pair 0.5 mm.
  const auto f = found(invented::hip({{732, 3.0, 0.5}}), c);
  ASSERT_TRUE(f.measured);
  EXPECT_NEAR(f.measured->value, 3.0 * 365.25 / 731.0, 1e-12);
  EXPECT_NEAR(f.measured->u, 0.5 * 365.25 / 731.0, 1e-12);
  EXPECT_THAT(f.text, HasSubstr("mm/year"));
  auto undated = invented::hip({{732, 3.0, 0.5}});
  undated.comparisons[0].days.reset();
  EXPECT_EQ(found(undated, c).because, Because::kDateUnknown);
}

TEST(Judge, LateChangeLeavesTheEarlySettlingOut) {
  Criterion c = limit(1.0);
  c.quantity = Quantity::kLateSubsidence;
  const auto hip = invented::hip({{100, 2.5, 0.2}, {730, 2.6, 0.2}});
  EXPECT_EQ(found(hip, c, 0).verdict, Verdict::kCannotTell);
  const auto f = found(hip, c, 1);
  EXPECT_EQ(f.verdict, Verdict::kWithin);
  EXPECT_NEAR(f.measured->value, 0.1, 1e-12);
  // Half of each variance is the reference film's and cancels: sqrt(2 (0.04 - 0.02)) = 0.2.
  EXPECT_NEAR(f.measured->u, 0.2, 1e-12);
}

// 0.10 +- 0.3 mm in the sixth year says nothing of the 5.7 mm before. By hand: since day 42 the
// stem sank by 0.1 mm in the second row, u 0.3 mm, and settling before day 91 can only make that
// less.
TEST(Judge, LateChangeThatStartsLateIsNotWithin) {
  Criterion c = limit(1.0);
  c.quantity = Quantity::kLateSubsidence;
  const auto f = found(invented::hip({{42, 0.3}, {1826, 6.0}, {2191, 6.1}}), c, 2);
  EXPECT_EQ(f.verdict, Verdict::kCannotTell);
  EXPECT_EQ(f.because, Because::kBaselineLate);
  EXPECT_THAT(f.text, HasSubstr("the film it counts from was taken late"));
  EXPECT_EQ(found(invented::hip({{42, 2.0}, {1826, 2.0}, {2191, 2.1}}), c, 2).verdict,
            Verdict::kWithin);
  EXPECT_EQ(found(invented::hip({{42, 0.3}, {1826, 1.0}, {2191, 3.1}}), c, 2).verdict,
            Verdict::kExceeds);
  // The reference film itself: nothing is known of what went before it.
  EXPECT_EQ(found(invented::hip({{730, 0.1}}, 300), c).verdict, Verdict::kCannotTell);
  EXPECT_EQ(found(invented::hip({{730, 0.1}}, 200), c).verdict, Verdict::kWithin);
}

TEST(Judge, ReadsTheSubsidenceAtThePointOfTheCriterion) {
  Criterion c = limit(1.5);
  c.point = Point::kHeadCentre;
  const auto at_head = found(invented::hip({{730, 1.0, 0.3}}), c);
  EXPECT_NEAR(at_head.measured->value, 1.3, 1e-12);
  EXPECT_EQ(at_head.point, Point::kHeadCentre);
  EXPECT_THAT(at_head.text, HasSubstr("subsidence at the head's centre +1.30"));
  c.point = Point::kShoulder;
  EXPECT_NEAR(found(invented::hip({{730, 1.0, 0.3}}), c).measured->value, 0.8, 1e-12);
}

TEST(Judge, LeavesOutWhatIsNotForThisHip) {
  const auto hip = invented::hip({{730, 3.0, 0.3}});
  Criterion group = limit(1.5);
  group.level = Level::kGroup;
  EXPECT_EQ(found(hip, group).because, Because::kGroupLevel);
  Criterion other = limit(1.5);
  other.fixation = Scope::kCompositeBeam;
  EXPECT_EQ(found(hip, other).verdict, Verdict::kNotApplicable);
  Criterion doubtful = limit(1.5);
  doubtful.certainty = Certainty::kUnsure;
  EXPECT_EQ(found(hip, doubtful).because, Because::kUnsure);
  auto unknown = hip;
  unknown.stem = {};
  EXPECT_EQ(found(unknown, other).verdict, Verdict::kCannotTell);
  EXPECT_EQ(found(unknown, other).because, Because::kFixationUnknown);
  auto pixels = hip;
  pixels.lengths = Lengths::kPixels;
  EXPECT_EQ(found(pixels, limit(1.5)).because, Because::kNoScale);
  auto refused = hip;
  refused.comparisons[0].migration.reset();
  refused.comparisons[0].reason = "the films do not match";
  const auto f = found(refused, limit(1.5));
  EXPECT_EQ(f.verdict, Verdict::kCannotTell);
  EXPECT_THAT(f.text, HasSubstr("the films do not match"));
}

// EFORT Open Rev 6 (2021) 331: 0.97 mm at 1 year and 1.07 mm at 2 years on average.
TEST(Judge, TypicalValuesAreShownWithoutAVerdict) {
  Criterion c = limit(0.0);
  c.kind = Kind::kTypical;
  c.typical = {{365, 0.97}, {730, 1.07}};
  const auto f = found(invented::hip({{548, 1.3, 0.3}}), c);
  EXPECT_EQ(f.verdict, Verdict::kNotApplicable);
  EXPECT_EQ(f.because, Because::kNoThreshold);
  EXPECT_FALSE(f.probability_exceeds);
  EXPECT_NEAR(f.typical.value(), 0.97 + 0.10 * 183.0 / 365.0, 1e-12);
  EXPECT_THAT(f.text, HasSubstr("This is no limit."));
  EXPECT_FALSE(found(invented::hip({{100, 1.3, 0.3}}), c).typical);
}

// Visits do not fall on the listed day: an end holds for an eighth of its time, 91 days at most.
TEST(Judge, ATypicalValueHoldsForVisitsAboutItsTime) {
  Criterion c = limit(0.0);
  c.kind = Kind::kTypical;
  const auto typical = [&](int day) { return found(invented::hip({{day, 1.3, 0.3}}), c).typical; };
  c.typical = {{730, 1.43}};
  for (const int day : {639, 729, 730, 731, 821}) EXPECT_EQ(typical(day), 1.43) << day;
  EXPECT_FALSE(typical(638));
  EXPECT_FALSE(typical(822));
  c.typical = {{91, 2.35}, {730, 2.4}};
  EXPECT_EQ(typical(80), 2.35);
  EXPECT_FALSE(typical(79)) << "stems settle fast before three months";
  EXPECT_EQ(typical(735), 2.4);
}

TEST(Judge, NeverSaysLooseOrFailed) {
  for (const auto& set : built_in_criteria()) {
    for (const StemHold stem : {StemHold{Fixation::kUncemented, {}},
                                StemHold{Fixation::kCemented, CementPrinciple::kCompositeBeam},
                                StemHold{Fixation::kCemented, CementPrinciple::kPolishedTaper}}) {
      auto hip = invented::hip({{50, 4.0, 0.2}, {730, 9.0, 0.3, 8.0}});
      hip.stem = stem;
      for (const auto& c : set.criteria) {
        for (std::size_t i = 0; i < 2; ++i) {
          const auto f = found(hip, c, i);
          EXPECT_THAT(f.text, Not(HasSubstr("loose")));
          EXPECT_THAT(f.text, Not(HasSubstr("fail")));
          EXPECT_THAT(f.text, Not(IsEmpty()));
        }
      }
    }
  }
}

}  // namespace
}  // namespace tidemark::assessment
