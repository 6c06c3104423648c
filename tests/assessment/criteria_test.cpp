#include "tidemark/assessment/criteria.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <ostream>
#include <set>
#include <string>

#include "scratch.h"
#include "testdata.h"

namespace tidemark::assessment {
namespace {

using testing::HasSubstr;
using testing::UnorderedElementsAre;

const Criterion* find(const CriteriaSet& set, const std::string& id) {
  const auto found = std::find_if(set.criteria.begin(), set.criteria.end(),
                                  [&](const Criterion& c) { return c.id == id; });
  return found == set.criteria.end() ? nullptr : &*found;
}

TEST(BuiltInCriteria, AreAllThere) {
  std::set<std::string> ids;
  for (const auto& set : built_in_criteria()) ids.insert(set.id);
  EXPECT_THAT(ids, UnorderedElementsAre("uncemented-default/1", "cemented-composite-beam/1",
                                        "cemented-polished-taper/1", "fixation-unknown/1"));
}

// Each of them is held to the rules of a user's file, and to some more.
TEST(BuiltInCriteria, KeepTheirOwnRules) {
  for (const auto& set : built_in_criteria()) {
    SCOPED_TRACE(set.id);
    EXPECT_FALSE(set.criteria.empty());
    EXPECT_EQ(set.sha256.size(), 64U);
    for (const auto& c : set.criteria) {
      SCOPED_TRACE(c.id);
      EXPECT_FALSE(c.statement.empty());
      EXPECT_FALSE(c.evidence.empty());
      EXPECT_FALSE(c.citation.empty());
      EXPECT_NE(c.certainty, Certainty::kUnsure) << "a doubtful value may not drive a verdict";
      EXPECT_NE(c.certainty, Certainty::kOwn);
      if (c.fixation != Scope::kAny) {
        EXPECT_EQ(c.fixation, set.fixation);
      }
    }
  }
}

struct PublishedRow {
  std::string set, id;
  double threshold;
  Certainty certainty;
  std::string doi;
  std::string source;
};

// Values and DOIs as the papers (or the texts that cite them) print them.
TEST(BuiltInCriteria, HoldThePublishedValues) {
  const auto second = Certainty::kSecondHand;
  for (const auto& row : {
           PublishedRow{"uncemented-default/1", "M-ALN", 3.0, Certainty::kRead, "",
                        "J Orthop 2016, PMC4939397, abstract"},
           PublishedRow{"uncemented-default/1", "M-KRISMER", 1.5, second, "",
                        "J Bone Joint Surg Br 81-B (1999) 273, as cited"},
           PublishedRow{"uncemented-default/1", "M-STREIT", 2.7, Certainty::kFromMemory,
                        "10.1007/s11999-016-4857-5", "Clin Orthop 474 (2016) 1697"},
           PublishedRow{"uncemented-default/1", "M-FREEMAN", 1.2, second, "",
                        "J Bone Joint Surg Br 76-B (1994) 432, as cited"},
           PublishedRow{"cemented-composite-beam/1", "M-KARR-50", 1.2, second, "",
                        "J Bone Joint Surg Br 76-B (1994) 912, as cited"},
           PublishedRow{"cemented-composite-beam/1", "M-KARR-95", 2.4, second, "", "same"},
           PublishedRow{"cemented-composite-beam/1", "M-WALKER", 2.6, second, "",
                        "J Bone Joint Surg Br 77-B (1995) 705, as cited"},
           PublishedRow{"cemented-composite-beam/1", "M-VDV-ACC", 0.15, Certainty::kRead,
                        "10.3109/17453674.2015.1043832", "Acta Orthop 86 (2015) 575, abstract"},
       }) {
    SCOPED_TRACE(row.id + ": " + row.source);
    const auto set = find_criteria(row.set);
    ASSERT_TRUE(set);
    const Criterion* c = find(*set, row.id);
    ASSERT_NE(c, nullptr);
    EXPECT_EQ(c->threshold, row.threshold);
    EXPECT_EQ(c->certainty, row.certainty);
    EXPECT_EQ(c->doi.value_or(""), row.doi);
  }
}

TEST(BuiltInCriteria, MeansOfGroupsAreMarkedSo) {
  for (const auto& set : built_in_criteria()) {
    for (const auto& id : {"M-FREEMAN", "M-VDV-ACC"}) {
      const Criterion* c = find(set, id);
      if (c != nullptr) {
        EXPECT_EQ(c->level, Level::kGroup) << set.id << " " << id;
      }
    }
  }
}

// Review of 28 papers, EFORT Open Rev 6 (2021) 331: no threshold of failure could be set.
TEST(BuiltInCriteria, PolishedTapersHaveNoLimitOfSubsidence) {
  const auto set = find_criteria("cemented-polished-taper/1");
  ASSERT_TRUE(set);
  for (const auto& c : set->criteria) {
    if (c.quantity == Quantity::kSubsidence) {
      EXPECT_EQ(c.kind, Kind::kTypical) << c.id;
    }
  }
  const Criterion* taper = find(*set, "N-TAPER");
  ASSERT_NE(taper, nullptr);
  ASSERT_EQ(taper->typical.size(), 4U);
  EXPECT_EQ(taper->typical[1].days, 730);
  EXPECT_EQ(taper->typical[1].value, 1.07);
}

TEST(DefaultCriteria, FollowTheStem) {
  const auto id = [](std::optional<Fixation> f, std::optional<CementPrinciple> p) {
    return default_criteria({f, p}).id;
  };
  EXPECT_EQ(id(Fixation::kUncemented, {}), "uncemented-default/1");
  EXPECT_EQ(id(Fixation::kCemented, CementPrinciple::kPolishedTaper), "cemented-polished-taper/1");
  EXPECT_EQ(id(Fixation::kCemented, CementPrinciple::kCompositeBeam), "cemented-composite-beam/1");
  EXPECT_EQ(id(Fixation::kCemented, {}), "fixation-unknown/1");
  EXPECT_EQ(id({}, {}), "fixation-unknown/1");
}

TEST(Scope, IsThreeValued) {
  const StemHold unknown{};
  const StemHold cemented{Fixation::kCemented, {}};
  const StemHold taper{Fixation::kCemented, CementPrinciple::kPolishedTaper};
  const StemHold press{Fixation::kUncemented, {}};
  EXPECT_EQ(holds_for(Scope::kAny, unknown), true);
  EXPECT_EQ(holds_for(Scope::kUncemented, unknown), std::nullopt);
  EXPECT_EQ(holds_for(Scope::kUncemented, cemented), false);
  EXPECT_EQ(holds_for(Scope::kCemented, cemented), true);
  EXPECT_EQ(holds_for(Scope::kCompositeBeam, cemented), std::nullopt);
  EXPECT_EQ(holds_for(Scope::kCompositeBeam, taper), false);
  EXPECT_EQ(holds_for(Scope::kPolishedTaper, taper), true);
  EXPECT_EQ(holds_for(Scope::kPolishedTaper, press), false);
}

std::string set_with(const std::string& criterion, const std::string& head = "") {
  return R"({"schema": "tidemark/criteria/1", "id": "clinic/1", "title": "Ours", )" + head +
         R"("fixation": "uncemented", "criteria": [)" + criterion + "]}";
}

constexpr const char* kGood =
    R"({"id": "C-1", "quantity": "subsidence_mm", "threshold": 2.0, "unit": "mm", "fixation": "any",
        "window": {"from_days": 30, "to_days": 60, "tolerance_days": 10}, "at": "shoulder",
        "statement": "Ours.", "evidence": "Ours.", "citation": "Ours", "certainty": "own",
        "doi": "10.1000/xyz", "note": "Ours.", "sense": "either_way", "level": "hip",
        "kind": "threshold"})";

TEST(ParseCriteria, ReadsEveryKey) {
  const auto set = parse_criteria(set_with(kGood, R"("note": "All.", )"), "ours.json");
  ASSERT_TRUE(set) << set.error().sentence();
  ASSERT_EQ(set->criteria.size(), 1U);
  const Criterion& c = set->criteria[0];
  EXPECT_EQ(set->note, "All.");
  EXPECT_EQ(set->fixation, Scope::kUncemented);
  EXPECT_EQ(c.threshold, 2.0);
  EXPECT_EQ(c.point, Point::kShoulder);
  EXPECT_EQ(c.sense, Sense::kEitherWay);
  ASSERT_TRUE(c.window);
  EXPECT_EQ(c.window->from_days, 30);
  EXPECT_EQ(c.window->to_days, 60);
  EXPECT_EQ(c.window->tolerance_days, 10);
  EXPECT_EQ(c.doi, "10.1000/xyz");
}

TEST(ParseCriteria, ASetThatExtendsABuiltInOneReplacesById) {
  std::string own = kGood;
  own.replace(own.find("C-1"), 3, "M-ALN");
  const auto set =
      parse_criteria(set_with(own, R"("extends": "uncemented-default/1", )"), "ours.json");
  ASSERT_TRUE(set) << set.error().sentence();
  const auto base = find_criteria("uncemented-default/1");
  ASSERT_TRUE(base);
  EXPECT_EQ(set->id, "clinic/1");
  EXPECT_EQ(set->criteria.size(), base->criteria.size());
  EXPECT_EQ(find(*set, "M-ALN")->threshold, 2.0);
  EXPECT_NE(find(*set, "M-STREIT"), nullptr);
}

struct WrongRow {
  std::string name, text, says;
  friend void PrintTo(const WrongRow& row, std::ostream* os) { *os << row.name; }
};

std::string edited(const std::string& from, const std::string& to) {
  std::string text = kGood;
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return set_with(text.replace(at, from.size(), to));
}

class WrongCriteria : public testing::TestWithParam<WrongRow> {};

TEST_P(WrongCriteria, AreRefusedWithTheirPlace) {
  const auto set = parse_criteria(GetParam().text, "ours.json");
  ASSERT_FALSE(set);
  EXPECT_EQ(set.error().kind, ErrorKind::kBadInput);
  EXPECT_THAT(set.error().sentence(), HasSubstr(GetParam().says));
}

INSTANTIATE_TEST_SUITE_P(
    Rows, WrongCriteria,
    testing::Values(
        WrongRow{"NoJson", "{", "no JSON from line 1 on"}, WrongRow{"NoObject", "[]", "no object"},
        WrongRow{"Schema", R"({"schema": "tidemark/criteria/2"})", "schema is"},
        WrongRow{"UnknownKey", edited("\"threshold\"", "\"treshold\""),
                 "criteria[0] has the key \"treshold\", which is not known; did you mean "
                 "\"threshold\"?"},
        WrongRow{"NoThreshold", edited("\"threshold\": 2.0, ", ""),
                 "criteria[0].threshold is missing"},
        WrongRow{"UnitOfAnother", edited("\"mm\"", "\"deg\""), "criteria[0].unit is \"deg\""},
        WrongRow{"Quantity", edited("subsidence_mm", "subsidence"), "criteria[0].quantity"},
        WrongRow{"NegativeThreshold", edited("2.0", "-2.0"), "write a number from 0 to 50"},
        WrongRow{"WindowBackwards", edited("\"from_days\": 30", "\"from_days\": 90"),
                 "criteria[0].window ends before it begins"},
        WrongRow{"HalfDays", edited("\"to_days\": 60", "\"to_days\": 60.5"),
                 "criteria[0].window.to_days is no whole number"},
        WrongRow{"NoTolerance", edited(", \"tolerance_days\": 10", ""),
                 "criteria[0].window.tolerance_days is missing"},
        WrongRow{"DoubtfulDoi", edited("10.1000/xyz", "10.1000/xyz?"), "which is no DOI"},
        WrongRow{"TypicalWithThreshold", edited("\"kind\": \"threshold\"", "\"kind\": \"typical\""),
                 "criteria[0].typical is missing"},
        WrongRow{"PointOfATilt",
                 edited("\"subsidence_mm\", \"threshold\": 2.0, \"unit\": \"mm\"",
                        "\"tilt_change_deg\", \"threshold\": 2.0, \"unit\": \"deg\""),
                 "criteria[0].at does not belong to the quantity \"tilt_change_deg\""},
        WrongRow{"PointOfALateChange", edited("\"subsidence_mm\"", "\"late_subsidence_mm\""),
                 "criteria[0].at does not belong to the quantity \"late_subsidence_mm\""},
        WrongRow{"Twice", set_with(std::string(kGood) + "," + kGood), "stands twice"},
        WrongRow{"BuiltInId",
                 R"({"schema": "tidemark/criteria/1", "id": "uncemented-default/1", "title": "x",
                     "fixation": "any", "criteria": []})",
                 "which is a built-in set's"},
        WrongRow{"ExtendsNothing", set_with(kGood, R"("extends": "uncemented-default", )"),
                 "did you mean \"uncemented-default/1\"?"},
        WrongRow{
            "Long",
            edited("\"Ours.\", \"evidence\"", "\"" + std::string(1001, 'x') + "\", \"evidence\""),
            "more than 1,000 characters"}),
    [](const auto& row) { return row.param.name; });

TEST(ParseCriteria, ReadsTheExampleOfTheDocumentation) {
  const auto set =
      find_criteria(tidemark::test::testdata().string() + "/../docs/examples/criteria.json");
  ASSERT_TRUE(set) << set.error().sentence();
  EXPECT_EQ(set->id, "our-clinic/1");
  EXPECT_NE(find(*set, "M-KRISMER"), nullptr);
}

TEST(FindCriteria, TakesAFileOrAnIdAndNamesTheNearest) {
  const test::Scratch folder;
  const auto file = folder.path() / "ours.json";
  std::ofstream(file) << set_with(kGood);
  const auto own = find_criteria(file.string());
  ASSERT_TRUE(own) << own.error().sentence();
  EXPECT_EQ(own->id, "clinic/1");
  const auto none = find_criteria("uncemented-defautl/1");
  ASSERT_FALSE(none);
  EXPECT_THAT(none.error().sentence(), HasSubstr("did you mean \"uncemented-default/1\"?"));
}

}  // namespace
}  // namespace tidemark::assessment
