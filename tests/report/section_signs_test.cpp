#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <set>

#include "../assessment/invented_hip.h"
#include "../followup/invented.h"
#include "tidemark/assessment/signs.h"
#include "tidemark/report/document.h"

namespace tidemark::report {
namespace {

using assessment::HipEvidence;
using assessment::Measure;
using assessment::Rule;
using assessment::SignAssessment;
using assessment::SignTable;
using lucency::Answer;
using lucency::Interface;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;

/// The section of signs on the German page of a result that holds these.
Section german(SignAssessment signs) {
  followup::Result result = followup::measure_with(
      followup::invented::series({"early.dcm", "late.dcm"}), {}, followup::invented::steps());
  result.assessment->signs = std::move(signs);
  const Document document = document_of(result, Language::kGerman);
  for (const Section& section : document.sections) {
    if (section.id == "signs") return section;
  }
  ADD_FAILURE() << "no section of signs";
  return {};
}

std::vector<std::string> english_in(const Section& section) {
  std::vector<std::string> out;
  const auto look = [&](const Phrase& phrase) {
    if (phrase.in_english) out.push_back(phrase.text);
  };
  for (const Block& block : section.blocks) {
    if (const auto* one = std::get_if<Paragraph>(&block)) look(one->phrase);
    if (const auto* list = std::get_if<Items>(&block)) {
      for (const Item& item : list->items) {
        look({item.about, item.about_in_english});
        look(item.phrase);
      }
    }
    if (const auto* table = std::get_if<Table>(&block)) {
      for (const auto& row : table->rows) {
        for (const Cell& cell : row) look(cell.phrase);
      }
    }
  }
  return out;
}

SignAssessment holding(const assessment::SignReport& report) {
  SignAssessment out;
  out.table = "invented/1";
  out.reports = {report};
  out.reports[0].comparison = 0;  // of the two films of the result
  return out;
}

/// All that a table itself can say with one answer.
SignAssessment told(const SignTable& table, Answer answer) {
  assessment::SignReport report;
  for (const auto& sign : table.signs) {
    auto& one = report.signs.emplace_back();
    one.id = sign.id;
    one.title = sign.title;
    one.answer = answer;
    one.text = answer == Answer::kYes ? sign.says_present : sign.says_absent;
  }
  for (const auto& rule : table.explanations) {
    auto& one = report.explanations.emplace_back();
    one.id = rule.id;
    one.title = rule.title;
    one.answer = Answer::kYes;
    one.next = rule.next;
  }
  SignAssessment out = holding(report);
  for (const auto& one : table.switches) {
    for (const auto& choice : one.choices) {
      out.switches.push_back({one.id, choice.id, choice.text, {}});
    }
  }
  return out;
}

TEST(SectionSigns, EveryTextOfTheTablesIsTranslated) {
  for (const SignTable& table : assessment::built_in_signs()) {
    SCOPED_TRACE(table.id);
    for (const Answer answer : {Answer::kYes, Answer::kNo}) {
      EXPECT_THAT(english_in(german(told(table, answer))), IsEmpty());
    }
  }
}

// All 2^8 answers to the scored signs, and each with some of them open.
TEST(SectionSigns, EverySumIsTranslated) {
  const SignTable& table = *assessment::default_signs({Fixation::kUncemented, {}});
  std::set<std::string> texts;
  for (unsigned bits = 0; bits < 256; ++bits) {
    std::vector<std::pair<std::string, Answer>> answers;
    unsigned i = 0;
    for (const auto& sign : table.signs) {
      if (!sign.points_present) continue;
      answers.emplace_back(sign.id, (bits >> i++) % 2 == 1 ? Answer::kYes : Answer::kNo);
    }
    ASSERT_EQ(answers.size(), 8U);
    texts.insert(assessment::sum_of(table, answers).text);
    answers.resize(bits % 8);
    texts.insert(assessment::sum_of(table, answers).text);
  }
  for (const auto& reading : table.score->readings) {
    EXPECT_THAT(texts, Contains(HasSubstr(" points: " + reading.says + " (")));
  }
  EXPECT_THAT(texts, Contains(HasSubstr("No total")));
  assessment::SignReport all;
  all.doubts.assign(texts.begin(), texts.end());
  EXPECT_THAT(english_in(german(holding(all))), IsEmpty());
}

/// Every question that can stay open for a reason of the reader's own.
std::vector<Rule> every_question() {
  std::vector<Rule> out;
  for (int i = 0; i <= static_cast<int>(Measure::kCortexChange); ++i) {
    out.emplace_back().op = Rule::Op::kMeasure;
    out.back().measure.measure = static_cast<Measure>(i);
    out.back().measure.zone = 7;
    out.back().measure.above = 1.0;
  }
  for (int i = 0; i <= static_cast<int>(assessment::LineQuestion::kRim); ++i) {
    for (const auto where :
         {Interface::kStemBone, Interface::kStemCement, Interface::kCementBone}) {
      for (const std::vector<int>& zones : {std::vector{1}, std::vector{1, 2, 7}}) {
        out.emplace_back().op = Rule::Op::kLines;
        out.back().lines.question = static_cast<assessment::LineQuestion>(i);
        out.back().lines.interface = where;
        out.back().lines.zones = zones;
        out.back().lines.at_least = 0.5;
      }
    }
  }
  for (const auto op : {Rule::Op::kPedestal, Rule::Op::kNewPedestal, Rule::Op::kPrinciple,
                        Rule::Op::kPattern, Rule::Op::kFromDays}) {
    out.emplace_back().op = op;
  }
  return out;
}

/// A table with a sign for each question, one for all of them together, one that contradicts itself
/// and one that is neither there nor absent.
SignTable asking(const std::vector<Rule>& questions) {
  SignTable out;
  out.id = "invented/1";
  out.fixation = assessment::Scope::kAny;
  const auto add = [&](const Rule& rule) {
    auto& sign = out.signs.emplace_back();
    sign.id = "S" + std::to_string(out.signs.size());
    sign.title = "Migration of the stem";
    sign.present = sign.absent = rule;
    sign.says_present = sign.says_absent = "The tip went aside.";
  };
  for (const Rule& one : questions) add(one);
  Rule all;
  all.op = Rule::Op::kAll;
  Rule any;
  any.op = Rule::Op::kAny;
  add(all);  // of nothing: both present and absent
  add(any);  // of nothing: neither
  all.parts = questions;
  add(all);
  return out;
}

/// All that can be told of a hip lies at a limit of 1, far within its uncertainty.
HipEvidence at_the_limit() {
  using assessment::invented::mm;
  HipEvidence out =
      assessment::invented::hip({{95, 1.0, 5.0, 1.0, 5.0}, {730, 1.0, 5.0, 1.0, 5.0}});
  for (auto& pair : out.comparisons) {
    pair.migration->medial = mm(1.0, 3.0);
    pair.signs.emplace().calcar = mm(1.0, 3.0);
    pair.signs->cortex.push_back({7, mm(1.0, 3.0), {}});
    pair.flags = {{"a_flag", "A sentence."}};
  }
  for (auto& film : out.films) {
    film.tip_below_reference = Millimetres{110.0};
    for (const int zone : {1, 2, 7}) {
      film.zones.emplace_back().zone = zone;
      film.zones.back().length = Millimetres{40.0};
      film.zones.back().shares = assessment::ZoneShares{0.0, 0.0, 0.0, 1.0};
    }
  }
  return out;
}

std::vector<HipEvidence> hips() {
  HipEvidence limit = at_the_limit();
  HipEvidence nothing = assessment::invented::without_surgery(limit);
  nothing.stem = {Fixation::kCemented, {}};
  for (auto& film : nothing.films) film.zones.clear();
  for (auto& pair : nothing.comparisons) {
    pair.migration.reset();
    pair.signs.reset();
  }
  HipEvidence no_tip = limit;
  for (auto& film : no_tip.films) film.tip_below_reference.reset();
  HipEvidence pixels = limit;
  pixels.lengths = assessment::Lengths::kPixels;
  return {limit, nothing, no_tip, pixels};
}

TEST(SectionSigns, EveryReasonOfTheReaderIsTranslated) {
  const SignTable table = asking(every_question());
  std::set<std::string> texts;
  for (const HipEvidence& hip : hips()) {
    const auto signs = assessment::read_table(hip, assessment::follow(hip), &table);
    for (const auto& report : signs.reports) {
      for (const auto& sign : report.signs) texts.insert(sign.text);
      EXPECT_THAT(english_in(german(holding(report))), IsEmpty());
    }
  }
  const auto with = [&](const std::string& piece) {
    return std::count_if(texts.begin(), texts.end(), [&](const std::string& text) {
      // One reason alone, so that each is counted once.
      return text.find(piece) != std::string::npos && text.find("; ") == std::string::npos;
    });
  };
  // The sweep came by all of them: measures; lines by interface, number of zones and change.
  EXPECT_EQ(with(" cannot be told from 1 "), 10);
  EXPECT_EQ(with("radiolucent lines"), 12);
  for (const char* piece :
       {"length of the stem", "motion of the stem", "scale of the films", "no earlier film",
        "cut neck is not clear", "cortex beside zone 7 is not", "less than half of the interface",
        "shelf of bone", "polished taper", "course is told with", "course over time",
        "date of surgery", "contradict", "lies between present and absent"}) {
    EXPECT_EQ(with(piece), 1) << piece;
  }
  EXPECT_THAT(texts, Contains(HasSubstr(" more.")));
}

// A table of one's own stays as it was written, also where it borrows the id of a built-in sign.
TEST(SectionSigns, OwnWordsStayAndAreMarked) {
  SignTable own = *assessment::default_signs({Fixation::kUncemented, {}});
  own.signs.resize(1);
  own.signs[0].title = "Our own sign";
  own.explanations.resize(1);
  own.explanations[0].title = "Our own explanation";
  own.switches.clear();
  EXPECT_THAT(english_in(german(told(own, Answer::kYes))),
              testing::ElementsAre("Our own sign", "Our own explanation"));
}

}  // namespace
}  // namespace tidemark::report
