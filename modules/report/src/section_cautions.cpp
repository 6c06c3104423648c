#include <algorithm>
#include <utility>

#include "sections.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

/// Every flag once, with what it is about.
Items flags_of(const Source& from) {
  Items out;
  const auto add = [&](const std::string& about, const std::vector<Flag>& flags) {
    for (const Flag& flag : flags) {
      const Phrase phrase = phrase_of(from, flag);
      const bool told = std::any_of(out.items.begin(), out.items.end(), [&](const Item& item) {
        return item.about == about && item.phrase.text == phrase.text;
      });
      if (!told) out.items.push_back({about, phrase});
    }
  };
  add(from.say("cautions.all"), from.result.flags);
  for (const auto& film : from.result.films) add(printable(film.file), film.flags);
  for (const auto& pair : from.result.comparisons) {
    add(from.say("refusal.pair",
                 {{"follow_up", printable(from.result.films[pair.follow_up].file)},
                  {"reference", printable(from.result.films[pair.reference].file)}}),
        pair.flags);
  }
  return out;
}

}  // namespace

Section cautions_section(const Source& from) {
  Section out{"cautions", from.say("cautions.heading"), {}};
  Items flags = flags_of(from);
  if (!flags.items.empty()) {
    out.blocks.emplace_back(Paragraph{{from.say("cautions.flags")}});
    out.blocks.emplace_back(std::move(flags));
  }
  Items limits;
  if (from.result.assessment) {
    for (const std::string& caution : from.result.assessment->cautions) {
      for (Phrase& phrase : from.say.all_said(printable(caution))) {
        limits.items.push_back({"", std::move(phrase)});
      }
    }
  }
  for (const char* key : {"cautions.simulated", "cautions.projection", "cautions.baseline",
                          "cautions.absence", "cautions.patient"}) {
    limits.items.push_back({"", {from.say(key)}});
  }
  out.blocks.emplace_back(Paragraph{{from.say("cautions.limits")}});
  out.blocks.emplace_back(std::move(limits));
  out.blocks.emplace_back(Paragraph{{from.say("caution")}, Tone::kDoubt});
  return out;
}

}  // namespace tidemark::report
