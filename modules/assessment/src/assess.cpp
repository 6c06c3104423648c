#include "tidemark/assessment/assess.h"

#include <algorithm>
#include <cmath>

#include "criteria_words.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"

namespace tidemark::assessment {
namespace {

using Findings = std::vector<const Finding*>;

Findings of_comparison(const Assessment& all, std::size_t comparison) {
  Findings out;
  for (const Finding& one : all.findings) {
    if (one.comparison == comparison) out.push_back(&one);
  }
  return out;
}

Findings with(const Findings& all, Verdict verdict) {
  Findings out;
  std::copy_if(all.begin(), all.end(), std::back_inserter(out),
               [&](const Finding* one) { return one->verdict == verdict; });
  return out;
}

std::string ids_of(const Findings& findings) {
  std::string out;
  for (std::size_t i = 0; i < findings.size(); ++i) {
    out += (i == 0 ? "" : i + 1 == findings.size() ? " and " : ", ") + findings[i]->criterion;
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

std::string when(const HipEvidence& hip, const ComparisonEvidence& pair) {
  const auto surgery = hip.films.at(pair.follow_up).days_from_surgery;
  if (!surgery && !pair.days) return {};
  return ", " + months_text(surgery.value_or(pair.days.value_or(0))) + " after " +
         (surgery ? "surgery" : "the reference film");
}

/// What was measured, in words: whether anything moved beyond its own doubt.
std::string motion_sentence(const HipEvidence& hip, const ComparisonEvidence& pair) {
  const auto& m = *pair.migration;
  const bool mm = hip.lengths == Lengths::kMillimetres;
  const bool sank = std::abs(m.subsidence.value.value) > m.subsidence.u95.value;
  const bool tilted = std::abs(m.tilt_change.value.value) > m.tilt_change.u95.value;
  std::string out = sank || tilted ? "The stem lies otherwise than on the reference film: "
                                   : "No motion of the stem beyond the uncertainty: ";
  if (mm) {
    out += "subsidence " + with_uncertainty(m.subsidence.value.value, m.subsidence.u95.value) +
           " mm, ";
  }
  return out + "change of tilt " +
         with_uncertainty(m.tilt_change.value.value, m.tilt_change.u95.value) + " degrees" +
         when(hip, pair) + ".";
}

bool is_subsidence(const Finding& finding) {
  return finding.quantity != Quantity::kTiltChange && finding.quantity != Quantity::kMedial;
}

bool is_decided(const Finding& finding) {
  return finding.verdict == Verdict::kExceeds || finding.verdict == Verdict::kWithin;
}

/// Comparisons without a number whose film is, or may be, later than that of the last one with.
std::vector<std::size_t> unmeasured_since(const HipEvidence& hip, std::size_t last) {
  const auto& until = hip.films.at(hip.comparisons[last].follow_up).date;
  std::vector<std::size_t> out;
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    const auto& date = hip.films.at(hip.comparisons[i].follow_up).date;
    const bool later = !until || !date || *date > *until;
    if (!hip.comparisons[i].migration && later) out.push_back(i);
  }
  return out;
}

/// A hip is within only when a limit of its subsidence says so and nothing is open: nothing of the
/// last measured film, and no film since.
Verdict of(const Assessment& all, const Findings& last,
           const std::vector<std::size_t>& unmeasured) {
  const auto& every = all.findings;
  const auto exceeds = [](const Finding& f) { return f.verdict == Verdict::kExceeds; };
  if (std::any_of(every.begin(), every.end(), exceeds)) return Verdict::kExceeds;
  const bool open = !with(last, Verdict::kCannotTell).empty() || !unmeasured.empty();
  const bool kept = std::any_of(last.begin(), last.end(), [](const Finding* f) {
    return is_subsidence(*f) && f->verdict == Verdict::kWithin;
  });
  return kept && !open ? Verdict::kWithin : Verdict::kCannotTell;
}

std::string verdict_sentence(const Findings& findings) {
  const auto above = with(findings, Verdict::kExceeds);
  const auto within = with(findings, Verdict::kWithin);
  const auto open = with(findings, Verdict::kCannotTell);
  std::string out;
  const auto add = [&](const std::string& text) { out += (out.empty() ? "" : "; ") + text; };
  if (!above.empty()) add("above the limit of " + ids_of(above));
  if (!within.empty()) add("within the limit of " + ids_of(within));
  if (!open.empty()) add("cannot tell against " + ids_of(open));
  const bool subsidence_judged = std::any_of(findings.begin(), findings.end(), [](const auto* f) {
    return is_subsidence(*f) && f->verdict != Verdict::kNotApplicable;
  });
  if (!subsidence_judged) add("no limit of subsidence holds for this film");
  out.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(out.front())));
  return out + ".";
}

/// What was above a limit on earlier films: later films do not take it back.
std::string exceeded_before(const HipEvidence& hip, const Assessment& all, std::size_t last) {
  std::string out;
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    const auto above = with(of_comparison(all, i), Verdict::kExceeds);
    if (i == last || above.empty()) continue;
    const std::string film = hip.films.at(hip.comparisons[i].follow_up).name;
    out += " The film " + film + " was above the limit of " + ids_of(above) + ".";
  }
  return out;
}

/// What already lies above a limit that holds later.
std::string beyond_window(const Findings& findings) {
  Findings early;
  std::copy_if(findings.begin(), findings.end(), std::back_inserter(early), [](const Finding* f) {
    return f->because == Because::kOutsideWindow &&
           f->probability_exceeds.value_or(0.0) >= kDecisive;
  });
  if (early.empty()) return {};
  return " The value already lies above the number of " + ids_of(early) +
         ", which holds at another time.";
}

/// Which of the limits that were applied have a value from memory.
std::string from_memory(const Assessment& all, const Findings& findings) {
  Findings doubted;
  for (const Finding* one : findings) {
    const auto& criteria = all.criteria.criteria;
    const auto criterion = std::find_if(criteria.begin(), criteria.end(),
                                        [&](const Criterion& c) { return c.id == one->criterion; });
    const bool applied = is_decided(*one) || one->verdict == Verdict::kCannotTell;
    if (applied && criterion->certainty == Certainty::kFromMemory) doubted.push_back(one);
  }
  if (doubted.empty()) return {};
  return doubted.size() == 1 ? " The value of " + ids_of(doubted) + " is from memory."
                             : " The values of " + ids_of(doubted) + " are from memory.";
}

/// Which later films say nothing; the reasons stand with the films.
std::string unmeasured_sentences(const HipEvidence& hip, const std::vector<std::size_t>& pairs) {
  std::string out;
  for (const std::size_t i : pairs) {
    const FilmEvidence& film = hip.films.at(hip.comparisons[i].follow_up);
    out += " The film " + film.name;
    out += film.date ? " of " + format_date(*film.date) + " could not be measured."
                     : " has no date and could not be measured.";
  }
  return out;
}

std::string doubt_sentence(const Assessment& all, const Findings& findings,
                           const ComparisonEvidence& pair) {
  std::string out =
      "± is the half-width of the 95 % interval; a limit counts as passed or kept "
      "only with a probability of 95 %.";
  std::vector<std::string> said;
  for (const Finding* one : findings) {
    for (const std::string& doubt : one->doubts) {
      if (std::find(said.begin(), said.end(), doubt) != said.end()) continue;
      said.push_back(doubt);
      out += " " + doubt;
    }
  }
  out += from_memory(all, findings);
  if (pair.flags.empty()) return out;
  return out + (pair.flags.size() == 1
                    ? " The comparison carries a flag: " + pair.flags.front().text
                    : " The comparison carries " + std::to_string(pair.flags.size()) + " flags.");
}

Headline headline_of(const HipEvidence& hip, const Assessment& all) {
  const auto last = last_measured(hip);
  if (!last) {
    return {Verdict::kCannotTell,
            {},
            {},
            "Cannot tell whether the stem has moved.",
            hip.comparisons.empty() ? "There is no follow-up film to compare with."
                                    : "No comparison could be measured; the reasons are given "
                                      "with the films."};
  }
  const ComparisonEvidence& pair = hip.comparisons[*last];
  const Findings findings = of_comparison(all, *last);
  const auto unmeasured = unmeasured_since(hip, *last);
  const std::string later =
      unmeasured.empty() ? "" : " A film that is or may be later could not be measured.";
  return {of(all, findings, unmeasured), last, unmeasured,
          motion_sentence(hip, pair) + " " + verdict_sentence(findings) + beyond_window(findings) +
              exceeded_before(hip, all, *last) + later,
          doubt_sentence(all, findings, pair) + unmeasured_sentences(hip, unmeasured)};
}

std::vector<std::string> cautions_of(const CriteriaSet& criteria) {
  std::vector<std::string> out{
      "The limits come from groups of some dozen to a few hundred hips, partly with implants no "
      "longer in use and measured by other methods; to pass one calls for a closer look and closer "
      "follow-up, and says nothing certain of this hip.",
      "Pain, fever, the wound and blood tests outrank the film."};
  if (!criteria.note.empty()) out.insert(out.begin(), criteria.note);
  return out;
}

}  // namespace

Assessment assess(const HipEvidence& hip, const CriteriaSet& criteria) {
  return assess(hip, criteria, default_signs(hip.stem));
}

Assessment assess(const HipEvidence& hip, const CriteriaSet& criteria, const SignTable* signs) {
  Assessment out;
  out.criteria = criteria;
  out.course = follow(hip);
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    for (const Criterion& criterion : criteria.criteria) {
      out.findings.push_back(judge(hip, i, criterion, out.course));
    }
  }
  out.signs = read_table(hip, out.course, signs);
  out.headline = headline_of(hip, out);
  out.cautions = cautions_of(criteria);
  return out;
}

}  // namespace tidemark::assessment
