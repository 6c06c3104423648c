#include "tidemark/registry/migration_course.h"

#include <cmath>
#include <cstdlib>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/judge.h"

namespace tidemark::registry {
namespace {

std::vector<Visit> make_visits() {
  std::vector<Visit> out{{"2 weeks", 14, 1, 0},
                         {"6 weeks", 42, 0, 0},
                         {"3 months", 91, 0, 0},
                         {"6 months", 183, 0, 0},
                         {"1 year", 365, 0, 0}};
  for (int year = 2; year <= 30; ++year) {
    out.push_back({std::to_string(year) + " years", static_cast<int>(365.25 * year), 0, 0});
  }
  for (std::size_t i = 0; i < out.size(); ++i) {
    const int next = i + 1 < out.size() ? out[i + 1].days : out[i].days + 365;
    out[i].to = (out[i].days + next + 1) / 2;
    if (i > 0) out[i].from = out[i - 1].to;
  }
  return out;
}

}  // namespace

const std::vector<Visit>& visits() {
  static const std::vector<Visit> all = make_visits();
  return all;
}

std::optional<std::size_t> visit_of(int days) {
  for (std::size_t i = 0; i < visits().size(); ++i) {
    if (days >= visits()[i].from && days < visits()[i].to) return i;
  }
  return std::nullopt;
}

std::string name_of(Quantity quantity) {
  switch (quantity) {
    case Quantity::kSubsidence:
      return "subsidence_mm";
    case Quantity::kMedial:
      return "medial_mm";
    case Quantity::kTiltChange:
      return "tilt_change_deg";
  }
  return "";
}

std::string unit_of(Quantity quantity) { return quantity == Quantity::kTiltChange ? "deg" : "mm"; }

const std::optional<Measured<double>>& value_of(const CohortComparison& comparison,
                                                Quantity quantity) {
  switch (quantity) {
    case Quantity::kMedial:
      return comparison.medial_mm;
    case Quantity::kTiltChange:
      return comparison.tilt_change_deg;
    case Quantity::kSubsidence:
      break;
  }
  return comparison.subsidence_mm;
}

Entry entry_of(const CohortHip& hip) {
  const auto day = start_day(hip);
  if (!day || hip.days_from_reference) return Entry::kHides;
  if (*day > assessment::kSettledDays) return Entry::kTooLate;
  return *day > assessment::kBaselineLateDays ? Entry::kHides : Entry::kEarly;
}

bool is_after_reference(const CohortHip& hip, const CohortComparison& comparison) {
  const auto start = start_day(hip);
  return !start || !comparison.days || *comparison.days > *start;
}

const CohortComparison* nearest_to(const CohortHip& hip, const Visit& visit) {
  const CohortComparison* best = nullptr;
  for (const CohortComparison& c : hip.comparisons) {
    if (c.examination != 1 || !c.days || *c.days < visit.from || *c.days >= visit.to) continue;
    if (!is_after_reference(hip, c)) continue;
    const auto off = [&](const CohortComparison& x) { return std::abs(*x.days - visit.days); };
    const bool better = best == nullptr || (c.measured && !best->measured) ||
                        (c.measured == best->measured && off(c) < off(*best));
    if (better) best = &c;
  }
  return best;
}

namespace {

/// One group, visit and quantity; absent without a film there.
std::optional<CourseAtVisit> course_at(const Cohort& cohort, const std::string& group,
                                       std::size_t visit, Quantity quantity) {
  CourseAtVisit row{group, visit, quantity, {}, 0.0, 0, 0, 0, 0};
  std::vector<double> values;
  double squares = 0.0;
  for (const CohortHip& hip : cohort.hips) {
    if (hip.group != group) continue;
    const CohortComparison* at = nearest_to(hip, visits()[visit]);
    if (at == nullptr) continue;
    const Entry entry = entry_of(hip);
    if (entry != Entry::kEarly) {
      ++(entry == Entry::kTooLate ? row.late_reference : row.hidden_settling);
      continue;
    }
    const auto& value = value_of(*at, quantity);
    if (!value) {
      ++(at->measured && !hip.has_scale ? row.without_scale : row.not_measured);
      continue;
    }
    values.push_back(value->value);
    squares += value->u * value->u;
  }
  row.location = location_of(values);
  if (row.location) row.mean_u = std::sqrt(squares / static_cast<double>(values.size()));
  const std::size_t without = row.not_measured + row.without_scale;
  if (!row.location && without + row.late_reference + row.hidden_settling == 0) {
    return std::nullopt;
  }
  return row;
}

}  // namespace

std::vector<CourseAtVisit> course_of(const Cohort& cohort) {
  std::vector<CourseAtVisit> out;
  for (const std::string& group : cohort.groups) {
    for (std::size_t v = 0; v < visits().size(); ++v) {
      for (const Quantity quantity : kQuantities) {
        if (auto row = course_at(cohort, group, v, quantity)) out.push_back(std::move(*row));
      }
    }
  }
  return out;
}

}  // namespace tidemark::registry
