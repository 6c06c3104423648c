#include <cctype>
#include <cmath>
#include <utility>

#include "sections.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/core/text.h"
#include "tidemark/followup/doubts.h"

namespace tidemark::report {
namespace {

using assessment::Verdict;
using followup::ComparisonResult;

constexpr const char* kLinesFlag = "lines_not_validated";  ///< stands beside the zones

std::vector<Phrase> doubts_of(const Source& from, const ComparisonResult* pair) {
  std::vector<Phrase> out;
  const auto add = [&](const std::vector<Flag>& flags) {
    for (const Flag& flag : flags) {
      if (flag.id != kLinesFlag) out.push_back(phrase_of(from, flag));
    }
  };
  add(from.result.flags);
  if (pair == nullptr) return out;
  add(pair->flags);
  for (const followup::FilmDoubt& doubt : followup::film_doubts(from.result, *pair)) {
    Phrase said = phrase_of(from, doubt.flag);
    said.text = printable(from.result.films[doubt.film].file) + ": " + said.text;
    out.push_back(std::move(said));
  }
  return out;
}

/// What was measured, without any judgement.
Phrase measured_sentence(const Source& from, const ComparisonResult& pair) {
  const followup::Lengths lengths = followup::lengths_of(from.result);
  const double value = pair.migration->subsidence.value.value / lengths.mm_per_unit;
  const double u95 = pair.migration->subsidence.u95.value / lengths.mm_per_unit;
  const bool higher = value + u95 < 0.0;
  const std::string key = value - u95 > 0.0 ? "deeper" : higher ? "higher" : "open";
  return {from.say("headline." + key,
                   {{"when", when(from, pair)},
                    {"value", from.say.plain(higher ? -value : value, u95) + unit_of(lengths)},
                    {"low", from.say.plain(value - u95, u95)},
                    {"high", from.say.plain(value + u95, u95) + unit_of(lengths)}})};
}

bool is_of_subsidence(const assessment::Finding& finding) {
  return finding.quantity != assessment::Quantity::kTiltChange &&
         finding.quantity != assessment::Quantity::kMedial;
}

/// "M-X, M-Y and M-Z" of the findings that pass; empty when none does.
template <class Passes>
std::string ids_of(const Source& from, std::size_t comparison, const Passes& passes) {
  std::vector<std::string> ids;
  for (const assessment::Finding& finding : from.result.assessment->findings) {
    if (finding.comparison == comparison && passes(finding)) {
      ids.push_back(printable(finding.criterion));
    }
  }
  std::string out;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    const bool last = i + 1 == ids.size();
    out += (i == 0 ? "" : last ? " " + from.say("judged.and") + " " : ", ") + ids[i];
  }
  return out;
}

std::string ids_with(const Source& from, std::size_t comparison, Verdict verdict) {
  return ids_of(from, comparison,
                [&](const assessment::Finding& finding) { return finding.verdict == verdict; });
}

/// The verdicts on the last comparison, as assessment::Headline::sentence tells them in English.
std::string verdicts_of_last(const Source& from, std::size_t last) {
  std::string out;
  for (const Verdict verdict : {Verdict::kExceeds, Verdict::kWithin, Verdict::kCannotTell}) {
    const std::string ids = ids_with(from, last, verdict);
    if (ids.empty()) continue;
    out += (out.empty() ? "" : "; ") +
           from.say("judged." + assessment::code_of(verdict), {{"ids", ids}});
  }
  const std::string subsidence = ids_of(from, last, [](const assessment::Finding& finding) {
    return is_of_subsidence(finding) && finding.verdict != Verdict::kNotApplicable;
  });
  if (subsidence.empty()) out += (out.empty() ? "" : "; ") + from.say("judged.no_subsidence");
  out.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(out.front())));
  return out + ".";
}

/// The headline's verdicts in the language of the page: of the last comparison, what already lies
/// above a limit that holds later, and what was above one before.
std::string judged_sentence(const Source& from, std::size_t last) {
  std::string out = verdicts_of_last(from, last);
  const std::string early = ids_of(from, last, [](const assessment::Finding& finding) {
    return finding.because == assessment::Because::kOutsideWindow &&
           finding.probability_exceeds.value_or(0.0) >= assessment::kDecisive;
  });
  if (!early.empty()) out += " " + from.say("judged.early", {{"ids", early}});
  for (std::size_t i = 0; i < from.result.comparisons.size(); ++i) {
    const std::string before = i == last ? "" : ids_with(from, i, Verdict::kExceeds);
    if (before.empty()) continue;
    out += " " + from.say("judged.before",
                          {{"when", when(from, from.result.comparisons[i])}, {"ids", before}});
  }
  if (!from.result.assessment->headline.unmeasured_since.empty()) {
    out += " " + from.say("judged.later");
  }
  return out;
}

Finding finding_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::kExceeds:
      return Finding::kLook;
    case Verdict::kWithin:
      return Finding::kCalm;
    case Verdict::kCannotTell:
    case Verdict::kNotApplicable:
      break;
  }
  return Finding::kOpen;
}

}  // namespace

Headline headline_of(const Source& from) {
  const ComparisonResult* pair = latest(from.result);
  Headline out;
  if (pair == nullptr) {
    out.doubts = doubts_of(from, pair);
    out.sentence.text = from.say("headline.nothing");
    return out;
  }
  const bool judged = from.result.assessment && from.result.assessment->headline.comparison;
  if (judged) {
    out.finding = finding_of(from.result.assessment->headline.verdict);
    // Results speak English: in another language the same is told from what it rests on.
    out.sentence =
        from.say.language() == Language::kEnglish
            ? from.say.english(printable(from.result.assessment->headline.sentence))
            : Phrase{judged_sentence(from, *from.result.assessment->headline.comparison)};
    out.measured = measured_sentence(from, *pair);
    const std::string& doubt = from.result.assessment->headline.doubt;
    if (!doubt.empty()) out.doubts = from.say.all_said(printable(doubt));
  } else {
    const auto& subsidence = pair->migration->subsidence;
    const bool moved = std::abs(subsidence.value.value) > subsidence.u95.value;
    out.finding = moved ? Finding::kLook : Finding::kOpen;
    out.sentence = measured_sentence(from, *pair);
  }
  for (Phrase& doubt : doubts_of(from, pair)) out.doubts.push_back(std::move(doubt));
  return out;
}

}  // namespace tidemark::report
