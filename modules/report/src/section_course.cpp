#include <algorithm>

#include "course_chart.h"
#include "sections.h"

namespace tidemark::report {
namespace {

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
  for (const CourseLimit& limit : course.limits) description += " " + limit.label + ".";
  if (course.window) description += " " + course.window->label + ".";
  return {drawn(course, from.say), course.title, description};
}

}  // namespace

Section course_section(const Source& from) {
  Section out{"course", from.say("course.heading"), {}};
  const Course subsidence = subsidence_course(from);
  if (subsidence.points.empty()) return out;
  out.blocks.emplace_back(Figures{{figure_of(from, subsidence), figure_of(from, tilt_course(from))},
                                  from.say("course.caption")});
  return out;
}

}  // namespace tidemark::report
