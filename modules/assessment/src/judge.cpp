#include "tidemark/assessment/judge.h"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <cstdlib>

#include "baseline.h"
#include "criteria_words.h"
#include "effective_u.h"
#include "tidemark/assessment/probability.h"
#include "tidemark/assessment/trust.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::assessment {
namespace {

constexpr Words<Verdict, 4> kVerdicts{{"exceeds", "within", "cannot_tell", "not_applicable"}};
constexpr Words<Because, 16> kBecause{
    {"decided", "guard_band", "finer_than_film", "outside_window", "date_unknown", "group_level",
     "other_fixation", "fixation_unknown", "baseline_late", "baseline_too_late", "not_measured",
     "no_threshold", "no_scale", "criterion_unsure", "rises", "flagged"}};

/// A finding is over as soon as one step has settled it.
struct Case {
  const HipEvidence& hip;          // NOLINT: views for the length of one call
  const ComparisonEvidence& pair;  // NOLINT
  const Criterion& criterion;      // NOLINT
  const Course& course;            // NOLINT
  Finding finding;
};

template <class Q>
Measured<double> number(const Measured<Q>& m, double factor = 1.0) {
  return {factor * m.value.value, std::abs(factor) * m.u.value, std::abs(factor) * m.u95.value};
}

std::optional<Measured<Millimetres>> at_point(const migration::Migration& m, Point point) {
  switch (point) {
    case Point::kHeadCentre:
      return m.subsidence_at_head_centre;
    case Point::kShoulder:
      return m.subsidence_at_shoulder;
    case Point::kTip:
      return m.subsidence_at_tip;
    case Point::kReference:
      break;
  }
  return m.subsidence;
}

Finding settled(Case c, Verdict verdict, Because because, const std::string& text) {
  c.finding.verdict = verdict;
  c.finding.because = because;
  c.finding.text = c.criterion.id + ": " + text;
  return std::move(c.finding);
}

/// The same where a clause says why.
Finding cannot_tell(Case c, Because because, const std::string& before, const std::string& reason) {
  c.finding.reason = reason;
  return settled(std::move(c), Verdict::kCannotTell, because,
                 "cannot tell; " + before + reason + ".");
}

/// Why the criterion is not for this hip at all, or nothing.
std::optional<Finding> not_for_this_hip(const Case& c) {
  const Criterion& criterion = c.criterion;
  const auto holds = holds_for(criterion.fixation, c.hip.stem);
  if (holds == false) {
    return settled(c, Verdict::kNotApplicable, Because::kOtherFixation,
                   "not applied; it is for stems that are held otherwise.");
  }
  if (!holds) {
    return settled(c, Verdict::kCannotTell, Because::kFixationUnknown,
                   "cannot tell; the sheet does not say how the stem is held (stem.fixation), and "
                   "the limit means nothing without it.");
  }
  if (criterion.level == Level::kGroup) {
    return settled(c, Verdict::kNotApplicable, Because::kGroupLevel,
                   "not applied; it was found for the mean of groups and says nothing of one hip.");
  }
  if (criterion.certainty == Certainty::kUnsure) {
    return settled(c, Verdict::kNotApplicable, Because::kUnsure,
                   "not applied; its value is too doubtful to judge by.");
  }
  if (c.hip.lengths == Lengths::kPixels && criterion.quantity != Quantity::kTiltChange) {
    return settled(c, Verdict::kCannotTell, Because::kNoScale,
                   "cannot tell; nothing gives the scale of the films, so there are no "
                   "millimetres to judge.");
  }
  return {};
}

struct Value {
  std::optional<Measured<double>> measured;
  Because because = Because::kNotMeasured;
  std::string reason;  ///< a clause, when there is none
};

Value tip_not_seen() {
  return {{}, Because::kNotMeasured, "the reference film ends above the stem's tip"};
}

Value rate_since_reference(const Case& c) {
  if (!c.pair.days) {
    return {{}, Because::kDateUnknown, "a rate needs the dates of both films"};
  }
  if (*c.pair.days <= 0) return {{}, Because::kDateUnknown, "both films are of one day"};
  const auto subsidence = at_point(*c.pair.migration, c.criterion.point);
  if (!subsidence) return tip_not_seen();
  return {number(*subsidence, kDaysPerYear / *c.pair.days), {}, {}};
}

std::optional<LateChange> late_change_of(const Case& c) {
  if (c.criterion.quantity != Quantity::kLateSubsidence) return {};
  return late_change(c.course, c.finding.comparison);
}

Value value_of(const Case& c) {
  const auto& migration = c.pair.migration;
  if (!migration) {
    return {{}, Because::kNotMeasured, "the comparison is not measured: " + c.pair.reason};
  }
  // From the earlier film to the later one, also where the earlier one is not the reference film.
  const double forward = c.pair.days.value_or(0) < 0 ? -1.0 : 1.0;
  switch (c.criterion.quantity) {
    case Quantity::kSubsidence: {
      const auto subsidence = at_point(*migration, c.criterion.point);
      if (!subsidence) return tip_not_seen();
      return {number(*subsidence, forward), {}, {}};
    }
    case Quantity::kMedial:
      return {number(migration->medial, forward), {}, {}};
    case Quantity::kTiltChange:
      return {number(migration->tilt_change, forward), {}, {}};
    case Quantity::kSubsidenceRate:
      return rate_since_reference(c);
    case Quantity::kLateSubsidence: {
      const auto late = late_change_of(c);
      if (late) return {number(late->change), {}, {}};
      return {{}, Because::kNotMeasured, "there is no earlier film from three months on"};
    }
    case Quantity::kLateSubsidenceRate:
      break;
  }
  const bool last =
      !c.course.points.empty() && c.course.points.back().comparison == c.finding.comparison;
  if (last && c.course.late_rate) return {number(c.course.late_rate->rate), {}, {}};
  return {{},
          Because::kNotMeasured,
          last ? "it takes two dated films from three months on" : "it is told with the last film"};
}

/// Whether the finding's days count from surgery. The course asks for the reference film's date
/// too, a window does not.
bool counts_from_surgery(const Case& c) {
  return c.course.from_surgery || c.hip.films.at(c.pair.follow_up).days_from_surgery.has_value();
}

std::string measured_text(const Case& c) {
  const Measured<double>& m = *c.finding.measured;
  std::string text = quantity_in_words(c.criterion.quantity) + point_in_words(c.criterion.point) +
                     " " + with_uncertainty(m.value, m.u95) + " " +
                     unit_in_words(c.criterion.quantity);
  if (c.finding.days) {
    text += " at " + months_text(*c.finding.days);
    if (!counts_from_surgery(c)) text += " from the reference film";
    if (c.pair.days.value_or(0) < 0) text += ", from this film to the reference film";
  }
  return text;
}

/// Whether a visit is about a listed time: visits do not fall on the day, and stems settle fast at
/// first, so that an early value holds shorter. House choice; 91 days as at the limits of two
/// years.
bool is_about(int days, int listed) {
  constexpr int kShare = 8;
  constexpr int kMostDays = 91;
  return std::abs(days - listed) <= std::min(kMostDays, listed / kShare);
}

/// Where between the listed times, by straight lines; about the first and the last its value, and
/// nothing beyond.
std::optional<double> typical_at(const std::vector<TypicalValue>& list, int days) {
  if (list.empty()) return {};
  const TypicalValue& first = list.front();
  const TypicalValue& last = list.back();
  if (days <= first.days && is_about(days, first.days)) return first.value;
  if (days >= last.days && is_about(days, last.days)) return last.value;
  for (std::size_t i = 0; i < list.size(); ++i) {
    if (days == list[i].days) return list[i].value;
    if (i == 0 || days > list[i].days || days < list[i - 1].days) continue;
    const double t = static_cast<double>(days - list[i - 1].days) /
                     static_cast<double>(list[i].days - list[i - 1].days);
    return list[i - 1].value + t * (list[i].value - list[i - 1].value);
  }
  return {};
}

Finding beside_typical(Case c) {
  if (c.finding.days) c.finding.typical = typical_at(c.criterion.typical, *c.finding.days);
  std::string text = measured_text(c) + "; ";
  if (c.finding.typical) {
    text += "such stems had " + fixed_text(*c.finding.typical, 1) + " " +
            unit_in_words(c.criterion.quantity) + " on average then. ";
  } else {
    text += "no average is known for this time. ";
  }
  return settled(std::move(c), Verdict::kNotApplicable, Because::kNoThreshold,
                 text + "This is no limit.");
}

bool counts_from_baseline(Quantity quantity) {
  return quantity != Quantity::kLateSubsidence && quantity != Quantity::kLateSubsidenceRate;
}

std::optional<int> baseline_days(const Case& c) {
  return c.hip.films.at(c.pair.reference).days_from_surgery;
}

/// Whether the film's day is known and lies outside of the window.
bool is_outside_window(const Case& c) {
  if (!c.criterion.window || !c.finding.days) return false;
  const Window& w = *c.criterion.window;
  const int days = *c.finding.days;
  return days < w.from_days - w.tolerance_days || days > w.to_days + w.tolerance_days;
}

/// Why a limit says nothing of a film outside of its window.
std::string when_it_holds(const Case& c) {
  return "not applied; the limit of " + plain_number(c.criterion.threshold) + " " +
         unit_in_words(c.criterion.quantity) + " holds " + window_text(*c.criterion.window) + ". ";
}

/// Without a value. A limit that does not hold on that day is not left open by it.
Finding not_measured(Case c, const Value& value) {
  if (c.criterion.kind == Kind::kThreshold && is_outside_window(c)) {
    const std::string text = when_it_holds(c) + "Not measured: " + value.reason + ".";
    c.finding.reason = value.reason;
    return settled(std::move(c), Verdict::kNotApplicable, Because::kOutsideWindow, text);
  }
  const Because because = value.because;
  return cannot_tell(std::move(c), because, "", value.reason);
}

/// Whether the film lies outside of the window; the sentence says what the value would be.
std::optional<Finding> outside_window(const Case& c, const Conformity& conformity) {
  if (!c.criterion.window) return {};
  if (!c.finding.days) {
    return cannot_tell(c, Because::kDateUnknown,
                       "the limit holds " + window_text(*c.criterion.window) + " and ",
                       "the film's date is not known");
  }
  if (!is_outside_window(c)) return {};
  std::string text = when_it_holds(c) + "Measured: " + measured_text(c);
  if (conformity.verdict == Verdict::kExceeds) {
    text += (is_over(c.criterion, c.finding.days) ? ", which lies" : ", which already lies") +
            std::string(" above that number with a probability of ") +
            percent_text(conformity.probability_exceeds);
  }
  return settled(c, Verdict::kNotApplicable, Because::kOutsideWindow, text + ".");
}

std::string verdict_text(const Case& c, const Conformity& conformity) {
  const std::string limit =
      plain_number(c.criterion.threshold) + " " + unit_in_words(c.criterion.quantity);
  const std::string measured = measured_text(c);
  const std::string probability = percent_text(conformity.probability_exceeds);
  switch (conformity.because) {
    case Because::kFinerThanFilm:
      if (conformity.probability_exceeds >= kDecisive) {
        return "cannot tell; " + limit + " is finer than these films allow (" + measured +
               "): a limit that nothing could be shown to be within gets no verdict. The value "
               "lies "
               "above it all the same, with a probability of " +
               probability + ".";
      }
      return "cannot tell; " + limit + " is finer than these films allow (" + measured +
             "): even a stem that stood still could not be shown to be within it. The probability "
             "of lying above it is " +
             probability + ".";
    case Because::kGuardBand:
      return "cannot tell; " + measured + " lies too close to " + limit +
             ". The probability of lying above it is " + probability +
             "; a verdict needs 95 % or 5 %.";
    default:
      break;
  }
  return (conformity.verdict == Verdict::kExceeds ? "above the limit; " : "within the limit; ") +
         measured + " against " + limit + ". The probability of lying above it is " + probability +
         ".";
}

/// Whether late motion may have escaped a late change that lies within the limit.
bool may_hide_late_motion(const Case& c) {
  const auto late = late_change_of(c);
  if (!late || !late->starts_late) return false;
  return !late->at_most ||
         decide(number(*late->at_most), c.criterion.threshold, c.criterion.sense).verdict !=
             Verdict::kWithin;
}

/// Whether the whole 95 % interval of the stem's motion along its axis lies above where it stood.
/// Of a change since the reference film the reference point tells it: others rise as the stem
/// tilts.
bool stem_rises(const Case& c) {
  if (c.criterion.quantity == Quantity::kMedial || c.criterion.quantity == Quantity::kTiltChange) {
    return false;
  }
  const Measured<double> along = counts_from_baseline(c.criterion.quantity)
                                     ? number(c.pair.migration->subsidence)
                                     : *c.finding.measured;
  return rises(along, c.pair.days);
}

/// Of a reference film after the settling window: what surely lies below a limit says nothing, what
/// may lie above it stays open.
Finding below_since_too_late(const Case& c, const Conformity& conformity) {
  const std::string late = "the reference film was taken " + months_text(*baseline_days(c)) +
                           " after surgery, so that only late change can be judged";
  if (conformity.probability_exceeds <= 1.0 - kDecisive) {
    return settled(c, Verdict::kNotApplicable, Because::kBaselineTooLate,
                   "not applied; " + late + ".");
  }
  return settled(c, Verdict::kCannotTell, Because::kBaselineTooLate,
                 "cannot tell; " + measured_text(c) + " against " +
                     plain_number(c.criterion.threshold) + " " +
                     unit_in_words(c.criterion.quantity) + ", and " + late +
                     ". The probability of lying above it is " +
                     percent_text(conformity.probability_exceeds) + ".");
}

/// What a reference film that is late, or may be, forbids to say. What the stem moved since such a
/// film it did move, so a limit that is passed stays passed.
std::optional<Finding> hidden_by_baseline(const Case& c, const Conformity& conformity) {
  if (conformity.verdict == Verdict::kExceeds) return {};
  const bool within = conformity.verdict == Verdict::kWithin;
  const Baseline baseline = baseline_of(c.hip, c.pair);
  const std::string but = measured_text(c) + ", but ";
  if (within && baseline == Baseline::kUnstated) {
    return cannot_tell(c, Because::kDateUnknown, but,
                       "how long after the operation the reference film was taken is not known, "
                       "and it may hide what happened before");
  }
  if (!counts_from_baseline(c.criterion.quantity)) return {};
  if (within && baseline == Baseline::kUndated) {
    return cannot_tell(c, Because::kDateUnknown, but,
                       "the reference film has no date and may hide what happened before");
  }
  if (baseline == Baseline::kTooLate) return below_since_too_late(c, conformity);
  if (within && baseline == Baseline::kLate) {
    return settled(c, Verdict::kCannotTell, Because::kBaselineLate,
                   "cannot tell; " + but + "the reference film was taken " +
                       std::to_string(*baseline_days(c)) +
                       " days after surgery and hides what happened before.");
  }
  return {};
}

/// Why a number that lies within its limit does not count as kept, or nothing.
std::optional<Finding> not_kept(const Case& c) {
  if (stem_rises(c)) {
    return settled(
        c, Verdict::kCannotTell, Because::kRises,
        "cannot tell; " + measured_text(c) +
            " would be a rise, which stems do not do: the films contradict one another.");
  }
  if (may_hide_late_motion(c)) {
    return settled(c, Verdict::kCannotTell, Because::kBaselineLate,
                   "cannot tell; " + measured_text(c) +
                       ", but the film it counts from was taken late and hides what happened "
                       "before.");
  }
  const auto flags = untrusted_flags_of(c.pair);
  if (flags.empty()) return {};
  const std::string ids = in_one_text(flags);
  Case flagged = c;
  flagged.finding.reason = ids;
  return settled(std::move(flagged), Verdict::kCannotTell, Because::kFlagged,
                 "cannot tell; " + measured_text(c) +
                     ", but a flag says that the films may not show this hip, its scale or its "
                     "alignment (" +
                     ids + ").");
}

Finding against_threshold(Case c) {
  c.finding.threshold = c.criterion.threshold;
  const auto& measured = *c.finding.measured;
  const Conformity conformity = decide(measured, c.criterion.threshold, c.criterion.sense);
  c.finding.probability_exceeds = conformity.probability_exceeds;
  if (auto outside = outside_window(c, conformity)) return *outside;
  if (auto hidden = hidden_by_baseline(c, conformity)) return *hidden;
  if (conformity.verdict == Verdict::kWithin) {
    if (auto open = not_kept(c)) return *open;
  }
  const std::string text = verdict_text(c, conformity);
  return settled(std::move(c), conformity.verdict, conformity.because, text);
}

void note_doubts(Case& c) {
  auto& doubts = c.finding.doubts;
  const Baseline baseline = baseline_of(c.hip, c.pair);
  if (baseline == Baseline::kUndated) {
    doubts.emplace_back(
        "The reference film has no date: what the stem settled before it is not known.");
  } else if (baseline == Baseline::kUnstated) {
    doubts.emplace_back(
        "The date of surgery is not known, nor how long after it the reference film was taken; "
        "times count from that film.");
  } else if (!c.course.from_surgery) {
    doubts.emplace_back("The date of surgery is not known; times count from the reference film.");
  }
  const bool late = baseline == Baseline::kLate || baseline == Baseline::kTooLate;
  if (late && counts_from_baseline(c.criterion.quantity)) {
    doubts.push_back("The reference film was taken " + std::to_string(*baseline_days(c)) +
                     " days after surgery: what the stem settled before is not in the value.");
  }
  if (stem_rises(c)) {
    doubts.emplace_back(
        "On these films the stem would have risen, which stems do not do: look at the pair.");
  }
}

/// Days of the follow-up film as windows count them.
std::optional<int> days_of(const Case& c) {
  if (counts_from_surgery(c)) return c.hip.films.at(c.pair.follow_up).days_from_surgery;
  return c.pair.days;
}

}  // namespace

std::string code_of(Verdict verdict) { return kVerdicts[verdict]; }
std::string code_of(Because because) { return kBecause[because]; }

bool is_over(const Criterion& criterion, std::optional<int> days) {
  return criterion.window && days && *days > criterion.window->to_days;
}

Conformity decide(const Measured<double>& measured, double threshold, Sense sense) {
  const double u = effective_u(measured.u, measured.u95);
  if (!std::isfinite(measured.value) || !std::isfinite(u) || !(u > 0.0)) return {};
  const boost::math::normal_distribution<double> truth(measured.value, u);
  double above = boost::math::cdf(boost::math::complement(truth, threshold));
  if (sense == Sense::kEitherWay) above += boost::math::cdf(truth, -threshold);
  Conformity out{Verdict::kCannotTell, Because::kGuardBand, std::min(1.0, above)};
  // The value that is farthest within is 0.
  const double band = sense == Sense::kEitherWay ? coverage_factor(kInfiniteFreedom) : kGuard;
  if (threshold < band * u) {
    out.because = Because::kFinerThanFilm;
  } else if (above >= kDecisive || above <= 1.0 - kDecisive) {
    out.verdict = above >= kDecisive ? Verdict::kExceeds : Verdict::kWithin;
    out.because = Because::kDecided;
  }
  return out;
}

Finding judge(const HipEvidence& hip, std::size_t comparison, const Criterion& criterion,
              const Course& course) {
  Case c{hip, hip.comparisons.at(comparison), criterion, course, {}};
  c.finding.criterion = criterion.id;
  c.finding.comparison = comparison;
  c.finding.quantity = criterion.quantity;
  c.finding.point = criterion.point;
  c.finding.days = days_of(c);
  if (criterion.kind == Kind::kThreshold) c.finding.threshold = criterion.threshold;
  if (auto over = not_for_this_hip(c)) return *over;
  const Value value = value_of(c);
  if (!value.measured) return not_measured(std::move(c), value);
  c.finding.measured = value.measured;
  note_doubts(c);
  return criterion.kind == Kind::kTypical ? beside_typical(std::move(c))
                                          : against_threshold(std::move(c));
}

}  // namespace tidemark::assessment
