#include <algorithm>

#include "sections.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

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

}  // namespace

Headline headline_of(const Source& from) {
  const ComparisonResult* pair = latest(from.result);
  Headline out;
  out.doubts = doubts_of(from, pair);
  if (pair == nullptr) {
    out.sentence.text = from.say("headline.nothing");
    return out;
  }
  const followup::Lengths lengths = followup::lengths_of(from.result);
  const double value = pair->migration->subsidence.value.value / lengths.mm_per_unit;
  const double u95 = pair->migration->subsidence.u95.value / lengths.mm_per_unit;
  const bool deeper = value - u95 > 0.0;
  const bool higher = value + u95 < 0.0;
  out.finding = deeper || higher ? Finding::kLook : Finding::kOpen;
  const std::string key = deeper ? "deeper" : higher ? "higher" : "open";
  out.sentence.text =
      from.say("headline." + key,
               {{"when", when(from, *pair)},
                {"value", from.say.plain(higher ? -value : value, u95) + unit_of(lengths)},
                {"low", from.say.plain(value - u95, u95)},
                {"high", from.say.plain(value + u95, u95) + unit_of(lengths)}});
  return out;
}

}  // namespace tidemark::report
