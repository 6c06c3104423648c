#include "../../modules/followup/src/judged.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "followup/invented.h"
#include "tidemark/core/date.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

using testing::HasSubstr;

/// Surgery two years before the late film: 2.1 +- 0.4 mm on the day when limits of two years hold.
Series two_years() {
  Series series = invented::series({"early.dcm", "late.dcm"});
  series.stem.fixation = Fixation::kUncemented;
  series.surgery_date = parse_date("2022-03-02");
  series.films[0].date = parse_date("2022-03-03");
  return series;
}

TEST(Judged, EveryMeasuredHipIsJudgedByTheCriteriaForItsStem) {
  const Result result = measure_with(two_years(), {}, invented::steps());
  ASSERT_TRUE(result.assessment);
  EXPECT_EQ(result.assessment->criteria.id, "uncemented-default/1");
  // 2.1 mm with u 0.2 mm, on day 730: above 1.5 mm by 3 u, below 2.7 mm by 3 u.
  EXPECT_THAT(result.assessment->headline.sentence,
              HasSubstr("Above the limit of M-KRISMER; within the limit of M-STREIT"));
  Series unknown = two_years();
  unknown.stem.fixation.reset();
  EXPECT_EQ(measure_with(unknown, {}, invented::steps()).assessment->criteria.id,
            "fixation-unknown/1");
}

TEST(Judged, OtherCriteriaReplaceThem) {
  Options options;
  options.criteria = assessment::find_criteria("cemented-composite-beam/1").value();
  const Result result = measure_with(two_years(), options, invented::steps());
  EXPECT_EQ(result.assessment->criteria.id, "cemented-composite-beam/1");
  const Result plain = measure_with(two_years(), {}, invented::steps());
  EXPECT_NE(result.options_sha256, plain.options_sha256);
}

TEST(Judged, EvidenceHoldsZonesSignsAndFlags) {
  const Series series = two_years();
  const Result result = measure_with(series, {}, invented::steps());
  const auto hip = evidence_of(series.stem, result);
  ASSERT_EQ(hip.films.size(), 2U);
  ASSERT_EQ(hip.comparisons.size(), 1U);
  EXPECT_EQ(hip.films[1].days_from_surgery, 730);
  ASSERT_EQ(hip.films[1].zones.size(), 7U);
  EXPECT_EQ(hip.films[1].zones[6].state, lucency::State::kPresent);
  EXPECT_EQ(hip.comparisons[0].zones.size(), 7U);
  ASSERT_EQ(hip.comparisons[0].flags.size(), 2U) << "its own, and what speaks against a film";
  ASSERT_EQ(result.flags.back().id, "lines_not_validated");
  for (const Flag& flag : hip.flags) EXPECT_NE(flag.id, "lines_not_validated") << "not of motion";
}

// Role given by hand: the user promises that it is the film after the operation.
TEST(Judged, OnlyTheSheetCanSayWhichFilmWasTakenAfterTheOperation) {
  Series series = two_years();
  const auto says = [&] {
    return evidence_of(series.stem, measure_with(series, {}, invented::steps())).reference_film;
  };
  EXPECT_EQ(says(), assessment::ReferenceFilm::kChosen);
  series.films[1].role = Role::kFollowUp;
  EXPECT_EQ(says(), assessment::ReferenceFilm::kChosen);
  series.films[0].role = Role::kReference;
  EXPECT_EQ(says(), assessment::ReferenceFilm::kStated);
}

// A late film named as the reference once made a hip "within" whose stem had sunk before it.
TEST(Judged, AnEarlierFilmBreaksThePromiseOfTheReferenceFilm) {
  Series series = invented::series({"early.dcm", "late.dcm", "later.dcm"});
  series.films[1].role = Role::kReference;
  series.films[2].date = parse_date("2024-05-01");
  const auto says = [&](const Series& one, assessment::ReferenceFilm kind) {
    const Result result = measure_with(one, {}, invented::steps());
    EXPECT_EQ(evidence_of(one.stem, result).reference_film, kind);
    const auto flag = std::find_if(result.flags.begin(), result.flags.end(), [](const Flag& it) {
      return it.id == "reference_not_earliest";
    });
    const bool told = flag != result.flags.end();
    if (told) {
      EXPECT_THAT(result.assessment->headline.doubt, HasSubstr(flag->text));
    }
    return told ? flag->text : std::string();
  };
  EXPECT_THAT(says(series, assessment::ReferenceFilm::kChosen), HasSubstr("early.dcm"));
  series.films[0].excluded = true;  // its header is not read, so that nobody knows its date
  EXPECT_THAT(says(series, assessment::ReferenceFilm::kChosen), HasSubstr("early.dcm"));
  series.films[0].date = parse_date("2024-01-01");
  EXPECT_THAT(says(series, assessment::ReferenceFilm::kChosen), HasSubstr("early.dcm"));
  series.films[0].date = parse_date("2024-04-01");
  EXPECT_EQ(says(series, assessment::ReferenceFilm::kStated), "");
  series.films[0].date = parse_date("2024-01-01");
  series.surgery_date = parse_date("2023-12-30");
  EXPECT_EQ(says(series, assessment::ReferenceFilm::kChosen), "") << "surgery itself is dated";
}

TEST(Judged, LengthsInPixelsAreNotJudgedAsMillimetres) {
  Series series = two_years();
  series.stem.head_diameter.reset();
  const Result result =
      measure_with(series, {.without_scale = WithoutScale::kAcceptPixels}, invented::steps());
  ASSERT_EQ(result.length_unit, LengthUnit::kReferencePixels);
  for (const auto& finding : result.assessment->findings) {
    if (finding.quantity == assessment::Quantity::kTiltChange) continue;
    EXPECT_FALSE(finding.measured) << finding.text;
  }
}

TEST(Judged, JsonHoldsTheAssessment) {
  const auto json =
      nlohmann::json::parse(to_json(measure_with(two_years(), {}, invented::steps())));
  const auto& assessment = json["assessment"];
  EXPECT_EQ(assessment["criteria_set"], "uncemented-default/1");
  EXPECT_EQ(assessment["headline"]["verdict"], "exceeds");
  EXPECT_EQ(assessment["headline"]["comparison"], 0);
  const auto& krismer = assessment["findings"][1];
  EXPECT_EQ(krismer["criterion"], "M-KRISMER");
  EXPECT_EQ(krismer["verdict"], "exceeds");
  EXPECT_EQ(krismer["threshold"], 1.5);
  EXPECT_EQ(krismer["unit"], "mm");
  EXPECT_EQ(krismer["certainty"], "second_hand");
  EXPECT_NEAR(krismer["probability_exceeds"].get<double>(), 0.9984, 2e-4);  // Phi(0.6 x 1.96 / 0.4)
  EXPECT_FALSE(assessment["headline"].contains("unmeasured_since"));
  EXPECT_FALSE(krismer.contains("at"));
  EXPECT_EQ(assessment["pattern"], "cannot_tell");
  EXPECT_EQ(assessment["course"]["days_from"], "surgery");
}

// All that is told only of some hips.
TEST(Judged, JsonTellsPointsCertaintyAndWhatWasNotMeasured) {
  Result result = measure_with(two_years(), {}, invented::steps());
  auto& all = *result.assessment;
  all.headline.unmeasured_since = {0};
  all.findings[1].point = assessment::Point::kTip;
  all.findings[1].probability_exceeds = 1.0 - 1e-7;
  all.findings[2].probability_exceeds = 0.0;
  const auto json = nlohmann::json::parse(to_json(result))["assessment"];
  EXPECT_EQ(json["headline"]["unmeasured_since"], nlohmann::json({0}));
  EXPECT_EQ(json["findings"][1]["at"], "tip");
  EXPECT_EQ(json["findings"][1]["probability_exceeds"], 0.9999);
  EXPECT_EQ(json["findings"][2]["probability_exceeds"], 0.0001);
}

TEST(Judged, TableEndsWithVerdictDoubtAndCaution) {
  const Result result = measure_with(two_years(), {}, invented::steps());
  const std::string text = to_table(result);
  const auto sentence = text.find(result.assessment->headline.sentence);
  const auto doubt = text.find(result.assessment->headline.doubt);
  ASSERT_NE(sentence, std::string::npos);
  ASSERT_NE(doubt, std::string::npos);
  EXPECT_LT(sentence, doubt);
  EXPECT_TRUE(text.ends_with(std::string(kCaution) + "\n"));
}

}  // namespace
}  // namespace tidemark::followup
