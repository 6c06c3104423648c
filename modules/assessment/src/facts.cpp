#include "facts.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "baseline.h"
#include "criteria_words.h"
#include "effective_u.h"
#include "tidemark/assessment/judge.h"
#include "tidemark/assessment/trust.h"
#include "tidemark/core/number_text.h"

namespace tidemark::assessment {
namespace {

using lucency::Answer;

/// The level of the shoulder lies so far proximal to the stem's reference point (migration.h).
constexpr double kShoulderAboveReferenceMm = 10.0;
/// All questions of one `moved` together say yes of an unmoved stem so often.
constexpr double kByChance = 0.05;

/// A number, or a clause that says why there is none.
struct Number {
  std::optional<Measured<double>> value;
  std::string reason;
  /// The number holds only a part of what is asked for: it can lie above a limit, but not below.
  bool part = false;
  std::optional<Measured<double>> whole = {};  ///< of a part: one that is no less than the whole
};

template <class Q>
Measured<double> plain(const Measured<Q>& m) {
  return {m.value.value, m.u.value, m.u95.value};
}

template <class Q>
Number number(const Measured<Q>& m) {
  return {plain(m), {}};
}

Number number(const LateChange& late) {
  Number out{plain(late.change), {}, late.starts_late};
  if (late.at_most) out.whole = plain(*late.at_most);
  return out;
}

/// Medial shift of the axis at a distance below the reference point: varus swings the tip
/// laterally. Shift and tilt are taken as independent (their covariance is not told; derived).
Number medial_at(const migration::Migration& m, double below_mm) {
  constexpr double kRad = std::numbers::pi / 180.0;
  const double arm = below_mm * kRad;
  return {Measured<double>{m.medial.value.value - arm * m.tilt_change.value.value,
                           std::hypot(m.medial.u.value, arm * m.tilt_change.u.value),
                           std::hypot(m.medial.u95.value, arm * m.tilt_change.u95.value)},
          {}};
}

Number medial_along(const Facts& facts, double share_of_stem) {
  const auto& tip = facts.hip.films.at(facts.pair.reference).tip_below_reference;
  if (!tip) return {{}, "the length of the stem is not known"};
  const double length = kShoulderAboveReferenceMm + tip->value;
  return medial_at(*facts.pair.migration, share_of_stem * length - kShoulderAboveReferenceMm);
}

Number of_motion(const Facts& facts, Measure measure) {
  if (!facts.pair.migration) return {{}, "the motion of the stem is not measured"};
  const migration::Migration& m = *facts.pair.migration;
  if (measure == Measure::kTiltChange) return number(m.tilt_change);
  if (facts.hip.lengths == Lengths::kPixels) return {{}, "nothing gives the scale of the films"};
  switch (measure) {
    case Measure::kSubsidence:
      return number(m.subsidence);
    case Measure::kMedial:
      return number(m.medial);
    case Measure::kMedialProximal:
      return medial_along(facts, 0.0);
    case Measure::kMedialThird:
      return medial_along(facts, 1.0 / 3.0);
    case Measure::kMedialTwoThirds:
      return medial_along(facts, 2.0 / 3.0);
    case Measure::kMedialTip:
      return medial_along(facts, 1.0);
    default:
      break;
  }
  const auto late = late_change(facts.course, facts.comparison);
  if (late) return number(*late);
  return {{}, "there is no earlier film from three months after surgery on"};
}

Number of_bone(const Facts& facts, Measure measure, int zone) {
  const auto& signs = facts.pair.signs;
  const std::string what = measure == Measure::kCalcarChange
                               ? "the height of the cut neck"
                               : "the cortex beside zone " + std::to_string(zone);
  if (facts.hip.lengths == Lengths::kPixels) return {{}, "nothing gives the scale of the films"};
  if (signs && measure == Measure::kCalcarChange && signs->calcar) return number(*signs->calcar);
  if (signs && measure == Measure::kCortexChange) {
    for (const auto& one : signs->cortex) {
      if (one.zone == zone && one.change) return number(*one.change);
    }
  }
  return {{}, what + " is not clear on both films"};
}

Number ask_number(const Facts& facts, Measure measure, int zone) {
  if (measure == Measure::kCalcarChange || measure == Measure::kCortexChange) {
    return of_bone(facts, measure, zone);
  }
  return of_motion(facts, measure);
}

std::string name_of(Measure measure) {
  switch (measure) {
    case Measure::kSubsidence:
      return "subsidence";
    case Measure::kLateSubsidence:
      return "subsidence after the first three months";
    case Measure::kMedial:
      return "medial shift";
    case Measure::kMedialProximal:
      return "medial shift of the proximal end";
    case Measure::kMedialThird:
      return "medial shift a third of the way down";
    case Measure::kMedialTwoThirds:
      return "medial shift two thirds of the way down";
    case Measure::kMedialTip:
      return "medial shift of the tip";
    case Measure::kTiltChange:
      return "change of tilt";
    case Measure::kCalcarChange:
      return "change of the calcar's height";
    case Measure::kCortexChange:
      break;
  }
  return "change of the cortex";
}

/// Whether a number lies above the limit of a rule.
Told above_limit(const Measured<double>& value, const MeasureRule& rule) {
  const double limit = rule.above.value_or(rule.below.value_or(0.0));
  const Conformity conformity = decide(value, limit, rule.size ? Sense::kEitherWay : Sense::kAbove);
  // A limit finer than the films can be passed for sure, but nothing can be told to be within it.
  const bool finer = limit > 0.0 && conformity.because == Because::kFinerThanFilm;
  if (conformity.probability_exceeds >= kDecisive) return yes();
  if (conformity.probability_exceeds <= 1.0 - kDecisive && !finer) return no();
  const std::string unit = rule.measure == Measure::kTiltChange ? " degrees" : " mm";
  return open_because("the " + name_of(rule.measure) + " of " +
                      with_uncertainty(value.value, value.u95) + unit + " cannot be told from " +
                      plain_number(limit) + unit);
}

}  // namespace

Told yes() { return {Answer::kYes, {}}; }
Told no() { return {Answer::kNo, {}}; }
Told open_because(std::string reason) { return {Answer::kCannotTell, {std::move(reason)}}; }

Told opposite(Told told) {
  if (told.answer == Answer::kYes) return no();
  if (told.answer == Answer::kNo) return yes();
  return told;
}

Told all_of(const std::vector<Told>& parts) {
  Told out = yes();
  for (const Told& part : parts) {
    if (part.answer == Answer::kNo) return no();
    if (part.answer != Answer::kCannotTell) continue;
    out.answer = Answer::kCannotTell;
    for (const std::string& reason : part.open) {
      if (std::find(out.open.begin(), out.open.end(), reason) == out.open.end()) {
        out.open.push_back(reason);
      }
    }
  }
  return out;
}

Told any_of(const std::vector<Told>& parts) {
  std::vector<Told> opposites;
  opposites.reserve(parts.size());
  for (const Told& part : parts) opposites.push_back(opposite(part));
  return opposite(all_of(opposites));
}

/// Why motion since the reference film cannot be told to be below a limit, or nothing: as for
/// verdicts (judge.h).
std::optional<std::string> why_not_below(const Facts& facts, Measure measure) {
  const bool bone = measure == Measure::kCalcarChange || measure == Measure::kCortexChange;
  if (bone || !facts.pair.migration) return {};
  const Baseline baseline = baseline_of(facts.hip, facts.pair);
  if (baseline == Baseline::kUnstated) {
    return "how long after the operation the reference film was taken is not known";
  }
  if (const auto flags = untrusted_flags_of(facts.pair); !flags.empty()) {
    return "a flag says that the films may not show this hip, its scale or its alignment (" +
           in_one_text(flags) + ")";
  }
  const bool late = measure == Measure::kLateSubsidence;
  const bool along = late || measure == Measure::kSubsidence;
  if (along && rises(plain(facts.pair.migration->subsidence), facts.pair.days)) {
    return "on these films the stem would have risen, which stems do not do";
  }
  if (late || baseline == Baseline::kEarly) return {};
  return baseline == Baseline::kUndated ? "the reference film has no date"
                                        : "motion before the late reference film is not seen";
}

Told ask_measure(const Facts& facts, const MeasureRule& rule) {
  const Number found = ask_number(facts, rule.measure, rule.zone);
  if (!found.value) return open_because(found.reason);
  Told above = above_limit(*found.value, rule);
  if (above.answer == Answer::kNo && found.part) {
    const bool still_no = found.whole && above_limit(*found.whole, rule).answer == Answer::kNo;
    if (!still_no) above = open_because("motion before the first film after settling is not seen");
  }
  if (above.answer == Answer::kNo) {
    if (auto why = why_not_below(facts, rule.measure)) above = open_because(std::move(*why));
  }
  return rule.below ? opposite(above) : above;
}

Told ask_moved(const Facts& facts, const std::vector<Measure>& measures) {
  const double k =
      coverage_factor(kInfiniteFreedom, 1.0 - kByChance / static_cast<double>(measures.size()));
  std::vector<Told> parts;
  for (const Measure measure : measures) {
    const Number found = ask_number(facts, measure, 0);
    if (!found.value) {
      parts.push_back(open_because(found.reason));
      continue;
    }
    const double u = effective_u(found.value->u, found.value->u95);
    parts.push_back(std::abs(found.value->value) > k * u ? yes() : no());
  }
  return any_of(parts);
}

}  // namespace tidemark::assessment
