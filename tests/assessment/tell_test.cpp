#include "tidemark/assessment/tell.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

namespace tidemark::assessment {
namespace {

using testing::HasSubstr;

// What is printed as JSON reads as the same sets: no key is lost on the way.
TEST(Tell, JsonOfASetReadsBack) {
  const auto& sets = built_in_criteria();
  auto json = nlohmann::json::parse(json_of(sets));
  ASSERT_EQ(json.size(), sets.size());
  for (std::size_t i = 0; i < sets.size(); ++i) {
    json[i]["id"] = "copy/" + std::to_string(i);
    auto copy = parse_criteria(json[i].dump(), "copy.json");
    ASSERT_TRUE(copy) << copy.error().sentence();
    copy->id = sets[i].id;
    EXPECT_EQ(json_of({*copy}), json_of({sets[i]}));
  }
}

TEST(Tell, AListNamesEverySetAndCriterion) {
  const std::string text = list_of(built_in_criteria());
  for (const auto& set : built_in_criteria()) {
    EXPECT_THAT(text, HasSubstr(set.id));
    for (const auto& c : set.criteria) EXPECT_THAT(text, HasSubstr("  " + c.id + " "));
  }
}

TEST(Tell, AnExplanationHasSourceMarkAndWindow) {
  const auto set = find_criteria("uncemented-default/1");
  ASSERT_TRUE(set);
  const std::string text = explanation_of(*set, set->criteria.at(2));
  for (const char* part : {"M-STREIT", "more than 2.7 mm", "at 24 months (give or take 3 months)",
                           "doi:10.1007/s11999-016-4857-5", "from memory", "judged    yes"}) {
    EXPECT_THAT(text, HasSubstr(part));
  }
  EXPECT_THAT(explanation_of(*set, set->criteria.at(3)),
              HasSubstr("no: found for the mean of groups"));
}

}  // namespace
}  // namespace tidemark::assessment
