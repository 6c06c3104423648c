#include "sections.h"
#include "tidemark/assessment/signs.h"
#include "tidemark/core/text.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::report {
namespace {

using assessment::Basis;
using assessment::SignReport;
using lucency::Answer;

CellRole role_of(Answer answer) {
  return answer == Answer::kYes  ? CellRole::kStrong
         : answer == Answer::kNo ? CellRole::kWord
                                 : CellRole::kOpen;
}

/// What rests on radiolucent lines is marked: they are not validated.
std::string marked(const Source& from, std::string text, Basis basis) {
  return basis == Basis::kLines ? text + kFixedSpace + from.say("zones.mark") : text;
}

std::string source_of(const Source& from, const std::string& citation,
                      const std::optional<std::string>& doi, assessment::Certainty certainty) {
  return printable(citation) + (doi ? ", doi:" + printable(*doi) : "") + " (" +
         from.say("certainty." + assessment::code_of(certainty)) + ")";
}

Table signs_table(const Source& from, const SignReport& report) {
  Table out{
      "signs-table",
      from.say("signs.caption", {{"when", when(from, from.result.comparisons[report.comparison])}}),
      {},
      {}};
  for (const char* key :
       {"signs.sign", "signs.answer", "signs.basis", "signs.text", "criteria.source"}) {
    out.columns.push_back(from.say(key));
  }
  for (const auto& sign : report.signs) {
    out.rows.push_back(
        {{from.say.or_english("sign." + sign.id, printable(sign.title)), CellRole::kWord},
         {{marked(from, from.say("signs." + lucency::code_of(sign.answer)), sign.basis)},
          role_of(sign.answer)},
         {{from.say("basis." + assessment::code_of(sign.basis))}, CellRole::kWord},
         {from.say.said(printable(sign.text)), CellRole::kWord},
         {{source_of(from, sign.citation, sign.doi, sign.certainty)}, CellRole::kWord}});
  }
  return out;
}

/// What the findings together would fit, and what to look at next; those that hold, or may.
Items explanations_of(const Source& from, const SignReport& report) {
  Items out;
  for (const auto& one : report.explanations) {
    if (one.answer == Answer::kNo) continue;
    Phrase text = from.say.said(printable(one.next));
    const std::string answer = from.say("fits." + lucency::code_of(one.answer));
    text.text = marked(from, answer, one.basis) + " " + text.text;
    out.items.push_back(
        {from.say.or_english("explanation." + one.id, printable(one.title)).text, text});
  }
  return out;
}

/// The report of the last comparison: earlier ones stand in result.json.
const SignReport* last_report(const Source& from) {
  if (!from.result.assessment) return nullptr;
  const auto* pair = latest(from.result);
  for (const SignReport& report : from.result.assessment->signs.reports) {
    if (pair != nullptr && &from.result.comparisons[report.comparison] == pair) return &report;
  }
  return nullptr;
}

}  // namespace

Section signs_section(const Source& from) {
  Section out{"signs", from.say("signs.heading"), {}};
  const SignReport* report = last_report(from);
  if (report == nullptr) return out;
  const auto& signs = from.result.assessment->signs;
  out.blocks.emplace_back(Paragraph{{from.say("signs.table", {{"id", printable(signs.table)}})}});
  for (const std::string& doubt : report->doubts) {
    for (Phrase& phrase : from.say.all_said(printable(doubt))) {
      out.blocks.emplace_back(Paragraph{std::move(phrase), Tone::kDoubt});
    }
  }
  out.blocks.emplace_back(signs_table(from, *report));
  if (report->score) {
    for (Phrase& phrase : from.say.all_said(printable(report->score->text))) {
      out.blocks.emplace_back(Paragraph{std::move(phrase)});
    }
  }
  Items switches;
  for (const auto& one : signs.switches) {
    switches.items.push_back({printable(one.id), from.say.said(printable(one.text))});
  }
  if (!switches.items.empty()) {
    out.blocks.emplace_back(Paragraph{{from.say("signs.switches")}});
    out.blocks.emplace_back(std::move(switches));
  }
  Items explanations = explanations_of(from, *report);
  if (!explanations.items.empty()) {
    out.blocks.emplace_back(Paragraph{{from.say("signs.explanations")}});
    out.blocks.emplace_back(std::move(explanations));
  }
  out.blocks.emplace_back(Paragraph{{from.say("signs.note")}, Tone::kNote});
  return out;
}

}  // namespace tidemark::report
