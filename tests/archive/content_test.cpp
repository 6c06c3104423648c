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

/// Every content item of this name below the groups of findings.
std::vector<Item> items_of(const followup::Result& result, const std::string& code) {
  std::vector<Item> out;
  const Sources none(result.films.size());
  for (const Item& group : finding_groups(result, none, Tracking{"seed"})) {
    for (const Item& item : group.children) {
      if (item.name.value == code) out.push_back(item);
    }
  }
  return out;
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
