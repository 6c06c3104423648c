#include <algorithm>
#include <cctype>

#include "sections.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/assessment/probability.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/plain_number.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using assessment::Assessment;
using assessment::Because;
using assessment::Verdict;
using followup::ComparisonResult;

CellRole role_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::kExceeds:
      return CellRole::kStrong;
    case Verdict::kWithin:
      return CellRole::kWord;
    case Verdict::kCannotTell:
    case Verdict::kNotApplicable:
      break;
  }
  return CellRole::kOpen;
}

/// A probability in its narrow column: "> 99 %".
std::string percent_cell(const Source& from, double probability) {
  std::string text = assessment::percent_text(probability);
  for (const auto& [words, sign] : {std::pair{"more than ", "> "}, std::pair{"less than ", "< "}}) {
    if (text.starts_with(words)) text.replace(0, std::string(words).size(), sign);
  }
  return from.say.localised(text);
}

const assessment::Criterion* criterion_of(const Assessment& assessed, const std::string& id) {
  const auto& all = assessed.criteria.criteria;
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const auto& one) { return one.id == id; });
  return found == all.end() ? nullptr : &*found;
}

/// Where a criterion comes from, and how sure its value is.
std::string source_of(const Source& from, const Assessment& assessed, const std::string& id) {
  const assessment::Criterion* found = criterion_of(assessed, id);
  if (found == nullptr) return from.say("none");
  return cited(from, found->citation, found->doi, found->certainty);
}

/// What was measured, e.g. "subsidence +2.10 ± 0.40 mm on day 93".
std::string measured_of(const Source& from, const assessment::Finding& finding) {
  if (!finding.measured) return from.say("not_measured");
  const auto& m = *finding.measured;
  std::string text = from.say("of." + assessment::code_of(finding.quantity),
                              {{"value", from.say.signed_number(m.value, m.u95)}});
  const auto wrapped = [&](const std::string& key, const std::string& days) {
    text = from.say(key, {{"measured", text}, {"days", days}});
  };
  if (finding.point != assessment::Point::kReference) {
    wrapped("point." + assessment::code_of(finding.point), {});
  }
  const ComparisonResult& pair = from.result.comparisons[finding.comparison];
  if (finding.days) {
    const bool from_surgery = from.result.assessment->course.from_surgery ||
                              from.result.films[pair.follow_up].days_from_surgery.has_value();
    wrapped(from_surgery ? "of.days" : "of.days_from_reference", std::to_string(*finding.days));
  }
  if (pair.days.value_or(0) < 0) wrapped("of.backwards", {});
  return text;
}

std::string months(const Source& from, int days) {
  std::string text = fixed_text(12.0 * days / assessment::kDaysPerYear, 1);
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return from.say.localised(text);
}

/// When a limit holds.
std::string window_of(const Source& from, const assessment::Criterion* criterion) {
  if (criterion == nullptr || !criterion->window) return from.say("window.other");
  const assessment::Window& w = *criterion->window;
  return from.say(w.from_days == w.to_days ? "window.at" : "window.from_to",
                  {{"from", months(from, w.from_days)},
                   {"to", months(from, w.to_days)},
                   {"tolerance", months(from, w.tolerance_days)}});
}

/// The reason of a finding in the language of the page, or that there is no value. Ids of flags
/// stay as they are.
std::string reason_of(const Source& from, const assessment::Finding& finding) {
  if (finding.because == Because::kFlagged) return printable(finding.reason);
  const Phrase said = from.say.said(printable(finding.reason));
  return finding.reason.empty() || said.in_english ? from.say("because.nothing") : said.text;
}

/// The text that says why, by the parts that the finding has.
std::string key_of(const assessment::Finding& finding, const assessment::Criterion* criterion) {
  std::string key = "because." + assessment::code_of(finding.because);
  switch (finding.because) {
    case Because::kOutsideWindow:
      if (!finding.measured) return key + ".not_measured";
      if (finding.probability_exceeds.value_or(0.0) < assessment::kDecisive) return key;
      return criterion != nullptr && assessment::is_over(*criterion, finding.days) ? key + ".past"
                                                                                   : key + ".above";
    case Because::kFinerThanFilm:
      return finding.probability_exceeds.value_or(0.0) >= assessment::kDecisive ? key + ".above"
                                                                                : key;
    case Because::kDateUnknown:
      return finding.measured ? key + ".measured" : key;
    case Because::kBaselineTooLate:
      return finding.verdict == Verdict::kCannotTell ? key + ".open" : key;
    case Because::kNoThreshold:
      return finding.typical ? key : key + ".unknown";
    default:
      return key;
  }
}

/// An English finding without what its row has said already: "M-1: within the limit; subsidence
/// ..." begins with the subsidence. One that is worded otherwise stays as it is.
std::string without_repetition(const Source& from, const assessment::Finding& finding) {
  std::string text = printable(finding.text);
  const std::string id = printable(finding.criterion) + ": ";
  const std::string verdict = from.say("verdict." + assessment::code_of(finding.verdict)) + "; ";
  std::size_t said = text.starts_with(id) ? id.size() : 0;
  if (said > 0 && text.substr(said).starts_with(verdict)) said += verdict.size();
  if (said == 0 || text.size() == said) return text;
  text.erase(0, said);
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  return text;
}

/// Why the verdict is what it is, in the language of the page.
std::string because_of(const Source& from, const assessment::Finding& finding) {
  const auto of_quantity = [&](const std::optional<double>& value, const std::string& number) {
    return value ? from.say("of." + assessment::code_of(finding.quantity), {{"value", number}})
                 : from.say("none");
  };
  const auto* criterion = criterion_of(*from.result.assessment, finding.criterion);
  const std::string limit = of_quantity(
      finding.threshold, from.say.localised(plain_number(finding.threshold.value_or(0.0))));
  const std::string typical = of_quantity(
      finding.typical, from.say.localised(fixed_text(finding.typical.value_or(0.0), 1)));
  const std::string window = window_of(from, criterion);
  std::string text =
      from.say(key_of(finding, criterion),
               {{"measured", measured_of(from, finding)},
                {"limit", limit},
                {"typical", typical},
                {"window", window},
                {"reason", reason_of(from, finding)},
                {"probability", percent_words(from, finding.probability_exceeds.value_or(0.0))}});
  const bool windowed = criterion != nullptr && criterion->window.has_value();
  if (finding.because != Because::kDateUnknown || !windowed) return text;
  return from.say("because.holds", {{"limit", limit}, {"window", window}}) + " " +
         static_cast<char>(std::toupper(static_cast<unsigned char>(text.front()))) + text.substr(1);
}

/// The finding in the language of the page. Results speak English.
Phrase finding_of(const Source& from, const assessment::Finding& finding) {
  if (from.say.language() == Language::kEnglish) {
    std::string text = without_repetition(from, finding);
    for (const std::string& doubt : finding.doubts) text += " " + printable(doubt);
    return from.say.english(text);
  }
  std::string text = because_of(from, finding);
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  for (const std::string& doubt : finding.doubts)
    text += " " + from.say.said(printable(doubt)).text;
  return {text};
}

std::vector<Cell> row_of(const Source& from, const Assessment& assessed,
                         const assessment::Finding& finding) {
  std::vector<Cell> row{{{printable(finding.criterion)}, CellRole::kWord}};
  row.push_back(
      {{from.say("verdict." + assessment::code_of(finding.verdict))}, role_of(finding.verdict)});
  row.push_back(finding.probability_exceeds
                    ? Cell{{percent_cell(from, *finding.probability_exceeds)}, CellRole::kValue}
                    : Cell{{from.say("none")}, CellRole::kOpen});
  row.push_back({finding_of(from, finding), CellRole::kWord});
  row.push_back({{source_of(from, assessed, finding.criterion)}, CellRole::kWord});
  return row;
}

/// All criteria held against one comparison.
Table table_of(const Source& from, const Assessment& assessed, std::size_t comparison) {
  Table out{
      "criteria-table-" + std::to_string(comparison + 1),
      from.say("criteria.caption", {{"when", when(from, from.result.comparisons[comparison])}}),
      {},
      {}};
  for (const char* key : {"criteria.id", "criteria.verdict", "criteria.above", "criteria.finding",
                          "criteria.source"}) {
    out.columns.push_back(from.say(key));
  }
  for (const assessment::Finding& finding : assessed.findings) {
    if (finding.comparison == comparison) out.rows.push_back(row_of(from, assessed, finding));
  }
  return out;
}

}  // namespace

Section criteria_section(const Source& from) {
  Section out{"criteria", from.say("criteria.heading"), {}};
  if (!from.result.assessment) return out;
  const Assessment& assessed = *from.result.assessment;
  for (std::size_t i = from.result.comparisons.size(); i-- > 0;) {  // the latest film first
    Table table = table_of(from, assessed, i);
    if (!table.rows.empty()) out.blocks.emplace_back(std::move(table));
  }
  if (out.blocks.empty()) return out;
  out.blocks.insert(
      out.blocks.begin(),
      Paragraph{{from.say("criteria.set", {{"id", printable(assessed.criteria.id)}})}});
  out.blocks.emplace_back(Paragraph{{from.say("criteria.note")}, Tone::kNote});
  return out;
}

}  // namespace tidemark::report
