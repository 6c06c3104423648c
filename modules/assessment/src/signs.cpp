#include "tidemark/assessment/signs.h"

#include <algorithm>
#include <map>

#include "facts.h"
#include "rule_reader.h"
#include "tidemark/core/number_text.h"
#include "words.h"

namespace tidemark::assessment {
namespace {

using lucency::Answer;
using Op = Rule::Op;

constexpr Words<Basis, 4> kBases{{"motion", "bone", "lines", "nothing"}};
/// Reasons that one sentence holds; the rest are counted.
constexpr std::size_t kMostReasons = 3;

/// What has been read so far of one comparison.
struct Reading {
  const SignTable& table;  // NOLINT: views for the length of one call
  const Facts& facts;      // NOLINT
  std::map<std::string, Told> signs;
  std::map<std::string, Basis> bases;
};

std::string chosen_in(const SignTable& table, const std::string& id) {
  for (const SignSwitch& one : table.switches) {
    if (one.id == id) return one.chosen;
  }
  return {};
}

/// The part of a switch that was chosen.
const Rule& chosen_part(const SignTable& table, const Rule& rule) {
  const std::string choice = chosen_in(table, rule.name);
  const auto found = std::find(rule.choices.begin(), rule.choices.end(), choice);
  return rule.parts.at(static_cast<std::size_t>(found - rule.choices.begin()));
}

Told ask(const Reading& reading, const Rule& rule);

std::vector<Told> ask_parts(const Reading& reading, const Rule& rule) {
  std::vector<Told> out;
  for (const Rule& part : rule.parts) out.push_back(ask(reading, part));
  return out;
}

Told told(Answer answer, const std::string& why_open) {
  if (answer == Answer::kYes) return yes();
  return answer == Answer::kNo ? no() : open_because(why_open);
}

Told ask_pedestal(const Facts& facts, Op op) {
  static const std::string open = "a shelf of bone below the tip can neither be seen nor excluded";
  if (op == Op::kNewPedestal) {
    const auto& changes = facts.pair.signs;
    return changes ? told(changes->new_pedestal, open) : open_because(open);
  }
  const auto& signs = facts.hip.films.at(facts.pair.follow_up).signs;
  return signs ? told(signs->pedestal.present, open) : open_because(open);
}

Told ask_principle(const Facts& facts, CementPrinciple principle) {
  const StemHold& stem = facts.hip.stem;
  if (stem.fixation == Fixation::kUncemented) return no();
  if (stem.principle) return *stem.principle == principle ? yes() : no();
  return open_because("the sheet does not say whether the stem is a polished taper");
}

Told ask_pattern(const Facts& facts, const std::vector<std::string>& patterns) {
  const Course& course = facts.course;
  if (course.points.empty() || course.points.back().comparison != facts.comparison) {
    return open_because("the course is told with the last film");
  }
  if (course.pattern == Pattern::kCannotTell) {
    return open_because("the course over time cannot be told");
  }
  const auto found = std::find(patterns.begin(), patterns.end(), code_of(course.pattern));
  return found == patterns.end() ? no() : yes();
}

Told ask_days(const Facts& facts, int days) {
  const auto taken = facts.hip.films.at(facts.pair.follow_up).days_from_surgery;
  if (!taken) return open_because("the date of surgery is not known");
  return *taken >= days ? yes() : no();
}

Told ask_fact(const Reading& reading, const Rule& rule) {
  const Facts& facts = reading.facts;
  switch (rule.op) {
    case Op::kMeasure:
      return ask_measure(facts, rule.measure);
    case Op::kMoved:
      return ask_moved(facts, rule.measures);
    case Op::kLines:
      return ask_lines(facts, rule.lines);
    case Op::kPedestal:
    case Op::kNewPedestal:
      return ask_pedestal(facts, rule.op);
    case Op::kPrinciple:
      return ask_principle(facts, rule.principle);
    case Op::kPattern:
      return ask_pattern(facts, rule.patterns);
    case Op::kFromDays:
      return ask_days(facts, rule.days);
    case Op::kFlagged:
      return facts.pair.flags.empty() ? no() : yes();
    case Op::kNotLookedFor:
      return open_because("the program does not look for " + rule.name);
    default:
      break;
  }
  return open_because(rule.name);  // kCannotShow
}

Told ask(const Reading& reading, const Rule& rule) {
  switch (rule.op) {
    case Op::kAll:
      return all_of(ask_parts(reading, rule));
    case Op::kAny:
      return any_of(ask_parts(reading, rule));
    case Op::kNot:
      return opposite(ask(reading, rule.parts.front()));
    case Op::kSwitch:
      return ask(reading, chosen_part(reading.table, rule));
    case Op::kSign: {
      const auto found = reading.signs.find(rule.name);
      return found == reading.signs.end() ? Told{} : found->second;
    }
    default:
      return ask_fact(reading, rule);
  }
}

/// What a rule with its switches set rests on; nothing for what is no measurement.
std::optional<Basis> basis_of(const Reading& reading, const Rule& rule) {
  std::optional<Basis> out;
  const auto take = [&](std::optional<Basis> one) {
    // What is not looked for does not hide what is.
    if (one && (!out || *out == Basis::kNothing || (*one != Basis::kNothing && *one > *out))) {
      out = one;
    }
  };
  switch (rule.op) {
    case Op::kSwitch:
      return basis_of(reading, chosen_part(reading.table, rule));
    case Op::kSign: {
      const auto found = reading.bases.find(rule.name);
      return found == reading.bases.end() ? std::nullopt : std::optional(found->second);
    }
    case Op::kMeasure: {
      const Measure m = rule.measure.measure;
      const bool bone = m == Measure::kCalcarChange || m == Measure::kCortexChange;
      return bone ? Basis::kBone : Basis::kMotion;
    }
    case Op::kMoved:
    case Op::kPattern:
      return Basis::kMotion;
    case Op::kPedestal:
    case Op::kNewPedestal:
      return Basis::kBone;
    case Op::kLines:
      return Basis::kLines;
    case Op::kNotLookedFor:
      return Basis::kNothing;
    default:
      break;
  }
  for (const Rule& part : rule.parts) take(basis_of(reading, part));
  return out;
}

std::string sentence_of(const std::vector<std::string>& reasons) {
  if (reasons.empty()) {
    return "Cannot tell: what was measured lies between present and absent as the table has them.";
  }
  std::string out = "Cannot tell: ";
  for (std::size_t i = 0; i < std::min(reasons.size(), kMostReasons); ++i) {
    out += (i == 0 ? "" : "; ") + reasons[i];
  }
  if (reasons.size() > kMostReasons) {
    out += "; and " + std::to_string(reasons.size() - kMostReasons) + " more";
  }
  return out + ".";
}

/// Present, absent, or open with the reasons of both rules.
Told answer_of(const Reading& reading, const Sign& sign) {
  const Told present = ask(reading, sign.present);
  const Told absent = ask(reading, sign.absent);
  const bool is = present.answer == Answer::kYes;
  const bool is_not = absent.answer == Answer::kYes;
  if (is && is_not) return open_because("the measurements contradict one another");
  if (is) return yes();
  if (is_not) return no();
  Told out;
  for (const Told* told : {&present, &absent}) {
    for (const std::string& reason : told->open) {
      if (std::find(out.open.begin(), out.open.end(), reason) == out.open.end()) {
        out.open.push_back(reason);
      }
    }
  }
  return out;
}

SignFinding finding_of(Reading& reading, const Sign& sign) {
  const Told told = answer_of(reading, sign);
  SignFinding out{.id = sign.id,
                  .title = sign.title,
                  .part = sign.part,
                  .answer = told.answer,
                  .points = {},
                  .basis = {},
                  .text = {},
                  .citation = sign.source.text,
                  .doi = sign.source.doi,
                  .certainty = sign.source.certainty};
  Rule both;
  both.op = Op::kAll;
  both.parts = {sign.present, sign.absent};
  out.basis = basis_of(reading, both).value_or(Basis::kNothing);
  out.text = told.answer == Answer::kYes  ? sign.says_present
             : told.answer == Answer::kNo ? sign.says_absent
                                          : sentence_of(told.open);
  if (sign.points_present && sign.points_absent) {
    out.points = told.answer == Answer::kYes  ? *sign.points_present
                 : told.answer == Answer::kNo ? *sign.points_absent
                                              : 0.0;
  }
  reading.signs[sign.id] = told;
  reading.bases[sign.id] = out.basis;
  return out;
}

Explanation explanation_of(const Reading& reading, const ExplanationRule& rule) {
  Explanation out{.id = rule.id,
                  .title = rule.title,
                  .answer = {},
                  .clauses = {},
                  .next = rule.next,
                  .basis = {},
                  .citation = rule.source.text,
                  .doi = rule.source.doi,
                  .certainty = rule.source.certainty};
  std::vector<Told> parts;
  Rule whole;
  whole.op = Op::kAll;
  for (const ExplanationClause& clause : rule.clauses) {
    parts.push_back(ask(reading, clause.when));
    out.clauses.push_back({clause.says, parts.back().answer});
    whole.parts.push_back(clause.when);
  }
  out.answer = all_of(parts).answer;
  out.basis = basis_of(reading, whole).value_or(Basis::kNothing);
  return out;
}

/// What holds for the whole report.
std::vector<std::string> doubts_of(const Facts& facts, const SignReport& report) {
  std::vector<std::string> out;
  const auto rests_on_lines = [](const SignFinding& one) {
    return one.basis == Basis::kLines && one.answer != Answer::kCannotTell;
  };
  if (std::any_of(report.signs.begin(), report.signs.end(), rests_on_lines)) {
    out.emplace_back(
        "Signs that rest on radiolucent lines are as doubtful as the lines, which are not "
        "validated yet; look at the unrolled interface first.");
  }
  if (!facts.pair.flags.empty()) {
    out.emplace_back("The comparison carries a flag, and so do the signs that rest on motion.");
  }
  return out;
}

SignReport report_of(const SignTable& table, const Facts& facts) {
  SignReport out;
  out.comparison = facts.comparison;
  Reading reading{table, facts, {}, {}};
  std::vector<std::pair<std::string, Answer>> answers;
  for (const Sign& sign : table.signs) {
    out.signs.push_back(finding_of(reading, sign));
    answers.emplace_back(sign.id, out.signs.back().answer);
  }
  if (table.score) out.score = sum_of(table, answers);
  for (const ExplanationRule& one : table.explanations) {
    out.explanations.push_back(explanation_of(reading, one));
  }
  out.doubts = doubts_of(facts, out);
  return out;
}

SwitchSetting setting_of(const SignSwitch& one) {
  SwitchSetting out{one.id, one.chosen, {}, {}};
  for (const SwitchChoice& choice : one.choices) {
    if (choice.id == one.chosen) {
      out.text = choice.text;
    } else {
      out.others.push_back(choice.id);
    }
  }
  return out;
}

std::string reading_of(const SignScore& score, double total) {
  for (const ScoreReading& one : score.readings) {
    if (!one.at_least || total >= *one.at_least) return one.says;
  }
  return {};
}

std::string points_text(double points) { return signed_text(points, 1); }

}  // namespace

std::string code_of(Basis basis) { return kBases[basis]; }

SignSum sum_of(const SignTable& table, const std::vector<std::pair<std::string, Answer>>& answers) {
  SignSum out;
  double total = 0.0;
  for (const Sign& sign : table.signs) {
    if (!sign.points_present || !sign.points_absent) continue;
    ++out.signs;
    const double present = *sign.points_present;
    const double absent = *sign.points_absent;
    const auto found = std::find_if(answers.begin(), answers.end(),
                                    [&](const auto& one) { return one.first == sign.id; });
    const Answer answer = found == answers.end() ? Answer::kCannotTell : found->second;
    if (answer == Answer::kCannotTell) {
      // Undetermined is 0 points; what it would be lies between its worst and its best.
      out.low += std::min(present, absent);
      out.high += std::max(present, absent);
      continue;
    }
    ++out.told;
    const double points = answer == Answer::kYes ? present : absent;
    total += points;
    out.low += points;
    out.high += points;
  }
  const std::string told =
      std::to_string(out.told) + " of " + std::to_string(out.signs) + " signs can be told";
  const std::string range = "with the others it would lie between " + points_text(out.low) +
                            " and " + points_text(out.high);
  if (2 * (out.signs - out.told) > out.signs || !table.score) {
    out.text = "No total: " + told + "; " + range + ".";
    return out;
  }
  out.total = total;
  // What the open signs can overturn is not read.
  const std::string worst = reading_of(*table.score, out.low);
  const std::string best = reading_of(*table.score, out.high);
  const std::string reading =
      worst == best ? " points: " + best
                    : " points, which name no reading yet: at worst " + worst + ", at best " + best;
  out.text = points_text(total) + reading + " (" + told + "; " + range + ").";
  return out;
}

SignAssessment read_table(const HipEvidence& hip, const Course& course, const SignTable* table) {
  SignAssessment out;
  if (table == nullptr) {
    out.reason =
        "Signs of fixation are not read: the sheet does not say how the stem is held "
        "(stem.fixation).";
    return out;
  }
  if (holds_for(table->fixation, hip.stem) == false) {
    out.reason = "Signs of fixation are not read: the table " + table->id +
                 " is for stems that are held otherwise.";
    return out;
  }
  out.table = table->id;
  out.title = table->title;
  out.sha256 = table->sha256;
  out.note = table->note;
  for (const SignSwitch& one : table->switches) out.switches.push_back(setting_of(one));
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    out.reports.push_back(report_of(*table, {hip, hip.comparisons[i], course, i}));
  }
  return out;
}

}  // namespace tidemark::assessment
