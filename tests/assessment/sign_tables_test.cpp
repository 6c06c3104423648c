#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <ostream>

#include "scratch.h"
#include "testdata.h"
#include "tidemark/assessment/signs.h"
#include "tidemark/assessment/tell.h"

namespace tidemark::assessment {
namespace {

using testing::HasSubstr;

TEST(BuiltInSigns, AreThereForBothFixations) {
  ASSERT_EQ(built_in_signs().size(), 2U);
  EXPECT_EQ(default_signs({Fixation::kUncemented, {}})->id, "uncemented-signs/1");
  EXPECT_EQ(default_signs({Fixation::kCemented, CementPrinciple::kPolishedTaper})->id,
            "cemented-signs/1");
  EXPECT_EQ(default_signs({}), nullptr);
}

TEST(BuiltInSigns, CiteEveryRuleAndDoubtNone) {
  for (const SignTable& table : built_in_signs()) {
    EXPECT_EQ(table.sha256.size(), 64U);
    const auto check = [](const std::string& id, const Citation& source) {
      SCOPED_TRACE(id);
      EXPECT_FALSE(source.text.empty());
      EXPECT_NE(source.certainty, Certainty::kUnsure);
      EXPECT_NE(source.certainty, Certainty::kOwn);
    };
    for (const Sign& sign : table.signs) check(sign.id, sign.source);
    for (const ExplanationRule& one : table.explanations) check(one.id, one.source);
    for (const SignSwitch& one : table.switches) {
      EXPECT_GE(one.choices.size(), 2U) << one.id;
      for (const SwitchChoice& choice : one.choices) {
        if (choice.source) check(one.id + "=" + choice.id, *choice.source);
      }
    }
  }
}

// A tilt of 1.5 degrees that the headline tells is one: a title must not deny what its clauses let
// by.
TEST(BuiltInSigns, AStemThatSankIsCalledUntiltedOnlyUpToTheLimitOfItsClause) {
  const SignTable& table = *default_signs({Fixation::kUncemented, {}});
  const auto axial = std::find_if(table.explanations.begin(), table.explanations.end(),
                                  [](const auto& one) { return one.id == "X-U-AXIAL"; });
  ASSERT_NE(axial, table.explanations.end());
  EXPECT_THAT(axial->title, HasSubstr("no more than 2 degrees"));
  EXPECT_THAT(axial->clauses.at(1).says, HasSubstr("more than 2 degrees"));
}

// What is printed as JSON reads as the same table, by the rules of a user's file.
TEST(BuiltInSigns, ReadBackAsAUsersFile) {
  for (const SignTable& table : built_in_signs()) {
    auto json = nlohmann::json::parse(json_of({table}))[0];
    json["id"] = "copy/1";
    auto copy = parse_signs(json.dump(), "copy.json");
    ASSERT_TRUE(copy) << copy.error().sentence();
    copy->id = table.id;
    EXPECT_EQ(json_of({*copy}), json_of({table}));
  }
}

TEST(Switches, AreSetByName) {
  const SignTable& base = *default_signs({Fixation::kUncemented, {}});
  const auto set = with_switches(base, {{"coating", "full"}, {"line_width", "two_mm"}});
  ASSERT_TRUE(set) << set.error().sentence();
  EXPECT_EQ(set->switches[0].chosen, "full");
  EXPECT_EQ(set->switches[2].chosen, "two_mm");
  const auto no_switch = with_switches(base, {{"caoting", "full"}});
  ASSERT_FALSE(no_switch);
  EXPECT_EQ(no_switch.error().kind, ErrorKind::kUsage);
  EXPECT_THAT(no_switch.error().sentence(), HasSubstr("did you mean \"coating\"?"));
  const auto no_choice = with_switches(base, {{"coating", "fully"}});
  ASSERT_FALSE(no_choice);
  EXPECT_THAT(no_choice.error().sentence(), HasSubstr("did you mean \"full\"?"));
}

std::string table_with(const std::string& signs, const std::string& head = "") {
  return R"({"schema": "tidemark/signs/1", "id": "clinic/1", "title": "Ours", )" + head +
         R"("fixation": "uncemented", "signs": [)" + signs + "]}";
}

constexpr const char* kGood =
    R"({"id": "C-1", "title": "Ours", "part": "motion",
        "present": {"when": {"measure": "tilt_change_deg", "above": 2.0, "size": true},
                    "says": "Yes.", "points": -1},
        "absent": {"says": "No.", "points": 1}, "citation": "Ours", "doi": "10.1000/xyz",
        "certainty": "own", "note": "Ours."})";

TEST(ParseSigns, ReadsEveryKey) {
  const auto table = parse_signs(table_with(kGood, R"("note": "All.", )"), "ours.json");
  ASSERT_TRUE(table) << table.error().sentence();
  ASSERT_EQ(table->signs.size(), 1U);
  const Sign& sign = table->signs[0];
  EXPECT_EQ(table->note, "All.");
  EXPECT_EQ(sign.part, "motion");
  EXPECT_EQ(sign.present.measure.above, 2.0);
  EXPECT_TRUE(sign.present.measure.size);
  EXPECT_EQ(sign.absent.op, Rule::Op::kNot);
  EXPECT_EQ(sign.points_present, -1.0);
  EXPECT_EQ(sign.source.doi, "10.1000/xyz");
}

TEST(ParseSigns, ATableThatExtendsReplacesByIdInPlaceAndSetsSwitches) {
  std::string own = kGood;
  own.replace(own.find("C-1"), 3, "L-E-PEDESTAL");
  const auto table = parse_signs(
      table_with(own, R"("extends": "uncemented-signs/1", "choose": {"migration": "two_mm"}, )"),
      "ours.json");
  ASSERT_TRUE(table) << table.error().sentence();
  const SignTable& base = *default_signs({Fixation::kUncemented, {}});
  ASSERT_EQ(table->signs.size(), base.signs.size());
  for (std::size_t i = 0; i < base.signs.size(); ++i) {
    EXPECT_EQ(table->signs[i].id, base.signs[i].id);
    EXPECT_EQ(table->signs[i].title == "Ours", base.signs[i].id == "L-E-PEDESTAL");
  }
  EXPECT_EQ(table->switches[1].chosen, "two_mm");
  EXPECT_TRUE(table->score);
}

TEST(ParseSigns, ReadsTheExampleOfTheDocumentation) {
  const auto table =
      find_signs(tidemark::test::testdata().string() + "/../docs/examples/signs.json");
  ASSERT_TRUE(table) << table.error().sentence();
  EXPECT_EQ(table->id, "our-clinic-signs/1");
  EXPECT_EQ(table->switches[0].chosen, "proximal_third");
}

struct WrongRow {
  std::string name, text, says;
  friend void PrintTo(const WrongRow& row, std::ostream* os) { *os << row.name; }
};

std::string edited(const std::string& from, const std::string& to) {
  std::string text = kGood;
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return table_with(text.replace(at, from.size(), to));
}

/// The good sign with another rule.
std::string ruled(const std::string& rule) {
  return edited(R"({"measure": "tilt_change_deg", "above": 2.0, "size": true})", rule);
}

std::string deep(int levels) {
  std::string out = R"({"flagged": true})";
  for (int i = 0; i < levels; ++i) out = "{\"not\": " + out + "}";
  return out;
}

class WrongSigns : public testing::TestWithParam<WrongRow> {};

TEST_P(WrongSigns, AreRefusedWithTheirPlace) {
  const auto table = parse_signs(GetParam().text, "ours.json");
  ASSERT_FALSE(table);
  EXPECT_EQ(table.error().kind, ErrorKind::kBadInput);
  EXPECT_THAT(table.error().sentence(), HasSubstr("ours.json"));
  EXPECT_THAT(table.error().sentence(), HasSubstr(GetParam().says));
}

const std::string kLines = R"("interface": "stem_bone", "zones": [1, 7])";

INSTANTIATE_TEST_SUITE_P(
    Rows, WrongSigns,
    testing::Values(
        WrongRow{"NoJson", "{", "no JSON from line 1 on"}, WrongRow{"NoObject", "[]", "no object"},
        WrongRow{"Schema", R"({"schema": "tidemark/signs/2"})", "schema is"},
        WrongRow{"NoSigns", table_with(""), "it holds no signs"},
        WrongRow{"UnknownKey", edited("\"title\"", "\"titel\""),
                 "signs[0] has the key \"titel\", which is not known; did you mean \"title\"?"},
        WrongRow{"NoRule",
                 edited("\"when\": {\"measure\": \"tilt_change_deg\", \"above\": 2.0, "
                        "\"size\": true},",
                        ""),
                 "signs[0].present.when is missing"},
        WrongRow{"Part", edited("\"motion\"", "\"moving\""), "signs[0].part is \"moving\""},
        WrongRow{"PointsForOne", edited(", \"points\": 1}", "}"), "points for one answer only"},
        WrongRow{"DoubtfulDoi", edited("10.1000/xyz", "10.1000/xyz?"), "which is no DOI"},
        WrongRow{"Twice", table_with(std::string(kGood) + "," + kGood), "stands twice"},
        WrongRow{"RuleOfNoKind", ruled(R"({"mesure": "tilt_change_deg", "above": 2.0})"),
                 "did you mean \"measure\"?"},
        WrongRow{"RuleWithAForeignKey", ruled(R"({"measure": "tilt_change_deg", "abov": 2.0})"),
                 "did you mean \"above\"?"},
        WrongRow{"TwoQuestions", ruled(R"({"flagged": true, "pedestal": "new"})"), "asks for both"},
        WrongRow{"NoLimit", ruled(R"({"measure": "tilt_change_deg"})"), "one of above and below"},
        WrongRow{"NegativeSize", ruled(R"({"measure": "medial_mm", "above": -1, "size": true})"),
                 "a size against a limit below 0"},
        WrongRow{"CortexOfNoZone", ruled(R"({"measure": "cortex_change_mm", "above": 1})"),
                 "give the zone"},
        WrongRow{"NoMeasure", ruled(R"({"measure": "subsidence", "above": 1})"),
                 "present.when.measure is \"subsidence\""},
        WrongRow{"EmptyAll", ruled(R"({"all": []})"), "no list of 1 to 50 rules"},
        WrongRow{"Deep", ruled(deep(20)), "deeper than 12"},
        WrongRow{"ZoneEight", ruled(R"({"lines": "any", "interface": "stem_bone", "zones": [8]})"),
                 "write a number from 1 to 7"},
        WrongRow{"ShareOfNoExtent", ruled(R"({"lines": "any", "at_least": 0.5, )" + kLines + "}"),
                 "at_least belongs to the question extent"},
        WrongRow{"ExtentWithoutShare", ruled(R"({"lines": "extent", )" + kLines + "}"),
                 "give the share, 0 to 1"},
        WrongRow{"SignThatComesLater", ruled(R"({"sign": "C-1"})"), "does not stand before"},
        WrongRow{"NoSwitch", ruled(R"({"by_switch": "x", "choices": {"a": {"flagged": true}}})"),
                 "asks for the switch \"x\", which there is not"},
        WrongRow{"PatternUnknown", ruled(R"({"pattern": ["quick"]})"), "\"quick\""},
        WrongRow{"FlaggedFalse", ruled(R"({"flagged": false})"), "can only be true"},
        WrongRow{"BuiltInId",
                 R"({"schema": "tidemark/signs/1", "id": "cemented-signs/1", "title": "x",
                     "fixation": "any"})",
                 "which is a built-in table's"},
        WrongRow{"ExtendsNothing", table_with(kGood, R"("extends": "uncemented", )"),
                 "did you mean \"uncemented-signs/1\"?"},
        WrongRow{
            "ChoosesNothing",
            table_with(kGood, R"("extends": "uncemented-signs/1", "choose": {"coating": "x"}, )"),
            "the switch coating has no choice \"x\""}),
    [](const auto& row) { return row.param.name; });

// A switch whose rule forgets a choice would be a hole in the table.
TEST(ParseSigns, ASwitchNeedsARuleForEachChoice) {
  const std::string two =
      R"("switches": [{"id": "x", "question": "?", "default": "a", "choices":
          [{"id": "a", "text": "A."}, {"id": "b", "text": "B."}]}], )";
  std::string sign = kGood;
  const std::string rule = R"({"measure": "tilt_change_deg", "above": 2.0, "size": true})";
  sign.replace(sign.find(rule), rule.size(),
               R"({"by_switch": "x", "choices": {"a": {"flagged": true}}})");
  const auto table = parse_signs(table_with(sign, two), "ours.json");
  ASSERT_FALSE(table);
  EXPECT_THAT(table.error().sentence(), HasSubstr("not one rule for each choice"));
}

TEST(FindSigns, TakesAFileOrAnIdAndNamesTheNearest) {
  const test::Scratch folder;
  const auto file = folder.path() / "ours.json";
  std::ofstream(file) << table_with(kGood);
  const auto own = find_signs(file.string());
  ASSERT_TRUE(own) << own.error().sentence();
  EXPECT_EQ(own->id, "clinic/1");
  const auto none = find_signs("uncemented-sings/1");
  ASSERT_FALSE(none);
  EXPECT_THAT(none.error().sentence(), HasSubstr("did you mean \"uncemented-signs/1\"?"));
}

TEST(TellSigns, AListNamesAllAndAnExplanationHasRuleAndSource) {
  const std::string text = list_of(built_in_signs());
  for (const SignTable& table : built_in_signs()) {
    EXPECT_THAT(text, HasSubstr(table.id));
    for (const Sign& sign : table.signs) {
      EXPECT_THAT(text, HasSubstr("  " + sign.id + " "));
      EXPECT_TRUE(explanation_of(table, sign.id));
    }
    for (const SignSwitch& one : table.switches) EXPECT_TRUE(explanation_of(table, one.id));
    for (const auto& one : table.explanations) EXPECT_TRUE(explanation_of(table, one.id));
  }
  const auto one = explanation_of(*default_signs({Fixation::kUncemented, {}}), "L-E-PEDESTAL");
  ASSERT_TRUE(one);
  for (const char* part : {"a pedestal, -3.5 points", "not a pedestal, +2.5 points",
                           "Clin Orthop Relat Res 257 (1990)", "from memory"}) {
    EXPECT_THAT(*one, HasSubstr(part));
  }
  EXPECT_FALSE(explanation_of(built_in_signs().front(), "NONE"));
}

}  // namespace
}  // namespace tidemark::assessment
