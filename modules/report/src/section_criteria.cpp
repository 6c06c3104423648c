#include <algorithm>
#include <cctype>

#include "sections.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/plain_number.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using assessment::Assessment;
using assessment::Verdict;

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

/// A probability in per cent that never reads as certain.
std::string percent(const Source& from, double probability) {
  const double whole = 100.0 * probability;
  const std::string text = whole < 0.5 ? "< 1" : whole > 99.5 ? "> 99" : fixed_text(whole, 0);
  return from.say.localised(text) + kFixedSpace + "%";
}

/// Where a criterion comes from, and how sure its value is.
std::string source_of(const Source& from, const Assessment& assessed, const std::string& id) {
  const auto& all = assessed.criteria.criteria;
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const auto& one) { return one.id == id; });
  if (found == all.end()) return from.say("none");
  std::string text = printable(found->citation);
  if (found->doi) text += ", doi:" + printable(*found->doi);
  return text + " (" + from.say("certainty." + assessment::code_of(found->certainty)) + ")";
}

/// What was measured, e.g. "subsidence +2.10 ± 0.40 mm on day 93".
std::string measured_of(const Source& from, const assessment::Finding& finding) {
  if (!finding.measured) return from.say("not_measured");
  const auto& m = *finding.measured;
  std::string text = from.say("of." + assessment::code_of(finding.quantity),
                              {{"value", from.say.signed_number(m.value, m.u95)}});
  if (!finding.days) return text;
  return from.say("of.days", {{"measured", text}, {"days", std::to_string(*finding.days)}});
}

/// An English finding without what its row has said already: "M-1: within the limit; subsidence
/// ..." begins with the subsidence. One that is worded otherwise stays as it is.
std::string without_repetition(const Source& from, const assessment::Finding& finding) {
  std::string text = printable(finding.text);
  const std::string said = printable(finding.criterion) + ": " +
                           from.say("verdict." + assessment::code_of(finding.verdict)) + "; ";
  if (!text.starts_with(said) || text.size() == said.size()) return text;
  text.erase(0, said.size());
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  return text;
}

/// The finding in the language of the page. Results speak English.
Phrase finding_of(const Source& from, const assessment::Finding& finding) {
  if (from.say.language() == Language::kEnglish) {
    std::string text = without_repetition(from, finding);
    for (const std::string& doubt : finding.doubts) text += " " + printable(doubt);
    return from.say.english(text);
  }
  std::string limit = from.say("none");
  if (finding.threshold) {
    limit = from.say("of." + assessment::code_of(finding.quantity),
                     {{"value", from.say.localised(plain_number(*finding.threshold))}});
  }
  const bool nothing_outside =
      finding.because == assessment::Because::kOutsideWindow && !finding.measured;
  std::string text = nothing_outside
                         ? from.say("because.outside_window.not_measured", {{"limit", limit}})
                         : from.say("because." + assessment::code_of(finding.because),
                                    {{"measured", measured_of(from, finding)}, {"limit", limit}});
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
                    ? Cell{{percent(from, *finding.probability_exceeds)}, CellRole::kValue}
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
