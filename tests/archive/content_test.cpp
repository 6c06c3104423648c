#include "../../modules/archive/src/content.h"

#include <gtest/gtest.h>

#include "followup/invented.h"
#include "tidemark/core/date.h"

namespace tidemark::archive {
namespace {

followup::Result measured() {
  followup::Series series = followup::invented::series({"early.dcm", "late.dcm"});
  series.stem.fixation = Fixation::kUncemented;
  series.surgery_date = parse_date("2022-03-02");
  series.films[0].date = parse_date("2022-03-03");
  return followup::measure_with(series, {}, followup::invented::steps());
}

/// Every content item of this name below the groups.
std::vector<Item> named(const std::vector<Item>& groups, const std::string& code) {
  std::vector<Item> out;
  for (const Item& group : groups) {
    for (const Item& item : group.children) {
      if (item.name.value == code) out.push_back(item);
    }
  }
  return out;
}

/// The same below the groups of findings.
std::vector<Item> items_of(const followup::Result& result, const std::string& code) {
  const Sources none(result.films.size());
  return named(finding_groups(result, none, Tracking{"seed"}), code);
}

// A number that is rounded to 1.00 beside CANNOT-TELL, or to 0.95 below the 95 % that a verdict
// needs, contradicts the verdict.
TEST(Content, AProbabilityHasTheDigitsOfResultJson) {
  struct Row {
    double probability;
    const char* text;
  };
  for (const Row& row : {Row{0.0, "0.0001"}, Row{1e-6, "0.0001"}, Row{0.9496, "0.9496"},
                         Row{0.9999, "0.9999"}, Row{1.0, "0.9999"}}) {
    followup::Result result = measured();
    for (auto& finding : result.assessment->findings) finding.probability_exceeds = row.probability;
    const auto items = items_of(result, "PROBABILITY");
    ASSERT_EQ(items.size(), result.assessment->findings.size());
    for (const Item& item : items) EXPECT_EQ(std::get<Number>(item.value).value, row.text);
  }
}

// A cavity of 42 mm2 beside zone 7, and a zone that is left open.
TEST(Content, HoldsFocalLossOfBone) {
  followup::Result result = measured();
  lucency::ZoneLysis lost;
  lost.zone = 7;
  lost.state = lucency::State::kPresent;
  lost.area = {{42.0}, {4.0}, {8.0}};
  lost.depth = {0.4, 0.05, 0.1};
  lost.seen = 0.8;
  lucency::ZoneLysis open;
  open.zone = 2;
  open.reason = "Too little is seen.";
  auto& signs = result.comparisons.at(0).signs;
  if (!signs) signs.emplace();
  signs->lysis = {lost, open};
  const auto groups = bone_change_groups(result, result.comparisons[0], Tracking{"seed"});
  const auto states = named(groups, "LYSIS");
  ASSERT_EQ(states.size(), 2U);
  EXPECT_EQ(std::get<Code>(states[0].value).value, "PRESENT");
  EXPECT_EQ(std::get<Code>(states[1].value).value, "CANNOT-TELL");
  const auto areas = named(groups, "LYSIS-AREA");
  ASSERT_EQ(areas.size(), 1U);
  EXPECT_EQ(std::get<Number>(areas[0].value).value.substr(0, 2), "42");
  EXPECT_EQ(std::get<Number>(areas[0].value).unit.value, "mm2");
  EXPECT_EQ(named(groups, "LYSIS-DEPTH").size(), 1U);
  EXPECT_EQ(named(groups, "LYSIS-SEEN").size(), 2U);
}

// What a stem sank before the first late film is not in the number: it is no upper bound.
TEST(Content, ALateChangeThatStartsLateSaysThatItIsALowerBound) {
  for (const bool starts_late : {false, true}) {
    followup::Result result = measured();
    assessment::LateChange late;
    late.change = {{0.8}, {0.2}, {0.4}};
    late.starts_late = starts_late;
    result.assessment->course.late_change = late;
    const auto items = items_of(result, "LATE-CHANGE");
    ASSERT_EQ(items.size(), 1U);
    std::vector<std::string> bounds;
    for (const Item& child : items[0].children) {
      if (child.name.value == "BOUND") bounds.push_back(std::get<Code>(child.value).value);
    }
    EXPECT_EQ(bounds,
              starts_late ? std::vector<std::string>{"AT-LEAST"} : std::vector<std::string>{});
  }
}

}  // namespace
}  // namespace tidemark::archive
