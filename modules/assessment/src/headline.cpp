#include "headline.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "criteria_words.h"
#include "tidemark/assessment/probability.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"

namespace tidemark::assessment {
namespace {

using Ids = std::vector<std::string>;

template <class Passes>
Ids ids_of(const Assessment& all, std::size_t comparison, const Passes& passes) {
  Ids out;
  for (const Finding& one : all.findings) {
    if (one.comparison == comparison && passes(one)) out.push_back(one.criterion);
  }
  return out;
}

Ids with(const Assessment& all, std::size_t comparison, Verdict verdict) {
  return ids_of(all, comparison, [&](const Finding& one) { return one.verdict == verdict; });
}

std::string in_words(const Ids& ids) {
  std::string out;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    out += (i == 0 ? "" : i + 1 == ids.size() ? " and " : ", ") + ids[i];
  }
  return out;
}

/// The last measured comparison.
std::optional<std::size_t> last_measured(const HipEvidence& hip) {
  for (std::size_t i = hip.comparisons.size(); i-- > 0;) {
    if (hip.comparisons[i].migration) return i;
  }
  return {};
}

const FilmEvidence& film_of(const HipEvidence& hip, std::size_t comparison) {
  return hip.films.at(hip.comparisons[comparison].follow_up);
}

bool surely_above(const Finding& finding) {
  return finding.probability_exceeds.value_or(0.0) >= kDecisive;
}

std::vector<PassedNumber> finer_passed(const Assessment& all, std::size_t comparison) {
  std::vector<PassedNumber> out;
  for (const Finding& one : all.findings) {
    const bool finer = one.comparison == comparison && one.because == Because::kFinerThanFilm;
    if (finer && surely_above(one)) out.push_back({one.criterion, *one.probability_exceeds});
  }
  return out;
}

bool is_of_subsidence(const Finding& finding) {
  return finding.quantity != Quantity::kTiltChange && finding.quantity != Quantity::kMedial;
}

const Criterion& criterion_of(const Assessment& all, const Finding& finding) {
  const auto& criteria = all.criteria.criteria;
  return *std::find_if(criteria.begin(), criteria.end(),
                       [&](const Criterion& one) { return one.id == finding.criterion; });
}

/// Whether a value lies above the number of a limit that holds later, or at a time that cannot be
/// told. What a stem moved it does not move back, so it would pass that limit. A rate may slow.
bool is_beyond(const Assessment& all, const Finding& finding) {
  const bool is_rate = finding.quantity == Quantity::kSubsidenceRate ||
                       finding.quantity == Quantity::kLateSubsidenceRate;
  if (is_rate || !surely_above(finding)) return false;
  if (finding.because == Because::kDateUnknown) return true;
  if (finding.because != Because::kOutsideWindow) return false;
  const auto& window = criterion_of(all, finding).window;
  return window && finding.days && *finding.days < window->from_days;
}

Moved moved_on(const migration::Migration& m) {
  const auto stands_out = [](const auto& one) { return std::abs(one.value.value) > one.u95.value; };
  const bool along = stands_out(m.subsidence);
  return {along, stands_out(m.medial), stands_out(m.tilt_change),
          !along && stands_out(m.subsidence_at_head_centre)};
}

/// Comparisons without a number whose film is, or may be, later than that of the last one with.
std::vector<std::size_t> unmeasured_since(const HipEvidence& hip, std::size_t last) {
  const auto& until = film_of(hip, last).date;
  std::vector<std::size_t> out;
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    const auto& date = film_of(hip, i).date;
    const bool later = !until || !date || *date > *until;
    if (!hip.comparisons[i].migration && later) out.push_back(i);
  }
  return out;
}

/// What the other measured films say against the last one.
void look_at_others(const HipEvidence& hip, const Assessment& all, Headline& out) {
  const auto add = [](std::vector<LimitsOfFilm>& list, std::size_t comparison, Ids ids) {
    if (!ids.empty()) list.push_back({comparison, std::move(ids)});
  };
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    if (i == out.comparison || !hip.comparisons[i].migration) continue;
    add(out.above_before, i, with(all, i, Verdict::kExceeds));
    const auto beyond = [&](const Finding& one) { return is_beyond(all, one); };
    add(out.beyond_elsewhere, i, ids_of(all, i, beyond));
    if (film_of(hip, i).date) continue;
    add(out.open_undated, i, ids_of(all, i, [&](const Finding& one) {
          return one.verdict == Verdict::kCannotTell && !beyond(one);
        }));
  }
}

std::optional<Pattern> still_moving(const Course& course) {
  const bool moves = course.pattern == Pattern::kContinuous || course.pattern == Pattern::kLate;
  return moves ? std::optional<Pattern>(course.pattern) : std::nullopt;
}

bool anything_is_open(const Assessment& all, const Headline& told) {
  const auto& every = all.findings;
  const bool beyond = std::any_of(every.begin(), every.end(), [&](const Finding& one) {
    return one.comparison == told.comparison && is_beyond(all, one);
  });
  return beyond || !told.open.empty() || !told.unmeasured_since.empty() ||
         !told.beyond_elsewhere.empty() || !told.open_undated.empty() || told.rise.has_value() ||
         told.still_moving.has_value();
}

Verdict verdict_of(const Assessment& all, const Headline& told) {
  if (!told.above.empty() || !told.above_before.empty()) return Verdict::kExceeds;
  const auto& every = all.findings;
  const bool kept = std::any_of(every.begin(), every.end(), [&](const Finding& one) {
    return one.comparison == told.comparison && is_of_subsidence(one) &&
           one.verdict == Verdict::kWithin;
  });
  return kept && !anything_is_open(all, told) ? Verdict::kWithin : Verdict::kCannotTell;
}

std::string when(const HipEvidence& hip, const ComparisonEvidence& pair) {
  const auto surgery = hip.films.at(pair.follow_up).days_from_surgery;
  if (!surgery && !pair.days) return {};
  const int days = surgery.value_or(pair.days.value_or(0));
  if (days < 0) return ", " + months_text(-days) + " before the reference film";
  return ", " + months_text(days) + " after " + (surgery ? "surgery" : "the reference film");
}

/// What was measured, in words: whether anything moved beyond its own doubt.
std::string motion_sentence(const HipEvidence& hip, const Headline& told) {
  const ComparisonEvidence& pair = hip.comparisons[*told.comparison];
  const auto& m = *pair.migration;
  const auto value = [](const auto& one) {
    return with_uncertainty(one.value.value, one.u95.value);
  };
  const bool mm = hip.lengths == Lengths::kMillimetres;
  std::string out = told.moved.any() ? "The stem lies otherwise than on the reference film: "
                                     : "No motion of the stem beyond the uncertainty: ";
  // Lengths without a scale stand in the table, in pixels.
  if (mm) out += "subsidence " + value(m.subsidence) + " mm at the reference point, ";
  if (mm && told.moved.at_head) {
    out += "at the head's centre " + value(m.subsidence_at_head_centre) + " mm, ";
  }
  if (mm && told.moved.across) out += "medial shift " + value(m.medial) + " mm, ";
  if (!mm && told.moved.at_head) {
    out += "shift of the head's centre along the shaft (in pixels, see the table), ";
  }
  if (!mm && told.moved.along) out += "shift along the shaft (in pixels, see the table), ";
  if (!mm && told.moved.across) out += "shift across the shaft (in pixels, see the table), ";
  return out + "change of tilt " + value(m.tilt_change) + " degrees" + when(hip, pair) + ".";
}

std::string verdict_sentence(const Headline& told) {
  std::string out;
  const auto add = [&](const std::string& text) { out += (out.empty() ? "" : "; ") + text; };
  if (!told.above.empty()) add("above the limit of " + in_words(told.above));
  if (!told.within.empty()) add("within the limit of " + in_words(told.within));
  if (!told.open.empty()) add("cannot tell against " + in_words(told.open));
  if (!told.subsidence_judged) add("no limit of subsidence holds for this film");
  out.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(out.front())));
  return out + ".";
}

/// No verdict is not no knowledge: a number that is passed for sure is told.
std::string sentence_of_finer(const Headline& told) {
  if (told.finer_passed.empty()) return {};
  Ids passed;
  for (const PassedNumber& one : told.finer_passed) {
    passed.push_back(one.criterion + " (probability " + percent_text(one.probability) + ")");
  }
  return " The value surely lies above the number of " + in_words(passed) +
         (passed.size() == 1
              ? ", a limit that is finer than these films allow and gets no verdict."
              : ", limits that are finer than these films allow and get no verdict.");
}

/// What other films say: later films do not take back what earlier ones showed.
std::string sentences_of_others(const HipEvidence& hip, const Headline& told) {
  const auto name = [&](std::size_t comparison) { return film_of(hip, comparison).name; };
  std::string out = sentence_of_finer(told);
  if (!told.early.empty()) {
    out += " The value already lies above the number of " + in_words(told.early) +
           ", which holds later.";
  }
  if (!told.past.empty()) {
    out += " The value lies above the number of " + in_words(told.past) + ", which held earlier.";
  }
  for (const LimitsOfFilm& one : told.above_before) {
    out += " The film " + name(one.comparison) + " was above the limit of " +
           in_words(one.criteria) + ".";
  }
  for (const LimitsOfFilm& one : told.beyond_elsewhere) {
    out += " The film " + name(one.comparison) + " already lay above the number of " +
           in_words(one.criteria) + ", which holds later or at a time that is not known.";
  }
  for (const LimitsOfFilm& one : told.open_undated) {
    out += " The film " + name(one.comparison) +
           " has no date and may be later: cannot tell against " + in_words(one.criteria) + ".";
  }
  if (told.rise) {
    out += " From the film " + name(told.rise->from) + " to the film " + name(told.rise->to) +
           " the stem would have risen, which stems do not do: look at both.";
  }
  if (told.still_moving) {
    out += *told.still_moving == Pattern::kLate
               ? " All films together show a stem that stood still at first and sank later."
               : " All films together show a stem that goes on sinking after six months.";
  }
  if (!told.unmeasured_since.empty()) {
    out += " A film that is or may be later could not be measured.";
  }
  return out;
}

/// Which of the limits that were applied have a value from memory.
std::optional<std::string> from_memory(const Assessment& all, std::size_t comparison) {
  const Ids doubted = ids_of(all, comparison, [&](const Finding& one) {
    return one.verdict != Verdict::kNotApplicable &&
           criterion_of(all, one).certainty == Certainty::kFromMemory;
  });
  if (doubted.empty()) return {};
  return doubted.size() == 1 ? "The value of " + in_words(doubted) + " is from memory."
                             : "The values of " + in_words(doubted) + " are from memory.";
}

/// Which later films say nothing; the reasons stand with the films.
std::string unmeasured_sentence(const FilmEvidence& film) {
  return "The film " + film.name +
         (film.date ? " of " + format_date(*film.date) + " could not be measured."
                    : " has no date and could not be measured.");
}

std::vector<std::string> doubts_of(const HipEvidence& hip, const Assessment& all,
                                   const Headline& told) {
  std::vector<std::string> out{
      "± is the half-width of the 95 % interval; a limit counts as passed or kept "
      "only with a probability of 95 %."};
  const auto add = [&](const std::string& text) {
    if (std::find(out.begin(), out.end(), text) == out.end()) out.push_back(text);
  };
  for (const Finding& one : all.findings) {
    if (one.comparison != told.comparison) continue;
    for (const std::string& doubt : one.doubts) add(doubt);
  }
  if (const auto memory = from_memory(all, *told.comparison)) add(*memory);
  for (const std::size_t i : told.unmeasured_since) add(unmeasured_sentence(film_of(hip, i)));
  return out;
}

/// All doubts in one text, and what every flag of the series and of the comparison says.
std::string doubt_of(const HipEvidence& hip, const Headline& told) {
  std::string out;
  const auto add = [&](const std::string& text) { out += (out.empty() ? "" : " ") + text; };
  for (const std::string& doubt : told.doubts) add(doubt);
  for (const Flag& flag : hip.flags) add(flag.text);
  if (told.comparison) {
    for (const Flag& flag : hip.comparisons[*told.comparison].flags) add(flag.text);
  }
  return out;
}

Headline nothing_measured(const HipEvidence& hip) {
  Headline out;
  out.sentence = "Cannot tell whether the stem has moved.";
  const bool referenced = std::none_of(hip.flags.begin(), hip.flags.end(), [](const Flag& flag) {
    return flag.id == "no_reference_film";  // whose text stands among the doubts
  });
  if (!hip.comparisons.empty()) {
    out.doubts = {"No comparison could be measured; the reasons are given with the films."};
  } else if (referenced) {
    out.doubts = {"There is no follow-up film to compare with."};
  }
  out.doubt = doubt_of(hip, out);
  return out;
}

}  // namespace

Headline headline_of(const HipEvidence& hip, const Assessment& all) {
  const auto last = last_measured(hip);
  if (!last) return nothing_measured(hip);
  Headline out;
  out.comparison = last;
  out.unmeasured_since = unmeasured_since(hip, *last);
  out.moved = moved_on(*hip.comparisons[*last].migration);
  out.above = with(all, *last, Verdict::kExceeds);
  out.within = with(all, *last, Verdict::kWithin);
  out.open = with(all, *last, Verdict::kCannotTell);
  out.finer_passed = finer_passed(all, *last);
  out.subsidence_judged = !ids_of(all, *last, [](const Finding& one) {
                             return is_of_subsidence(one) && one.verdict != Verdict::kNotApplicable;
                           }).empty();
  const auto above_outside = [&](const Finding& one) {
    return one.because == Because::kOutsideWindow && surely_above(one);
  };
  out.early = ids_of(all, *last, [&](const Finding& one) {
    return above_outside(one) && !is_over(criterion_of(all, one), one.days);
  });
  out.past = ids_of(all, *last, [&](const Finding& one) {
    return above_outside(one) && is_over(criterion_of(all, one), one.days);
  });
  look_at_others(hip, all, out);
  out.rise = rise_in(all.course);
  out.still_moving = still_moving(all.course);
  out.verdict = verdict_of(all, out);
  out.sentence =
      motion_sentence(hip, out) + " " + verdict_sentence(out) + sentences_of_others(hip, out);
  out.doubts = doubts_of(hip, all, out);
  out.doubt = doubt_of(hip, out);
  return out;
}

}  // namespace tidemark::assessment
