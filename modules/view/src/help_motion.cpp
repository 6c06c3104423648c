#include <algorithm>
#include <array>
#include <cctype>
#include <string>
#include <string_view>
#include <utility>

#include "document_parts.h"
#include "help_parts.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "words.h"

namespace tidemark::view {
namespace {

using followup::ComparisonResult;
using followup::Lengths;

constexpr const char* kNoMotion =
    "Where the interval holds zero these films show no motion. That is no proof that there was "
    "none.";
constexpr const char* kTiltHow =
    "The change of tilt is the mean of two opinions, each weighted by the inverse of its variance: "
    "how far the alignments of stem and bone are turned against each other, and the angle between "
    "the axes of stem and shaft on either film.";

/// A paragraph of the report's section on the method: what is aligned, what moves, how sure.
enum class Method : std::size_t { kAlignment, kMotion, kUncertainty };

void add_method(const HelpFrom& from, Method which, Help& to) {
  const auto all = paragraphs_of(from, "method", report::Tone::kPlain);
  const auto at = static_cast<std::size_t>(which);
  if (at < all.size()) to.measured.push_back(all[at]);
}

std::string stated(const Measured<Millimetres>& m, const Lengths& unit) {
  return interval_of(m.value.value / unit.mm_per_unit, m.u.value / unit.mm_per_unit,
                     m.u95.value / unit.mm_per_unit, " " + unit.unit);
}

std::string stated(const Measured<Degrees>& m) {
  return interval_of(m.value.value, m.u.value, m.u95.value, "°");
}

/// Its first letter made large, and a full stop.
std::string sentence_of(std::string text) {
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  return text + ".";
}

/// What the uncertainty of the subsidence is made of.
void add_budget(const migration::Migration& m, const Lengths& unit, Help& to) {
  std::string parts;
  for (const auto& item : m.budget) {
    const double u = item.u.value / unit.mm_per_unit;
    parts += (parts.empty() ? "" : ", ") + item.source + " " + fixed_text(u, decimals_borne_by(u)) +
             " " + unit.unit;
  }
  if (!parts.empty()) {
    to.facts.push_back(
        "The standard uncertainty is made of (root of the sum of squares): " + parts + ".");
  }
}

/// What each bony feature says on its own.
void add_votes(const migration::Migration& m, const Lengths& unit, Help& to) {
  std::string votes;
  for (const auto& vote : m.features) {
    std::string name = vote.feature;
    std::replace(name.begin(), name.end(), '_', ' ');
    votes += (votes.empty() ? "" : "; ") + name + " " + told(vote.subsidence, unit);
  }
  if (votes.empty()) return;
  to.facts.push_back(std::to_string(m.features.size()) +
                     " bony features voted, each on its own: " + votes + ".");
}

void add_subsidence(const migration::Migration& m, const Lengths& unit, Help& to) {
  to.facts.push_back(sentence_of(stated(m.subsidence, unit)));
  add_budget(m, unit, to);
  add_votes(m, unit, to);
  if (m.by_landmarks) {
    to.facts.push_back("By the marked points alone, a second opinion that shares no code: " +
                       told(m.by_landmarks->subsidence, unit) + ".");
  }
  to.facts.push_back(
      "At other points of the stem, which differ as it tilts: head's centre " +
      told(m.subsidence_at_head_centre, unit) + ", shoulder " +
      told(m.subsidence_at_shoulder, unit) + ", tip " +
      (m.subsidence_at_tip ? told(*m.subsidence_at_tip, unit) : "not on the reference film") + ".");
}

void add_tilt(const HelpFrom& from, const ComparisonResult& pair, Help& to) {
  const migration::Migration& m = *pair.migration;
  to.facts.push_back(sentence_of(stated(m.tilt_change)));
  for (const std::size_t film : {pair.reference, pair.follow_up}) {
    const auto& one = from.result.films[film];
    if (!one.tilt) continue;
    to.facts.push_back("On " + printable(one.file) + " the stem stands at " + told(*one.tilt) +
                       " in the shaft, varus positive.");
  }
  if (m.by_landmarks && m.by_landmarks->tilt_change) {
    to.facts.push_back(
        "By the axes alone, a second opinion: " + told(*m.by_landmarks->tilt_change) + ".");
  }
}

/// What the surface of the stem tells of its pose out of the film's plane.
void add_pose(const migration::Migration& m, Help& to) {
  if (!m.flexion_change || !m.rotation_change) return;
  to.facts.push_back("By the stem's surface its pose changed out of the film's plane: flexion " +
                     told(*m.flexion_change) + ", rotation " + told(*m.rotation_change) + ".");
}

/// Flags that say something of the motion: those of the lines stand in the lines' own help.
std::vector<Flag> of_motion(std::vector<Flag> flags) {
  constexpr std::array<std::string_view, 6> kOfLines{"entry_assumed",    "film_too_soft",
                                                     "fixation_assumed", "lines_not_validated",
                                                     "short_zones",      "zone_border_misplaced"};
  std::erase_if(flags, [&](const Flag& flag) {
    return std::find(kOfLines.begin(), kOfLines.end(), flag.id) != kOfLines.end();
  });
  return flags;
}

/// Scales, points by hand and flags of a pair of films.
void add_films(const HelpFrom& from, const ComparisonResult& pair, Help& to) {
  for (const std::size_t film : {pair.reference, pair.follow_up}) {
    to.facts.push_back("Scale of " + printable(from.result.films[film].file) + ": " +
                       scale_of(from, film) + ".");
  }
  for (const std::size_t film : {pair.reference, pair.follow_up}) {
    add_by_hand(to, from.result.films[film]);
  }
  add_flags(to, "", pair.flags);
  for (const std::size_t film : {pair.reference, pair.follow_up}) {
    const auto& one = from.result.films[film];
    add_flags(to, printable(one.file), of_motion(one.flags));
  }
  add_flags(to, "", of_motion(from.result.flags));
}

std::string days_of(const assessment::Window& window) {
  std::string out = "Holds ";
  out += window.from_days == window.to_days ? "at day " + std::to_string(window.to_days)
                                            : "from day " + std::to_string(window.from_days) +
                                                  " to day " + std::to_string(window.to_days);
  return out + " after surgery; a visit may be " + std::to_string(window.tolerance_days) +
         " days early or late (house choice).";
}

const assessment::Criterion* criterion_of(const assessment::Assessment& assessed,
                                          const std::string& id) {
  for (const auto& one : assessed.criteria.criteria) {
    if (one.id == id) return &one;
  }
  return nullptr;
}

std::string set_of(const assessment::CriteriaSet& set) {
  std::string out = "Set of criteria: " + printable(set.id) + ", " + printable(set.title) + ".";
  if (!set.note.empty()) out += " " + printable(set.note);
  return out;
}

void add_patterns(const assessment::Course& course, Help& to) {
  if (!course.probabilities) return;
  constexpr const char* kNames[] = {"settled", "continuous", "late", "stable"};
  std::string parts;
  for (std::size_t i = 0; i < course.probabilities->size(); ++i) {
    parts += std::string(parts.empty() ? "" : ", ") + kNames[i] + " " +
             percent((*course.probabilities)[i]);
  }
  to.facts.push_back("Probability of each pattern: " + parts + ". One is named at 95 % or more.");
}

void add_fit(const assessment::Course& course, const Lengths& unit, Help& to) {
  add_patterns(course, to);
  if (course.late_change) {
    const assessment::LateChange& late = *course.late_change;
    to.facts.push_back(std::string("From the ") +
                       (late.from ? "first film after three months" : "reference film") +
                       " to the last, " + std::to_string(late.days) +
                       " days: " + told(late.change, unit) +
                       (late.from ? "; the error of the reference film cancels in it." : "."));
    if (late.starts_late) to.facts.emplace_back("What it sank before is not in this number.");
  }
  if (!course.points.empty()) {
    to.facts.push_back(std::string("Days count from ") +
                       (course.from_surgery ? "surgery" : "the reference film") + ".");
  }
}

void add_limits(const HelpFrom& from, assessment::Quantity quantity, Help& to) {
  if (!from.result.assessment) return;
  for (const auto& one : from.result.assessment->criteria.criteria) {
    if (one.quantity != quantity || one.kind != assessment::Kind::kThreshold) continue;
    const std::string source = source_of_criterion(from, one.id);
    if (!source.empty()) to.sources.push_back(printable(one.id) + ": " + source);
  }
}

/// Title of a number and what it means.
Help introduced(Number number) {
  Help out;
  switch (number) {
    case Number::kSubsidence:
      out.title = "Subsidence";
      out.means.emplace_back(
          "How far the stem has gone down in the femur since the reference film. Distal is "
          "positive; a negative value says that it has risen.");
      break;
    case Number::kMedial:
      out.title = "Medial shift";
      out.means.emplace_back(
          "How far the stem has gone across the shaft since the reference film. Towards the "
          "midline is positive, on both sides of the body.");
      break;
    case Number::kTiltChange:
      out.title = "Tilt change";
      out.means.emplace_back(
          "By how much the stem has turned against the shaft in the film's plane since the "
          "reference film. Varus is positive: the tip goes lateral.");
  }
  out.means.emplace_back(kNoMotion);
  return out;
}

void add_sources(Number number, Help& to) {
  to.sources.emplace_back(
      "Reference point: house choice. Signs: house choice; ISO 16087 counts proximal and valgus as "
      "positive (from memory).");
  to.sources.emplace_back(
      number == Number::kTiltChange
          ? "Which opinions count, and how: house choice (docs/migration.md)."
          : "Mean of the votes: generalised least squares, Aitken, Proc R Soc Edinb 55 (1935) "
            "42-48 (from memory); how wild votes and poses are weighed: house choice "
            "(docs/migration.md).");
  to.sources.emplace_back(kGum);
  to.sources.emplace_back(kOnSimulatedFilms);
}

}  // namespace

Help help_of(const HelpFrom& from, std::size_t comparison, Number number) {
  const ComparisonResult& pair = from.result.comparisons.at(comparison);
  const Lengths unit = followup::lengths_of(from.result);
  Help out = introduced(number);
  append(out.means, paragraphs_of(from, "values", report::Tone::kNote));
  add_method(from, Method::kAlignment, out);
  if (number == Number::kTiltChange) {
    out.measured.emplace_back(kTiltHow);
  } else {
    add_method(from, Method::kMotion, out);
  }
  add_method(from, Method::kUncertainty, out);
  add_sources(number, out);
  if (!pair.migration) {
    out.facts.push_back("Not measured: " + printable(pair.reason));
    return out;
  }
  const migration::Migration& m = *pair.migration;
  if (number == Number::kSubsidence) {
    out.value = told(m.subsidence, unit);
    add_subsidence(m, unit, out);
  } else if (number == Number::kMedial) {
    out.value = told(m.medial, unit);
    out.facts.push_back(sentence_of(stated(m.medial, unit)));
  } else {
    out.value = told(m.tilt_change);
    add_tilt(from, pair, out);
  }
  add_pose(m, out);
  add_films(from, pair, out);
  return out;
}

Help help_of_verdict(const HelpFrom& from, std::size_t finding) {
  const assessment::Assessment& assessed = *from.result.assessment;
  const assessment::Finding& found = assessed.findings.at(finding);
  Help out;
  out.title = printable(found.criterion);
  out.value = words_of(found.verdict);
  if (found.probability_exceeds) {
    out.value += "; lies above the limit with " + percent(*found.probability_exceeds);
  }
  const assessment::Criterion* criterion = criterion_of(assessed, found.criterion);
  if (criterion != nullptr) {
    out.means.push_back(printable(criterion->statement));
    out.means.push_back("What it rests on: " + printable(criterion->evidence));
    if (!criterion->note.empty()) out.means.push_back(printable(criterion->note));
  }
  append(out.means, paragraphs_of(from, "criteria", report::Tone::kNote));
  out.measured.emplace_back(
      "The value is taken as normally distributed about what was measured, with its standard "
      "uncertainty, or with u95/1.96 where that is more. A limit that is finer than these films "
      "allow can be passed, but nothing is said to be within it.");
  out.facts.push_back(printable(found.text));
  if (criterion != nullptr && criterion->window) out.facts.push_back(days_of(*criterion->window));
  for (const std::string& doubt : found.doubts) out.facts.push_back(printable(doubt));
  const std::string source = source_of_criterion(from, found.criterion);
  out.sources.push_back(source.empty() ? "The set of criteria names no source." : source);
  out.sources.emplace_back(kJudgedBy);
  out.sources.push_back(set_of(assessed.criteria));
  return out;
}

Help help_of_headline(const HelpFrom& from) {
  Help out;
  out.title = "The verdict of the whole";
  out.value = from.document.headline.sentence.text;
  out.means.emplace_back(
      "◆ Look closer: a published limit was passed on one of the films, or, where nothing could be "
      "judged, motion stands out from its uncertainty. ● Within limits: a limit of subsidence is "
      "kept on the latest film and none is open there. ○ Cannot tell: anything else.");
  out.means.emplace_back(
      "It is no vote and no diagnosis. To pass a limit calls for a closer look and closer "
      "follow-up; a stem within limits may still be loose.");
  out.measured.emplace_back(
      "Every criterion of the set is held against every film; the verdicts below name each, with "
      "its source.");
  for (const report::Phrase& doubt : from.document.headline.doubts) out.facts.push_back(doubt.text);
  out.sources.emplace_back("How verdicts make one: house choice (docs/assessment.md).");
  out.sources.emplace_back(kJudgedBy);
  if (from.result.assessment) {
    out.sources.push_back(set_of(from.result.assessment->criteria));
  } else {
    out.facts.emplace_back("Nothing was held against criteria.");
  }
  return out;
}

Help help_of(const HelpFrom& from, CourseChart chart) {
  const bool tilt = chart == CourseChart::kTilt;
  Help out;
  out.title = tilt ? "Tilt over time" : "Subsidence over time";
  const report::Section* course = section_of(from.document, "course");
  if (const auto* figures = first_of<report::Figures>(course)) {
    out.means.push_back(figures->caption);
    const std::size_t at = tilt ? 1 : 0;
    if (at < figures->figures.size()) out.facts.push_back(figures->figures[at].description);
  } else {
    out.means.emplace_back(
        "Change since the reference film, film by film. No dated film could be compared, so there "
        "is nothing to draw.");
  }
  if (tilt) {
    out.measured.emplace_back(
        "Each film's change of tilt stands by itself; no curve is fitted to it.");
  } else {
    out.measured.emplace_back(
        "All follow-up films share the reference film and with it its error, which counts once. "
        "Four shapes of a course (settled, continuous, late, stable), each as likely as the other "
        "beforehand, are held against all films together.");
    append(out.facts, paragraphs_of(from, "course", report::Tone::kPlain));
  }
  if (!tilt && from.result.assessment) {
    add_fit(from.result.assessment->course, followup::lengths_of(from.result), out);
  }
  out.sources.emplace_back("Bars: 95 % interval of each film, GUM (JCGM 100:2008).");
  if (!tilt) {
    out.sources.emplace_back(
        "Names of the patterns: Krismer et al., J Bone Joint Surg Br 81-B (1999) 273-280, who give "
        "no numbers. Motion that counts, 1.0 mm: Acta Orthop 2020, "
        "doi:10.1080/17453674.2020.1732749, mean and two standard deviations (derived).");
    out.sources.emplace_back(
        "Settling window of three months: most subsidence falls within 6 to 8 weeks, Arch Orthop "
        "Trauma Surg 2021, doi:10.1007/s00402-021-03913-0; the limit is derived from several "
        "series. Weights of the shapes: house choice at published means (docs/assessment.md).");
  }
  add_limits(from, tilt ? assessment::Quantity::kTiltChange : assessment::Quantity::kSubsidence,
             out);
  return out;
}

}  // namespace tidemark::view
