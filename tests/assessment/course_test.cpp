#include "tidemark/assessment/course.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numeric>
#include <string>

#include "invented_hip.h"

namespace tidemark::assessment {
namespace {

using invented::hip;
using invented::Visit;
using testing::HasSubstr;

TEST(Covariance, HalfOfTheBestComparisonIsTheReferenceFilms) {
  const auto course = follow(hip({{100, 1.0, 0.3}, {730, 1.0, 0.5}}));
  ASSERT_EQ(course.points.size(), 2U);
  EXPECT_NEAR(course.reference_share.value, std::sqrt(0.5 * 0.09), 1e-12);
  EXPECT_NEAR(course.covariance(0, 0), 0.09, 1e-12);
  EXPECT_NEAR(course.covariance(1, 1), 0.25, 1e-12);
  EXPECT_NEAR(course.covariance(0, 1), 0.045, 1e-12);
}

// By hand: of each source the smaller variance counts, here 0.04 of one and 0.01 of the other, and
// nothing is left over; half of 0.05.
TEST(Covariance, EachSourceIsSharedByItself) {
  auto one = hip({{100, 1.0, 0.3}, {730, 1.0, 0.3}});
  const auto budget = [](double bone, double pose) {
    return std::vector<migration::BudgetItem>{{"bone alignment", {bone}},
                                              {"out-of-plane pose", {pose}}};
  };
  for (auto& pair : one.comparisons)
    pair.migration->subsidence = invented::mm(1.0, std::sqrt(0.29));
  one.comparisons[0].migration->budget = budget(0.2, 0.5);
  one.comparisons[1].migration->budget = budget(std::sqrt(0.28), 0.1);
  const auto course = follow(one);
  EXPECT_NEAR(course.covariance(0, 1), 0.025, 1e-9);
}

TEST(Course, LeavesOutWhatHasNoNumberOrDate) {
  auto one = hip({{100, 1.0}, {365, 1.0}, {730, 1.0}});
  one.comparisons[0].migration.reset();
  one.comparisons[1].days.reset();
  const auto course = follow(one);
  ASSERT_EQ(course.points.size(), 1U);
  EXPECT_EQ(course.points[0].comparison, 2U);
  EXPECT_THAT(course.text, HasSubstr("it takes two dated follow-up films"));
}

TEST(LateChange, IsCountedFromTheFirstFilmAfterThreeMonths) {
  const auto course = follow(hip({{42, 1.5}, {90, 2.0}, {91, 2.2}, {365, 2.3}, {730, 2.5}}));
  ASSERT_TRUE(course.late_change);
  EXPECT_EQ(course.late_change->from, 2U);
  EXPECT_EQ(course.late_change->to, 4U);
  EXPECT_NEAR(course.late_change->change.value.value, 0.3, 1e-12);
  EXPECT_NEAR(course.late_change->change.u.value, 0.3, 1e-12);  // sqrt(2 (0.09 - 0.045))
  EXPECT_FALSE(follow(hip({{42, 1.5}, {90, 2.0}})).late_change);
  EXPECT_FALSE(follow(hip({{42, 1.5}, {730, 2.0}})).late_change);
}

// The reference film stands after the settling window: all that is seen is late. By hand: the value
// and the u of the last comparison.
TEST(LateChange, IsCountedFromALateReferenceFilm) {
  const auto course = follow(hip({{300, 4.0, 0.3}, {700, 4.2, 0.4}}, 120));
  ASSERT_TRUE(course.late_change);
  EXPECT_EQ(course.late_change->to, 1U);
  EXPECT_EQ(course.late_change->days, 580);
  EXPECT_NEAR(course.late_change->change.value.value, 4.2, 1e-12);
  EXPECT_NEAR(course.late_change->change.u.value, 0.4, 1e-12);
  EXPECT_TRUE(follow(hip({{300, 4.0}}, 120)).late_change);
}

// Five films at 0, 1/4, 1/2, 1 and 2 years, 0.5 mm each: ordinary least squares of the five films
// gives u = 0.5 / sqrt(sum (t - mean)^2) = 0.316 mm/year, and generalised least squares of the four
// comparisons must give the same (Aitken 1935: differencing loses nothing when its covariance is
// known). Two films at 0 and 2 years: 0.5 sqrt(2) / 2 = 0.354 mm/year. Both by hand; films are of
// whole days, which moves the last digit.
TEST(LateRate, DifferencesFromOneFilmLoseNothing) {
  const double u = 0.5 * std::sqrt(2.0);  // of a comparison, half of its variance shared
  const auto days = [](double years) { return 91 + static_cast<int>(std::lround(365.25 * years)); };
  const auto five = follow(
      hip({{days(0.25), 0.3, u}, {days(0.5), 0.6, u}, {days(1), 1.2, u}, {days(2), 2.4, u}}, 91));
  ASSERT_TRUE(five.late_rate);
  EXPECT_EQ(five.late_rate->films, 5);
  EXPECT_NEAR(five.late_rate->rate.u.value, 0.316, 1e-3);
  EXPECT_NEAR(five.late_rate->rate.value.value, 1.2, 5e-3);
  const auto two = follow(hip({{days(2), 2.4, u}}, 91));
  ASSERT_TRUE(two.late_rate);
  EXPECT_NEAR(two.late_rate->rate.u.value, 0.354, 1e-3);
}

// numpy 1.24: d = [120, 400, 800, 1500]; y = [1.0, 1.3, 1.1, 1.9]; u = [.3, .4, .35, .5];
// V = diag(u**2 - .045) + .045; A = c_[(d - 1) / 365.25, ones(4)]; W = inv(V);
// C = inv(A.T @ W @ A); x = C @ A.T @ W @ y; r = y - A @ x; r @ W @ r
TEST(LateRate, AgreesWithGeneralLeastSquares) {
  const auto course = follow(
      hip({{50, 0.8, 0.3}, {120, 1.0, 0.3}, {400, 1.3, 0.4}, {800, 1.1, 0.35}, {1500, 1.9, 0.5}}));
  ASSERT_TRUE(course.late_rate);
  EXPECT_EQ(course.late_rate->films, 4);
  EXPECT_EQ(course.late_rate->days, 1380);
  EXPECT_EQ(course.late_rate->degrees_of_freedom, 2);
  EXPECT_NEAR(course.late_rate->rate.value.value, 0.18060176851511012, 1e-9);
  EXPECT_NEAR(course.late_rate->rate.u.value, 0.11958626424731701, 1e-9);
  EXPECT_NEAR(course.late_rate->chi2, 1.1711450085338506, 1e-9);
}

// 0.6 mm apart with films good to 0.1 mm: chi2 / freedom = B^2, and u grows by B (Birge 1932).
TEST(LateRate, ScatterBeyondThePromiseWidensTheInterval) {
  const auto calm = follow(hip({{100, 1.0, 0.1}, {400, 1.0, 0.1}, {700, 1.0, 0.1}}));
  const auto wild = follow(hip({{100, 1.0, 0.1}, {400, 1.6, 0.1}, {700, 1.0, 0.1}}));
  ASSERT_TRUE(calm.late_rate);
  ASSERT_TRUE(wild.late_rate);
  EXPECT_NEAR(calm.late_rate->chi2, 0.0, 1e-12);
  EXPECT_NEAR(wild.late_rate->rate.u.value,
              calm.late_rate->rate.u.value * std::sqrt(wild.late_rate->chi2), 1e-9);
}

TEST(LateRate, TakesTwoFilmsAfterTheSettlingWindow) {
  EXPECT_FALSE(follow(hip({{42, 1.0}, {730, 1.0}})).late_rate);
  EXPECT_TRUE(follow(hip({{91, 1.0}, {730, 1.0}})).late_rate);
  EXPECT_FALSE(follow(hip({{91, 1.0}, {91, 1.0}})).late_rate);  // of one day
}

struct CourseRow {
  std::string name;
  std::vector<Visit> visits;
  Pattern pattern;
  friend void PrintTo(const CourseRow& row, std::ostream* os) { *os << row.name; }
};

class Courses : public testing::TestWithParam<CourseRow> {};

// Courses as plain as they come (invented): the four patterns after Krismer et al. 1999 and what
// hides them.
TEST_P(Courses, AreNamed) {
  const auto course = follow(hip(GetParam().visits));
  EXPECT_EQ(code_of(course.pattern), code_of(GetParam().pattern)) << course.text;
  ASSERT_TRUE(course.probabilities) << course.text;
  const auto& p = *course.probabilities;
  EXPECT_NEAR(std::accumulate(p.begin(), p.end(), 0.0), 1.0, 1e-9);
  EXPECT_FALSE(course.text.empty());
}

INSTANTIATE_TEST_SUITE_P(
    Rows, Courses,
    testing::Values(
        CourseRow{
            "Settled",
            {{42, 2.1, 0.3}, {90, 2.4, 0.3}, {182, 2.5, 0.3}, {365, 2.4, 0.3}, {730, 2.5, 0.3}},
            Pattern::kSettled},
        CourseRow{
            "Continuous",
            {{42, 1.8, 0.3}, {90, 2.2, 0.3}, {182, 2.6, 0.3}, {365, 3.4, 0.3}, {730, 5.0, 0.3}},
            Pattern::kContinuous},
        CourseRow{
            "Late",
            {{42, 0.0, 0.3}, {182, 0.1, 0.3}, {365, 0.0, 0.3}, {730, 0.1, 0.3}, {1461, 3.0, 0.3}},
            Pattern::kLate},
        CourseRow{
            "Stable",
            {{42, 0.1, 0.3}, {90, 0.0, 0.3}, {182, 0.1, 0.3}, {365, -0.1, 0.3}, {730, 0.1, 0.3}},
            Pattern::kStable},
        CourseRow{"StableForAYearOnly",
                  {{42, 0.1, 0.3}, {90, 0.0, 0.3}, {182, 0.1, 0.3}, {365, 0.0, 0.3}},
                  Pattern::kCannotTell},
        CourseRow{"EndsEarly", {{42, 2.1, 0.3}, {90, 2.4, 0.3}}, Pattern::kCannotTell},
        CourseRow{"TooUncertain",
                  {{42, 1.0, 1.2}, {182, 1.2, 1.2}, {730, 1.6, 1.2}},
                  Pattern::kCannotTell}),
    [](const auto& row) { return row.param.name; });

// 3 mm and 15 u from every shape: there is no curve to draw and nothing that is likely.
TEST(Course, WhatNoShapeFitsHasNoCurveAndNoProbabilities) {
  const auto course = follow(hip({{42, -3.0, 0.2}, {182, -3.1, 0.2}, {730, -3.0, 0.2}}));
  EXPECT_EQ(course.pattern, Pattern::kCannotTell);
  EXPECT_THAT(course.text, HasSubstr("no course of a stem that sinks or stands still fits"));
  EXPECT_FALSE(course.probabilities);
  EXPECT_TRUE(course.fitted.empty());
}

const std::vector<Visit> kStableVisits{{42, 0.1}, {182, 0.1}, {365, 0.1}, {730, 0.1}};

// A stem whose newest film could not be aligned, or that lies 6 mm deeper on a film without a date.
TEST(Course, NamesNoPatternWhileAFilmThatMayBeLaterIsNotInIt) {
  ASSERT_EQ(follow(hip(kStableVisits)).pattern, Pattern::kStable);
  auto visits = kStableVisits;
  visits.push_back({1826, 6.0});
  auto unmeasured = hip(visits);
  unmeasured.comparisons[4].migration.reset();
  for (const auto& one : {unmeasured, invented::with_undated(hip(visits), 4)}) {
    const auto course = follow(one);
    EXPECT_EQ(course.pattern, Pattern::kCannotTell);
    EXPECT_EQ(course.left_out, std::vector<std::size_t>{4});
    EXPECT_THAT(course.text, HasSubstr("a film that is or may be later is not in the course"));
  }
  // An earlier one takes nothing.
  auto early = hip(visits);
  early.comparisons.pop_back();
  early.comparisons[1].migration.reset();
  EXPECT_TRUE(follow(early).left_out.empty());
}

// Films of 2019 to 2021 of an operation of 2010: the first six months are not theirs.
TEST(Course, WithoutADateOfSurgeryCountsFromTheReferenceFilmAndSaysSo) {
  auto one = invented::without_surgery(
      hip({{42, 2.1}, {90, 2.4}, {182, 2.5}, {365, 2.4}, {731, 2.5}, {1100, 2.5}}));
  const auto chosen = follow(one);
  EXPECT_EQ(chosen.pattern, Pattern::kCannotTell);
  EXPECT_THAT(chosen.text,
              testing::AllOf(HasSubstr("how long after the operation the reference film was taken"),
                             HasSubstr("in the first six months after the reference film"),
                             HasSubstr("times count from the reference film.")));
  one.reference_film = ReferenceFilm::kStated;
  const auto stated = follow(one);
  EXPECT_EQ(stated.pattern, Pattern::kSettled);
  EXPECT_THAT(stated.text, HasSubstr("times count from the reference film."));
  one.comparisons.resize(2);
  EXPECT_THAT(follow(one).text, HasSubstr("end within six months of the reference film."));
}

TEST(Course, ALateReferenceFilmHidesThePattern) {
  const auto course =
      follow(hip({{300, 0.1, 0.2}, {500, 0.0, 0.2}, {730, 0.1, 0.2}, {1000, 0.0, 0.2}}, 120));
  EXPECT_EQ(course.pattern, Pattern::kCannotTell);
  EXPECT_THAT(course.text, HasSubstr("the reference film is not an early one"));
}

// A stem may have sunk by 4 mm before a reference film of day 60: that it stood still early is not
// seen, that it moved is.
TEST(Course, WhatALateReferenceFilmHidesIsNotToldAsStable) {
  const std::vector<Visit> still{{183, 0.05, 0.2}, {365, 0.1, 0.2}, {760, 0.1, 0.2}};
  const std::vector<Visit> begins{
      {183, 0.1, 0.15}, {365, 0.1, 0.15}, {760, 0.1, 0.15}, {1461, 3.0, 0.15}};
  ASSERT_EQ(follow(hip(still, 14)).pattern, Pattern::kStable);
  ASSERT_EQ(follow(hip(begins, 14)).pattern, Pattern::kLate);
  for (const int day : {15, 60, 91}) {
    const std::string film = "the reference film of day " + std::to_string(day);
    for (const auto& visits : {still, begins}) {
      const auto course = follow(hip(visits, day));
      EXPECT_EQ(course.pattern, Pattern::kCannotTell) << course.text;
      EXPECT_THAT(course.text, HasSubstr("early motion before " + film +
                                         " after surgery is not seen. So far the likeliest: The "
                                         "stem sank by less than 1 mm from " +
                                         film + " to six months after surgery and by "));
    }
  }
}

// Quiet films of perhaps another hip show no quiet stem; motion on them calls for a closer look.
TEST(Course, WithAFlagThatForbidsTrustNothingIsToldToStandStill) {
  const std::vector<Visit> settles{
      {42, 2.1, 0.2}, {90, 2.4, 0.2}, {182, 2.5, 0.2}, {365, 2.4, 0.2}, {730, 2.5, 0.2}};
  const auto flagged = [](const std::vector<Visit>& visits, const std::string& id) {
    auto one = hip(visits);
    one.comparisons[1].flags.push_back({id, "What it says."});
    return follow(one);
  };
  for (const auto& visits : {kStableVisits, settles}) {
    ASSERT_NE(follow(hip(visits)).pattern, Pattern::kCannotTell);
    EXPECT_NE(flagged(visits, "film_too_soft").pattern, Pattern::kCannotTell);
    for (const std::string id : {"patient_differs", "scales_disagree"}) {
      const auto course = flagged(visits, id);
      EXPECT_EQ(course.pattern, Pattern::kCannotTell) << course.text;
      EXPECT_THAT(course.text, HasSubstr("a flag says that a film of the course may not show this "
                                         "hip, its scale or its alignment (" +
                                         id + ")"));
    }
  }
  const std::vector<Visit> goes_on{
      {42, 1.8, 0.2}, {90, 2.2, 0.2}, {182, 2.6, 0.2}, {365, 3.4, 0.2}, {730, 5.0, 0.2}};
  EXPECT_EQ(flagged(goes_on, "patient_differs").pattern, Pattern::kContinuous);
}

TEST(Course, WhatMovedSinceALateReferenceFilmIsNamed) {
  const auto goes_on =
      follow(hip({{90, 1.6, 0.15}, {182, 2.4, 0.15}, {365, 3.4, 0.15}, {730, 5.0, 0.15}}, 30));
  EXPECT_EQ(goes_on.pattern, Pattern::kContinuous) << goes_on.text;
  EXPECT_THAT(goes_on.text, HasSubstr("from the reference film of day 30 to six months"));
  const auto stopped =
      follow(hip({{90, 2.2, 0.15}, {182, 2.4, 0.15}, {365, 2.4, 0.15}, {730, 2.4, 0.15}}, 30));
  EXPECT_EQ(stopped.pattern, Pattern::kSettled) << stopped.text;
  EXPECT_THAT(stopped.text, HasSubstr("from the reference film of day 30 to six months"));
}

TEST(Course, OfAReferenceFilmAfterSixMonthsNothingIsSaidOfThem) {
  const auto course = follow(hip({{600, 0.1, 0.2}, {900, 0.0, 0.2}, {1300, 0.1, 0.2}}, 400));
  EXPECT_THAT(course.text, HasSubstr("The stem sank by less than 1 mm since the reference film of "
                                     "day 400 after surgery (probability "));
}

TEST(Course, TheCurveRunsThroughTheReferenceFilmAndTheData) {
  const auto course = follow(
      hip({{42, 2.1, 0.2}, {90, 2.4, 0.2}, {182, 2.5, 0.2}, {365, 2.5, 0.2}, {730, 2.5, 0.2}}));
  ASSERT_GT(course.fitted.size(), 10U);
  EXPECT_EQ(course.fitted.front().days, 1);
  EXPECT_EQ(course.fitted.front().median.value, 0.0);
  EXPECT_EQ(course.fitted.back().days, 730);
  EXPECT_NEAR(course.fitted.back().median.value, 2.5, 0.3);
  for (const auto& at : course.fitted) {
    EXPECT_LE(at.low.value, at.median.value);
    EXPECT_LE(at.median.value, at.high.value);
  }
}

TEST(Course, InPixelsThereIsNone) {
  auto one = hip({{42, 2.1}, {182, 2.5}, {730, 2.5}});
  one.lengths = Lengths::kPixels;
  const auto course = follow(one);
  EXPECT_TRUE(course.points.empty());
  EXPECT_FALSE(course.probabilities);
  EXPECT_EQ(course.pattern, Pattern::kCannotTell);
}

}  // namespace
}  // namespace tidemark::assessment
