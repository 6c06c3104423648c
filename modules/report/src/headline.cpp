#include <cmath>
#include <utility>

#include "sections.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/core/text.h"

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
  if (pair != nullptr) add(pair->flags);
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
    out.sentence = from.say.english(printable(from.result.assessment->headline.sentence));
    out.measured = measured_sentence(from, *pair);
    const std::string& doubt = from.result.assessment->headline.doubt;
    if (!doubt.empty()) out.doubts.push_back(from.say.english(printable(doubt)));
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
