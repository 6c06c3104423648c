#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "registry/made_cohort.h"
#include "tidemark/assessment/course.h"
#include "tidemark/assessment/judge.h"
#include "tidemark/registry/cohort_study.h"

// Which hips enter shares and curves must hang on nothing that their films show later.

namespace tidemark::registry {
namespace {

using made::comparison;
using testing::HasSubstr;

/// `hips` hips with one film on day 730, of which `beyond` exceed; the others say `rest`.
Cohort with_reference(std::optional<int> day, int hips, int beyond, Verdict rest,
                      const std::string& quantity = "subsidence_mm") {
  Cohort out;
  out.groups = {""};
  for (int h = 0; h < hips; ++h) {
    CohortHip hip;
    hip.hip = "H" + std::to_string(1000 + h);
    hip.reference_days = day;
    hip.comparisons = {comparison(0, 730, 1.0, 0.2)};
    hip.findings = {{0, "limit", quantity, "mm", 1.5, h < beyond ? Verdict::kExceeds : rest, 0.5}};
    out.hips.push_back(hip);
  }
  return out;
}

// assessment/judge.h: against such a reference film `exceeds` stays and all else is not applicable.
TEST(CriterionEntry, HipsWithAReferenceLaterThanThreeMonthsTakeNoPart) {
  const Cohort cohort = with_reference(200, 20, 2, Verdict::kNotApplicable);
  const auto shares = criterion_shares(cohort);
  ASSERT_EQ(shares.size(), 1U);
  EXPECT_EQ(shares[0].exceeds + shares[0].within + shares[0].cannot_tell, 0U);
  EXPECT_FALSE(shares[0].least);
  EXPECT_FALSE(shares[0].expected);
  EXPECT_EQ(shares[0].late_reference, 20U);
  EXPECT_EQ(shares[0].not_judged, 0U);
  EXPECT_TRUE(criterion_survival(cohort).empty());
  EXPECT_THAT(study(cohort, {}, "test").cautions,
              testing::Contains(HasSubstr("20 hips is later than three months")));
}

// Beside 20 hips with an early film of which 2 exceed: the share is theirs.
TEST(CriterionEntry, LateReferencesDoNotMoveTheShareOfTheOthers) {
  Cohort cohort = with_reference(1, 20, 2, Verdict::kWithin);
  for (const CohortHip& hip : with_reference(200, 20, 10, Verdict::kNotApplicable).hips) {
    cohort.hips.push_back(hip);
  }
  const auto shares = criterion_shares(cohort);
  EXPECT_EQ(shares[0].least->share, 0.1);
  EXPECT_EQ(shares[0].most->share, 0.1);
  EXPECT_EQ(shares[0].late_reference, 20U);
  ASSERT_EQ(shares.size(), 2U);  // and at two years
  EXPECT_EQ(shares[1].least->of, 20U);
  EXPECT_EQ(shares[1].late_reference, 20U);
  for (const CriterionSurvival& curve : criterion_survival(cohort)) {
    EXPECT_EQ(curve.curves[0].hips, 20U);
    EXPECT_EQ(curve.late_reference[0], 20U);
    EXPECT_EQ(curve.left_out[0], 0U);
  }
}

// Between two weeks and three months `within` becomes cannot_tell: bounds hold, judged films alone
// would be events alone.
TEST(CriterionEntry, FilmsThatHideSomethingBoundTheShareAndAreNoJudgedOnes) {
  for (const std::optional<int> day : {std::optional(60), std::optional<int>()}) {
    const Cohort cohort = with_reference(day, 20, 2, Verdict::kCannotTell);
    const auto shares = criterion_shares(cohort);
    EXPECT_EQ(shares[0].least->share, 0.1);
    EXPECT_EQ(shares[0].most->share, 1.0);
    EXPECT_EQ(shares[0].late_reference, 0U);
    const auto curves = criterion_survival(cohort);
    ASSERT_EQ(curves.size(), 2U);
    EXPECT_EQ(curves[0].counting, Counting::kAsWithin);
    EXPECT_NEAR(curves[0].curves[0].steps.back().survival, 0.9, 1e-12);
    EXPECT_EQ(curves[1].counting, Counting::kAsBeyond);
    EXPECT_EQ(curves[1].curves[0].steps.back().survival, 0.0);
  }
}

// Change from three months on is not hidden by the reference film.
TEST(CriterionEntry, LateChangeAsksNoEarlyReference) {
  for (const char* quantity : {"late_subsidence_mm", "late_subsidence_rate_mm_per_year"}) {
    const Cohort cohort = with_reference(200, 20, 2, Verdict::kWithin, quantity);
    EXPECT_EQ(criterion_shares(cohort)[0].least->share, 0.1) << quantity;
    EXPECT_EQ(criterion_survival(cohort)[0].curves[0].hips, 20U) << quantity;
  }
}

TEST(CriterionEntry, HangsOnTheDayOfTheReferenceFilmAlone) {
  CohortHip hip;
  EXPECT_EQ(entry_of(hip), Entry::kHides) << "surgery is dated, the film is not";
  hip.days_from_reference = true;
  EXPECT_EQ(entry_of(hip), Entry::kHides) << "surgery has no date: days count from the film";
  hip.days_from_reference = false;
  hip.reference_days = 0;
  EXPECT_EQ(entry_of(hip), Entry::kEarly);
  hip.reference_days = assessment::kBaselineLateDays;
  EXPECT_EQ(entry_of(hip), Entry::kEarly);
  hip.reference_days = assessment::kBaselineLateDays + 1;
  EXPECT_EQ(entry_of(hip), Entry::kHides);
  hip.reference_days = assessment::kSettledDays;
  EXPECT_EQ(entry_of(hip), Entry::kHides);
  hip.reference_days = assessment::kSettledDays + 1;
  EXPECT_EQ(entry_of(hip), Entry::kTooLate);
}

}  // namespace
}  // namespace tidemark::registry
