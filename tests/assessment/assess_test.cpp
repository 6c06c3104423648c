#include "tidemark/assessment/assess.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "invented_hip.h"

namespace tidemark::assessment {
namespace {

using invented::hip;
using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

Assessment of(const HipEvidence& one) { return assess(one, default_criteria(one.stem)); }

TEST(Assess, HoldsEveryCriterionAgainstEveryComparison) {
  const auto a = of(hip({{42, 1.0}, {730, 1.0}}));
  EXPECT_EQ(a.criteria.id, "uncemented-default/1");
  EXPECT_EQ(a.findings.size(), 2 * a.criteria.criteria.size());
  EXPECT_EQ(a.findings.front().comparison, 0U);
  EXPECT_EQ(a.findings.back().comparison, 1U);
}

TEST(Headline, NamesWhatIsAboveAndWhatIsWithin) {
  const auto a = of(hip({{42, 1.0, 0.2}, {730, 2.1, 0.2}}));
  EXPECT_EQ(a.headline.verdict, Verdict::kExceeds);
  EXPECT_EQ(a.headline.comparison, 1U);
  EXPECT_THAT(
      a.headline.sentence,
      AllOf(HasSubstr("subsidence +2.10 ± 0.39 mm"), HasSubstr("24 months after surgery"),
            HasSubstr("Above the limit of M-KRISMER"), HasSubstr("within the limit of M-STREIT")));
  EXPECT_THAT(a.headline.doubt,
              HasSubstr("The values of M-STREIT, M-TILT-3 and M-TILT-2 are from memory."));
}

TEST(Headline, IsWithinOnlyWhenNothingIsOpen) {
  EXPECT_EQ(of(hip({{730, 0.5, 0.2}})).headline.verdict, Verdict::kWithin);
  EXPECT_EQ(of(hip({{730, 1.4, 0.3}})).headline.verdict, Verdict::kCannotTell);
}

// At three months no limit of subsidence holds: kept limits of tilt do not make a hip within.
TEST(Headline, IsNotWithinByItsTiltAlone) {
  const auto a = of(hip({{93, 0.1, 0.2}}));
  EXPECT_EQ(a.headline.verdict, Verdict::kCannotTell);
  EXPECT_THAT(a.headline.sentence, HasSubstr("no limit of subsidence holds for this film"));
}

TEST(Headline, LaterFilmsDoNotTakeBackWhatWasAbove) {
  const auto a = of(hip({{49, 4.5, 0.3}, {730, 1.0, 0.2}}));
  EXPECT_EQ(a.headline.verdict, Verdict::kExceeds);
  EXPECT_THAT(a.headline.sentence, HasSubstr("The film film-1 was above the limit of M-ALN."));
}

TEST(Headline, SaysWhatAlreadyLiesAboveALimitOfAnotherTime) {
  const auto a = of(hip({{365, 5.0, 0.3}}));
  EXPECT_THAT(a.headline.sentence, HasSubstr("already lies above the number of M-ALN, M-KRISMER "
                                             "and M-STREIT, which holds at another time"));
}

TEST(Headline, WithoutAMeasuredComparisonCannotTell) {
  auto one = hip({{730, 1.0}});
  one.comparisons[0].migration.reset();
  one.comparisons[0].reason = "no";
  const auto a = of(one);
  EXPECT_EQ(a.headline.verdict, Verdict::kCannotTell);
  EXPECT_FALSE(a.headline.comparison);
  EXPECT_THAT(of(hip({})).headline.doubt, HasSubstr("no follow-up film"));
}

HipEvidence with_unmeasured(HipEvidence out, std::size_t comparison) {
  out.comparisons[comparison].migration.reset();
  out.comparisons[comparison].reason = "the bone does not match";
  return out;
}

// A stem that moved so far that its newest film cannot be aligned must not pass for one at rest.
TEST(Headline, IsNotWithinWhenALaterFilmCouldNotBeMeasured) {
  const auto a = of(with_unmeasured(hip({{730, 0.2, 0.3}, {1826, 0.0}}), 1));
  EXPECT_EQ(a.headline.verdict, Verdict::kCannotTell);
  EXPECT_EQ(a.headline.comparison, 0U);
  EXPECT_THAT(a.headline.sentence,
              HasSubstr("A film that is or may be later could not be measured."));
  EXPECT_THAT(a.headline.doubt, HasSubstr("The film film-2 of 2025-03-01 could not be measured"));
  // What was above stays so.
  const auto above = of(with_unmeasured(hip({{730, 6.0, 0.3}, {1826, 0.0}}), 1));
  EXPECT_EQ(above.headline.verdict, Verdict::kExceeds);
  EXPECT_THAT(above.headline.doubt, HasSubstr("film-2"));
  // An earlier film that failed takes nothing from a later one.
  const auto early = of(with_unmeasured(hip({{365, 0.0}, {730, 0.2, 0.3}}), 0));
  EXPECT_EQ(early.headline.verdict, Verdict::kWithin);
  EXPECT_THAT(early.headline.doubt, Not(HasSubstr("could not be measured")));
}

TEST(Headline, AFilmWithoutADateMayBeTheLatest) {
  auto one = with_unmeasured(hip({{365, 0.0}, {730, 0.2, 0.3}}), 0);
  one.films[1].date.reset();
  one.films[1].days_from_surgery.reset();
  one.comparisons[0].days.reset();
  const auto a = of(one);
  EXPECT_EQ(a.headline.verdict, Verdict::kCannotTell);
  EXPECT_THAT(a.headline.doubt, HasSubstr("The film film-1 has no date and could not be measured"));
}

TEST(Headline, CarriesTheFlagsOfTheComparison) {
  auto one = hip({{730, 1.0}});
  one.comparisons[0].flags = {{"landmarks_disagree", "The trochanters say otherwise."}};
  EXPECT_THAT(of(one).headline.doubt, HasSubstr("The trochanters say otherwise."));
}

// 1.2 mm at two years is expected of a polished taper and alarming in a composite beam: without
// fixation there is no verdict on subsidence.
TEST(Assess, JudgesNoSubsidenceWithoutFixation) {
  auto one = hip({{730, 9.0, 0.2}});
  one.stem = {};
  const auto a = of(one);
  for (const auto& f : a.findings) EXPECT_EQ(f.quantity, Quantity::kTiltChange);
  EXPECT_NE(a.headline.verdict, Verdict::kExceeds);
  ASSERT_FALSE(a.cautions.empty());
  EXPECT_THAT(a.cautions[0], HasSubstr("stem.fixation"));
}

TEST(Assess, InPixelsJudgesTheTiltOnly) {
  auto one = hip({{730, 90.0, 0.2, 5.0, 0.3}});
  one.lengths = Lengths::kPixels;
  const auto a = of(one);
  EXPECT_EQ(a.headline.verdict, Verdict::kExceeds);
  EXPECT_THAT(a.headline.sentence, Not(HasSubstr(" mm")));
  for (const auto& f : a.findings) {
    if (f.quantity != Quantity::kTiltChange && f.threshold) {
      EXPECT_NE(f.verdict, Verdict::kExceeds);
    }
  }
}

TEST(Assess, SaysTheSameTwice) {
  const auto one = hip({{42, 2.0}, {182, 2.4}, {730, 2.5}});
  const auto a = of(one);
  const auto b = of(one);
  EXPECT_EQ(a.headline.sentence, b.headline.sentence);
  EXPECT_EQ(a.course.text, b.course.text);
  EXPECT_EQ(*a.course.probabilities, *b.course.probabilities);
}

TEST(Assess, WordsAreThoseOfCareNotOfFate) {
  auto one = hip({{42, 6.0, 0.2}, {182, 8.0, 0.2}, {730, 12.0, 0.2, 9.0}});
  const auto a = of(one);
  for (const std::string& text : {a.headline.sentence, a.headline.doubt, a.course.text}) {
    EXPECT_THAT(text, AllOf(Not(HasSubstr("loose")), Not(HasSubstr("failed")), Not(IsEmpty())));
  }
  EXPECT_GE(a.cautions.size(), 2U);
}

}  // namespace
}  // namespace tidemark::assessment
