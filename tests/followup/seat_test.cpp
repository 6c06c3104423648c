#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "followup/invented.h"
#include "tidemark/followup/write.h"

// What followup adds to the audit (assessment/seat.h): which film, which plan, how it is told.
namespace tidemark::followup {
namespace {

using testing::ContainsRegex;
using testing::HasSubstr;
using testing::Not;

Series two_films() { return invented::series({"late.dcm", "early.dcm"}); }

nlohmann::json json_of(const Series& series, const Options& options = {}) {
  return nlohmann::json::parse(to_json(measure_with(series, options, invented::steps())));
}

nlohmann::json item_of(const nlohmann::json& result, const std::string& quantity) {
  for (const auto& item : result["assessment"]["seat"]) {
    if (item["quantity"] == quantity) return item;
  }
  ADD_FAILURE() << quantity;
  return {};
}

TEST(Seat, IsAuditedOnTheReferenceFilmAlone) {
  const Result result = measure_with(two_films(), {}, invented::steps());
  ASSERT_TRUE(result.seat);
  EXPECT_EQ(result.seat->film, 1U);  // the earlier one
  EXPECT_EQ(result.seat->items.size(), 12U);
}

// By hand from followup/invented.h: a stem of 16 mm in a canal of 20, a bone of 30.
TEST(Seat, JsonHoldsEachItemWithItsDefinition) {
  const auto json = json_of(two_films());
  const auto fill = item_of(json, "canal_fill_minus_70");
  EXPECT_EQ(fill["measured"]["value"], 0.8);
  EXPECT_EQ(fill["unit"], "1");
  EXPECT_EQ(fill["verdict"], "not_planned");
  EXPECT_FALSE(fill.contains("planned"));
  EXPECT_FALSE(fill.contains("class"));  // 0.8 is the limit between both classes
  EXPECT_THAT(fill["definition"].get<std::string>(), HasSubstr("inner width of the canal"));
  const auto index = item_of(json, "cortical_index");
  EXPECT_EQ(index["measured"]["value"], 0.3333);
  EXPECT_EQ(index["class"]["id"], "dorr_c");
  const auto tilt = item_of(json, "stem_tilt_deg");
  EXPECT_NEAR(tilt["measured"]["value"].get<double>(), 2.0, 1e-3);
  EXPECT_EQ(tilt["positive"], "varus");
  const auto tip = item_of(json, "greater_trochanter_to_head_centre_mm");
  EXPECT_FALSE(tip.contains("measured"));  // the invented femur has none
  EXPECT_THAT(tip["reason"].get<std::string>(), HasSubstr("is not seen"));
}

TEST(Seat, IsHeldAgainstThePlanOfTheSheet) {
  Series series = two_films();
  series.plan.stem_tilt = Degrees{-4.0};
  series.plan.greater_trochanter_to_head_centre = Millimetres{8.0};
  const auto json = json_of(series);
  const auto tilt = item_of(json, "stem_tilt_deg");
  EXPECT_EQ(tilt["planned"], -4.0);
  EXPECT_EQ(tilt["tolerance"], 3.0);
  EXPECT_EQ(tilt["verdict"], "off_plan");  // 6 degrees off
  const auto tip = item_of(json, "greater_trochanter_to_head_centre_mm");
  EXPECT_EQ(tip["planned"], 8.0);
  EXPECT_EQ(tip["verdict"], "cannot_tell");  // not measured
}

TEST(Seat, IsAbsentWithoutAMeasuredReferenceFilm) {
  const auto json = json_of(invented::series({"none.dcm", "bare.dcm"}));
  EXPECT_FALSE(json["assessment"].contains("seat"));
}

TEST(Seat, WithoutAScaleOnlyTheTiltIsMeasured) {
  Series series = two_films();
  series.stem.head_diameter.reset();
  const auto json = json_of(series, {.without_scale = WithoutScale::kAcceptPixels});
  for (const auto& item : json["assessment"]["seat"]) {
    EXPECT_EQ(item.contains("measured"), item["quantity"] == "stem_tilt_deg") << item;
  }
}

TEST(Seat, TableTellsEachItemInOneLine) {
  Series series = two_films();
  series.plan.stem_tilt = Degrees{0.0};
  const std::string table = to_table(measure_with(series, {}, invented::steps()));
  EXPECT_THAT(table, HasSubstr("Seat of the stem on early.dcm:\n"));
  EXPECT_THAT(table, ContainsRegex("Tilt of the stem .varus \\+. +\\+2.00 ± 0.25 deg; neutral; "
                                   "planned \\+?0.0, as planned\n"));
  EXPECT_THAT(table, ContainsRegex("Canal fill 70 mm below the lesser trochanter +0.80 ± 0.0"));
  EXPECT_THAT(table, ContainsRegex("Greater trochanter to head centre .* not measured: The tip"));
}

}  // namespace
}  // namespace tidemark::followup
