#include <algorithm>
#include <utility>

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
std::string marked(const Source& from, const std::string& text, Basis basis) {
  return basis == Basis::kLines ? text + kFixedSpace + from.say("zones.mark") : text;
}

/// Sources of the signs, each once; a row refers to its number.
class Sources {
 public:
  std::string mark_of(const std::string& source) {
    auto found = std::find(all_.begin(), all_.end(), source);
    if (found == all_.end()) found = all_.insert(found, source);
    return "[" + std::to_string(found - all_.begin() + 1) + "]";
  }
  [[nodiscard]] Items list() const {
    Items out;
    for (std::size_t i = 0; i < all_.size(); ++i) {
      out.items.push_back({"[" + std::to_string(i + 1) + "]", {all_[i]}});
    }
    return out;
  }

 private:
  std::vector<std::string> all_;
};

/// What is present first, what cannot be told last; else in the table's order.
std::vector<assessment::SignFinding> in_order(const SignReport& report) {
  const auto rank = [](const assessment::SignFinding& sign) {
    return sign.answer == Answer::kYes ? 0 : sign.answer == Answer::kNo ? 1 : 2;
  };
  std::vector<assessment::SignFinding> out = report.signs;
  std::stable_sort(out.begin(), out.end(),
                   [&](const auto& a, const auto& b) { return rank(a) < rank(b); });
  return out;
}

Table signs_table(const Source& from, const SignReport& report, Sources& sources) {
  Table out{
      "signs-table",
      from.say("signs.caption", {{"when", when(from, from.result.comparisons[report.comparison])}}),
      {},
      {}};
  for (const char* key :
       {"signs.sign", "signs.answer", "signs.basis", "signs.text", "signs.source"}) {
    out.columns.push_back(from.say(key));
  }
  for (const auto& sign : in_order(report)) {
    out.rows.push_back(
        {{from.say.said(printable(sign.title)), CellRole::kWord},
         {{marked(from, from.say("signs." + lucency::code_of(sign.answer)), sign.basis)},
          role_of(sign.answer)},
         {{from.say("basis." + assessment::code_of(sign.basis))}, CellRole::kWord},
         {from.say.said(printable(sign.text)), CellRole::kWord},
         {{sources.mark_of(cited(from, sign.citation, sign.doi, sign.certainty))},
          CellRole::kWord}});
  }
  return out;
}

/// What to look at next: of the explanations with this answer.
Items explanations_of(const Source& from, const SignReport& report, Answer answer) {
  Items out;
  for (const auto& one : report.explanations) {
    if (one.answer != answer) continue;
    const Phrase title = from.say.said(printable(one.title));
    out.items.push_back({marked(from, title.text, one.basis), from.say.said(printable(one.next)),
                         title.in_english});
  }
  return out;
}

void add_list(const std::string& intro, Items items, Section& out) {
  if (items.items.empty()) return;
  out.blocks.emplace_back(Paragraph{{intro}});
  out.blocks.emplace_back(std::move(items));
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
  if (!from.result.assessment) return out;
  const auto& signs = from.result.assessment->signs;
  const SignReport* report = last_report(from);
  if (report == nullptr) {
    if (signs.reason.empty() || latest(from.result) == nullptr) return out;
    out.blocks.emplace_back(Paragraph{from.say.said(printable(signs.reason))});
    return out;
  }
  out.blocks.emplace_back(Paragraph{{from.say("signs.table", {{"id", printable(signs.table)}})}});
  for (const std::string& doubt : report->doubts) {
    for (Phrase& phrase : from.say.all_said(printable(doubt))) {
      out.blocks.emplace_back(Paragraph{std::move(phrase), Tone::kDoubt});
    }
  }
  Sources sources;
  out.blocks.emplace_back(signs_table(from, *report, sources));
  add_list(from.say("signs.sources"), sources.list(), out);
  if (report->score) {
    for (Phrase& phrase : from.say.all_said(printable(report->score->text))) {
      out.blocks.emplace_back(Paragraph{std::move(phrase)});
    }
  }
  Items switches;
  for (const auto& one : signs.switches) {
    switches.items.push_back({printable(one.id), from.say.said(printable(one.text))});
  }
  add_list(from.say("signs.explanations"), explanations_of(from, *report, Answer::kYes), out);
  add_list(from.say("signs.explanations_open"), explanations_of(from, *report, Answer::kCannotTell),
           out);
  add_list(from.say("signs.switches"), std::move(switches), out);
  if (!signs.note.empty()) {
    for (Phrase& phrase : from.say.all_said(printable(signs.note))) {
      out.blocks.emplace_back(Paragraph{std::move(phrase), Tone::kNote});
    }
  }
  out.blocks.emplace_back(Paragraph{{from.say("signs.note")}, Tone::kNote});
  return out;
}

}  // namespace tidemark::report
