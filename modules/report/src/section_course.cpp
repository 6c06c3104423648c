#include <algorithm>
#include <cmath>
#include <functional>
#include <utility>

#include "course_chart.h"
#include "sections.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/core/plain_number.h"
#include "tidemark/core/text.h"

namespace tidemark::report {
namespace {

using assessment::Assessment;
using assessment::Criterion;
using followup::ComparisonResult;
using followup::Lengths;

/// One quantity of all dated comparisons.
std::vector<CoursePoint> points_of(const Source& from,
                                   const std::function<CoursePoint(const ComparisonResult&)>& of) {
  std::vector<CoursePoint> out;
  for (const ComparisonResult& pair : from.result.comparisons) {
    if (!pair.migration || !pair.days) continue;
    out.push_back(of(pair));
    out.back().days = *pair.days;
  }
  return out;
}

/// Days from the surgery (else from the reference film) to the reference film: windows count from
/// the one, the drawing from the other.
int days_before_reference(const assessment::Course& course) {
  return course.points.empty()
             ? 0
             : course.points.front().days - course.points.front().days_from_reference;
}

/// Whether the sheet itself names the reference film and no film of the series contradicts it: then
/// it is the one after the operation.
bool reference_is_stated(const followup::Result& result) {
  if (std::any_of(result.flags.begin(), result.flags.end(),
                  [](const Flag& flag) { return flag.id == "reference_not_earliest"; })) {
    return false;
  }
  return std::any_of(result.films.begin(), result.films.end(), [](const auto& film) {
    return film.role == followup::Role::kReference && film.role_stated;
  });
}

/// Day after surgery of the reference film, where both are dated.
std::optional<int> reference_day(const followup::Result& result) {
  for (const auto& film : result.films) {
    if (film.role == followup::Role::kReference) return film.days_from_surgery;
  }
  return {};
}

/// Whether limits of the whole motion hold for what was measured since this reference film: from
/// three months on it shows late change only.
bool shows_whole_motion(const followup::Result& result) {
  return reference_day(result).value_or(0) <= assessment::kSettledDays;
}

/// Whether a criterion's number may be drawn beside this quantity: a limit for one hip and for this
/// stem, of a value that is sure enough to drive a verdict.
bool is_drawn(const Criterion& criterion, assessment::Quantity quantity,
              const Assessment& assessed) {
  const bool judged = std::any_of(
      assessed.findings.begin(), assessed.findings.end(), [&](const assessment::Finding& finding) {
        using assessment::Because;
        return finding.criterion == criterion.id && finding.because != Because::kOtherFixation &&
               finding.because != Because::kFixationUnknown && finding.because != Because::kNoScale;
      });
  return judged && criterion.quantity == quantity &&
         criterion.kind == assessment::Kind::kThreshold &&
         criterion.point == assessment::Point::kReference &&
         criterion.level == assessment::Level::kHip &&
         criterion.certainty != assessment::Certainty::kUnsure;
}

void add_limits(const Source& from, assessment::Quantity quantity, Course& course) {
  if (!from.result.assessment || !shows_whole_motion(from.result)) return;
  const Assessment& assessed = *from.result.assessment;
  const int before = days_before_reference(assessed.course);
  for (const Criterion& criterion : assessed.criteria.criteria) {
    if (!is_drawn(criterion, quantity, assessed)) continue;
    CourseLimit limit;
    limit.value = criterion.threshold;
    limit.label = printable(criterion.id) + ": " +
                  from.say.localised(plain_number(criterion.threshold)) + kFixedSpace + course.unit;
    if (criterion.window) {
      const auto& window = *criterion.window;
      limit.from_days = window.from_days - window.tolerance_days - before;
      limit.to_days = window.to_days + window.tolerance_days - before;
    }
    course.limits.push_back(limit);
    if (criterion.sense == assessment::Sense::kEitherWay) {
      limit.value = -limit.value;
      limit.label.clear();
      course.limits.push_back(limit);
    }
  }
}

void add_fit(const Source& from, const Lengths& lengths, Course& course) {
  if (!from.result.assessment) return;
  const assessment::Course& fit = from.result.assessment->course;
  const int before = days_before_reference(fit);
  for (const assessment::CourseBand& band : fit.fitted) {
    course.fitted.push_back(
        {static_cast<double>(band.days - before), band.median.value / lengths.mm_per_unit,
         band.low.value / lengths.mm_per_unit, band.high.value / lengths.mm_per_unit});
  }
  // How long a stem settles counts from the operation.
  const bool dated = fit.from_surgery || reference_is_stated(from.result);
  if (!fit.points.empty() && dated) {
    course.window = CourseWindow{0.0, static_cast<double>(assessment::kSettledDays - before),
                                 from.say("course.window")};
  }
}

Course subsidence_course(const Source& from) {
  const Lengths lengths = followup::lengths_of(from.result);
  Course out;
  out.title = from.say("quantity.subsidence");
  out.unit = lengths.unit;
  out.above = from.say("course.proximal");
  out.below = from.say("course.distal");
  out.positive = PositiveIs::kDown;
  out.points = points_of(from, [&](const ComparisonResult& pair) {
    const auto& m = pair.migration->subsidence;
    return CoursePoint{0.0, m.value.value / lengths.mm_per_unit, m.u95.value / lengths.mm_per_unit};
  });
  add_limits(from, assessment::Quantity::kSubsidence, out);
  add_fit(from, lengths, out);
  return out;
}

Course tilt_course(const Source& from) {
  Course out;
  out.title = from.say("quantity.tilt_change");
  out.unit = "°";
  out.above = from.say("course.varus");
  out.below = from.say("course.valgus");
  out.points = points_of(from, [&](const ComparisonResult& pair) {
    const auto& m = pair.migration->tilt_change;
    return CoursePoint{0.0, m.value.value, m.u95.value};
  });
  add_limits(from, assessment::Quantity::kTiltChange, out);
  return out;
}

Figure figure_of(const Source& from, const Course& course) {
  std::string description = course.title + ", " + course.unit + ":";
  for (const CoursePoint& point : course.points) {
    description +=
        " " +
        from.say("course.point", {{"days", std::to_string(std::lround(point.days))},
                                  {"value", from.say.signed_number(point.value, point.u95)}}) +
        ";";
  }
  description.back() = '.';
  for (const CourseLimit& limit : limits_drawn(course)) {
    if (!limit.label.empty()) {
      description += " " + from.say("course.limit", {{"label", limit.label}}) + ".";
    }
  }
  if (course.window) description += " " + course.window->label + ".";
  return {drawn(course, from.say), course.title, description};
}

/// What all films together say, and the rate after the settling window.
void add_words(const Source& from, Section& out) {
  if (!from.result.assessment) return;
  const assessment::Course& course = from.result.assessment->course;
  const std::string pattern = from.say("pattern." + assessment::code_of(course.pattern));
  out.blocks.emplace_back(Paragraph{{from.say("course.pattern", {{"pattern", pattern}})}});
  if (!course.text.empty()) {
    for (Phrase& phrase : from.say.all_said(printable(course.text))) {
      out.blocks.emplace_back(Paragraph{std::move(phrase)});
    }
  }
  if (!course.late_rate) return;
  const auto& late = *course.late_rate;
  out.blocks.emplace_back(
      Paragraph{{from.say("course.late_rate", {{"rate", from.say.signed_number(late.rate)},
                                               {"films", std::to_string(late.films)},
                                               {"days", std::to_string(late.days)}})}});
}

}  // namespace

Section course_section(const Source& from) {
  Section out{"course", from.say("course.heading"), {}};
  const Course subsidence = subsidence_course(from);
  add_words(from, out);
  if (subsidence.points.empty()) return out;
  std::string caption = from.say("course.caption");
  const bool fitted = !subsidence.fitted.empty();
  caption += " " + from.say(fitted ? "course.caption_fit" : "course.caption_line");
  const Course tilt = tilt_course(from);
  if (!subsidence.limits.empty() || !tilt.limits.empty()) {
    caption += " " + from.say("course.caption_limits");
    const int day = reference_day(from.result).value_or(0);
    if (day > assessment::kBaselineLateDays) {
      caption += " " + from.say("course.caption_late", {{"day", std::to_string(day)}});
    }
  }
  out.blocks.emplace_back(Figures{{figure_of(from, subsidence), figure_of(from, tilt)}, caption});
  return out;
}

}  // namespace tidemark::report
