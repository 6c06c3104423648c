#include "tidemark/core/json_reader.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>

namespace tidemark {
namespace {

using testing::ElementsAre;

struct NearRow {
  std::string word;
  std::string nearest;  ///< empty: none is near
};

// Derived by hand: edits counted on paper.
TEST(NearestKey, TakesTheSmallestEditDistance) {
  const std::vector<std::string> known{"file", "role", "date", "view", "marker_px"};
  for (const auto& row :
       {NearRow{"fiel", "file"}, NearRow{"Role", "role"}, NearRow{"dat", "date"},
        NearRow{"markerpx", "marker_px"}, NearRow{"quality", ""}, NearRow{"", ""}}) {
    EXPECT_EQ(nearest_key(row.word, known).value_or(""), row.nearest) << row.word;
  }
}

// What a fault says is fixed by what the files' own readers promise (docs/cli.md, exit codes).
TEST(JsonReader, KeepsTheFirstFaultWithItsPlace) {
  JsonReader reader("rules.json");
  const auto json = reader.parse(R"({"list": [1, "two"], "colour": 3})");
  ASSERT_FALSE(reader.first_fault());
  EXPECT_FALSE(reader.object(json, "", {"list", "color"}));
  EXPECT_TRUE(reader.texts(json, "", "list").empty());
  ASSERT_TRUE(reader.first_fault());
  EXPECT_EQ(reader.first_fault()->sentence(),
            "rules.json: key \"colour\" is not known; did you mean \"color\"?");
}

TEST(JsonReader, ListOfTextsHoldsTextsOnly) {
  JsonReader reader("rules.json");
  const auto json = reader.parse(R"({"good": ["a", "b"], "bad": ["a", 2], "none": 1})");
  EXPECT_THAT(reader.texts(json, "", "good"), ElementsAre("a", "b"));
  EXPECT_THAT(reader.texts(json, "", "absent"), ElementsAre());
  EXPECT_FALSE(reader.first_fault());
  EXPECT_THAT(reader.texts(json, "x", "bad"), ElementsAre());
  ASSERT_TRUE(reader.first_fault());
  EXPECT_EQ(reader.first_fault()->wrong, "x.bad[1] is 2, not a text");
}

TEST(JsonReader, ANumberThatIsTooLargeIsNoFaultOfCommas) {
  JsonReader reader("series.json");
  (void)reader.parse(R"({"films": [{"mm_per_px": 1e999}]})");
  ASSERT_TRUE(reader.first_fault());
  EXPECT_EQ(reader.first_fault()->sentence(),
            "series.json: a number is too large for a computer (1e999); correct it");
}

TEST(JsonReader, MissingAndDoubledKeysAreFaults) {
  JsonReader missing("rules.json");
  missing.required(missing.parse(R"({"id": "a"})"), "criteria[0]", {"id", "unit"});
  ASSERT_TRUE(missing.first_fault());
  EXPECT_EQ(missing.first_fault()->wrong, "criteria[0].unit is missing");
  JsonReader doubled("rules.json");
  (void)doubled.parse(R"({"id": 1, "id": 2})");
  ASSERT_TRUE(doubled.first_fault());
  EXPECT_EQ(doubled.first_fault()->wrong, "key \"id\" stands twice in one object");
}

}  // namespace
}  // namespace tidemark
