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
  // From the earlier film to the later one: what stood higher before has sunk since.
  const bool before = pair.days.value_or(0) < 0;
  const double value =
      (before ? -1.0 : 1.0) * pair.migration->subsidence.value.value / lengths.mm_per_unit;
  const double u95 = pair.migration->subsidence.u95.value / lengths.mm_per_unit;
  const bool higher = value + u95 < 0.0;
  const std::string key = std::string(value - u95 > 0.0 ? "deeper"
                                      : higher          ? "higher"
                                                        : "open") +
                          (before ? ".before" : "");
  // What stands higher has its ends in the same sense as its value.
  const double low = higher ? -value - u95 : value - u95;
  const double high = higher ? -value + u95 : value + u95;
  return {from.say("headline." + key,
                   {{"when", when(from, pair)},
                    {"value", from.say.plain(higher ? -value : value, u95) + unit_of(lengths)},
                    {"low", from.say.plain(low, u95)},
                    {"high", from.say.plain(high, u95) + unit_of(lengths)}})};
}

/// The head's centre where it moved and the reference point did not, by their intervals.
std::string sentence_of_head(const Source& from, const ComparisonResult& pair) {
  const auto stands_out = [](const auto& one) { return std::abs(one.value.value) > one.u95.value; };
  const auto& m = *pair.migration;
  if (stands_out(m.subsidence) || !stands_out(m.subsidence_at_head_centre)) return {};
  const followup::Lengths lengths = followup::lengths_of(from.result);
  return " " + from.say("headline.at_head",
                        {{"value",
                          from.say.signed_number(m.subsidence_at_head_centre, lengths.mm_per_unit) +
                              unit_of(lengths)}});
}

/// "M-X, M-Y and M-Z".
std::string in_words(const Source& from, const std::vector<std::string>& ids) {
  std::string out;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    const bool last = i + 1 == ids.size();
    out += (i == 0 ? "" : last ? " " + from.say("judged.and") + " " : ", ") + printable(ids[i]);
  }
  return out;
}

/// A sentence that was put together from clauses. German ones may begin with an umlaut: in UTF-8
/// the second byte of ä, ö, ü lies 32 above that of the capital.
std::string with_capital(std::string text) {
  const auto second = static_cast<unsigned char>(text.size() > 1 ? text[1] : 0);
  if (text.front() == '\xC3' && second >= 0xA0 && second <= 0xBE) {
    text[1] = static_cast<char>(second - 0x20);
  }
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  return text;
}

std::string when_of(const Source& from, std::size_t comparison) {
  return when(from, from.result.comparisons[comparison]);
}

/// What moved on the last comparison, with its numbers.
std::string motion_of_last(const Source& from, const assessment::Headline& told) {
  const ComparisonResult& pair = from.result.comparisons[*told.comparison];
  const auto& m = *pair.migration;
  const followup::Lengths lengths = followup::lengths_of(from.result);
  const auto length = [&](const char* key, const auto& one) {
    return from.say(
        key, {{"value", from.say.signed_number(one, lengths.mm_per_unit) + unit_of(lengths)}});
  };
  std::string values = length("judged.subsidence", m.subsidence) + ", ";
  if (told.moved.at_head) {
    values += length("judged.at_head", m.subsidence_at_head_centre) + ", ";
  }
  if (told.moved.across) values += length("judged.medial", m.medial) + ", ";
  values += from.say("judged.tilt", {{"value", from.say.signed_number(m.tilt_change)}});
  return from.say(told.moved.any() ? "judged.moved" : "judged.still",
                  {{"values", values}, {"when", when(from, pair)}});
}

/// The verdicts on the last comparison.
std::string verdicts_of_last(const Source& from, const assessment::Headline& told) {
  std::string out;
  const auto add = [&](const std::string& clause) { out += (out.empty() ? "" : "; ") + clause; };
  const auto add_ids = [&](const char* key, const std::vector<std::string>& ids) {
    if (!ids.empty()) add(from.say(key, {{"ids", in_words(from, ids)}}));
  };
  add_ids("judged.exceeds", told.above);
  add_ids("judged.within", told.within);
  add_ids("judged.cannot_tell", told.open);
  if (!told.subsidence_judged) add(from.say("judged.no_subsidence"));
  return with_capital(out) + ".";
}

/// Limits that get no verdict, but whose number is passed.
std::string finer_passed(const Source& from, const assessment::Headline& told) {
  if (told.finer_passed.empty()) return {};
  std::vector<std::string> passed;
  for (const assessment::PassedNumber& one : told.finer_passed) {
    passed.push_back(
        from.say("judged.probability",
                 {{"id", one.criterion}, {"value", percent_words(from, one.probability)}}));
  }
  return " " + from.say("judged.finer", {{"ids", in_words(from, passed)}});
}

/// The headline in the language of the page: all that assessment::Headline::sentence tells in
/// English, from the same parts.
std::string judged_sentence(const Source& from, const assessment::Headline& told) {
  std::string out =
      motion_of_last(from, told) + " " + verdicts_of_last(from, told) + finer_passed(from, told);
  if (!told.early.empty()) {
    out += " " + from.say("judged.early", {{"ids", in_words(from, told.early)}});
  }
  if (!told.past.empty()) {
    out += " " + from.say("judged.past", {{"ids", in_words(from, told.past)}});
  }
  const auto add = [&](const char* key, const std::vector<assessment::LimitsOfFilm>& films) {
    for (const assessment::LimitsOfFilm& one : films) {
      out += " " + from.say(key, {{"when", when_of(from, one.comparison)},
                                  {"ids", in_words(from, one.criteria)}});
    }
  };
  add("judged.before", told.above_before);
  add("judged.beyond", told.beyond_elsewhere);
  add("judged.undated", told.open_undated);
  if (told.rise) {
    out += " " + from.say("judged.rise", {{"from", when_of(from, told.rise->from)},
                                          {"to", when_of(from, told.rise->to)}});
  }
  if (told.still_moving) {
    const bool late = *told.still_moving == assessment::Pattern::kLate;
    out += " " + from.say(late ? "judged.moves_late" : "judged.goes_on");
  }
  if (!told.unmeasured_since.empty()) out += " " + from.say("judged.later");
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
    out.sentence.text = from.say(followup::lacks_reference(from.result) ? "headline.no_reference"
                                                                        : "headline.nothing");
    return out;
  }
  if (from.result.assessment && from.result.assessment->headline.comparison) {
    const assessment::Headline& told = from.result.assessment->headline;
    out.finding = finding_of(told.verdict);
    // Results speak English: in another language the same is told from its parts.
    out.sentence = from.say.language() == Language::kEnglish
                       ? from.say.english(printable(told.sentence))
                       : Phrase{judged_sentence(from, told)};
    out.measured = measured_sentence(from, *pair);
    for (const std::string& doubt : told.doubts) {
      for (Phrase& said : from.say.all_said(printable(doubt))) {
        out.doubts.push_back(std::move(said));
      }
    }
  } else {
    const auto& subsidence = pair->migration->subsidence;
    const bool moved = std::abs(subsidence.value.value) > subsidence.u95.value;
    out.finding = moved ? Finding::kLook : Finding::kOpen;
    out.sentence = measured_sentence(from, *pair);
    out.sentence.text += sentence_of_head(from, *pair);
  }
  for (Phrase& doubt : doubts_of(from, pair)) out.doubts.push_back(std::move(doubt));
  return out;
}

}  // namespace tidemark::report
