#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "tidemark/core/uncertainty.h"
#include "tidemark/registry/migration_course.h"
#include "tidemark/registry/mixed_model.h"

namespace tidemark::registry {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double kSettlingDays = 30.0;          // docs/assessment.md, course over time
constexpr double kLaterFrom = 3 * 365.25 / 12;  // three months
constexpr double kYear = 365.25;
constexpr std::ptrdiff_t kHipsWithTwo = 3;  // house choice: fewer bear no spread between hips
// Of late rates, the groups' means taken off (house choice): with 2 the stated error was 0.76 of
// the true one in 300 simulated cohorts, with 4 it is right (course_coverage_test.cpp).
constexpr double kRateFreedom = 4.0;

double settled(double days) { return 1.0 - std::exp(-std::max(0.0, days) / kSettlingDays); }
double later(double days) { return std::max(0.0, days - kLaterFrom) / kYear; }

/// The films of one hip that the model takes.
struct HipRows {
  std::size_t group = 0;
  MixedSubject subject;
  bool has_late = false;
};

/// Known covariance of a hip's values: the reference film's error is in all of them.
MatrixXd measurement_of(const VectorXd& u, std::optional<double> reference_u) {
  const double least = u.cwiseAbs2().minCoeff();
  // Half: both films of a pair err alike (house choice where the share is not known).
  const double shared = reference_u ? std::min(*reference_u * *reference_u, least) : 0.5 * least;
  MatrixXd m = MatrixXd::Constant(u.size(), u.size(), shared);
  m.diagonal() = u.cwiseAbs2();
  return m;
}

std::optional<HipRows> rows_of(const CohortHip& hip, Quantity quantity, std::size_t group,
                               std::size_t groups) {
  const auto start = start_day(hip);
  // From where on the shape of settling is seen takes a reference film of known day.
  if (!start || hip.days_from_reference) return std::nullopt;
  std::vector<const CohortComparison*> used;
  for (const CohortComparison& c : hip.comparisons) {
    const auto& value = value_of(c, quantity);
    if (c.examination == 1 && c.days && *c.days > *start && value && value->u > 0.0) {
      used.push_back(&c);
    }
  }
  if (used.empty()) return std::nullopt;
  const auto n = static_cast<Index>(used.size());
  const auto k = static_cast<Index>(groups);
  const auto g = static_cast<Index>(group);
  HipRows out{group, {VectorXd(n), MatrixXd::Zero(n, 2 * k), MatrixXd(n, 2), {}}, false};
  VectorXd u(n);
  for (Index i = 0; i < n; ++i) {
    const CohortComparison& c = *used[static_cast<std::size_t>(i)];
    const double s = settled(*c.days) - settled(*start);
    const double l = later(*c.days) - later(*start);
    out.subject.y[i] = value_of(c, quantity)->value;
    u[i] = value_of(c, quantity)->u;
    out.subject.z.row(i) << s, l;
    out.subject.x(i, g) = s;
    out.subject.x(i, k + g) = l;
    out.has_late = out.has_late || l > 0.0;
  }
  // The share of the reference film is known of subsidence only.
  const auto shared = quantity == Quantity::kSubsidence ? hip.reference_u_mm : std::nullopt;
  out.subject.measurement = measurement_of(u, shared);
  return out;
}

/// What the hips can tell of later rates.
struct Rates {
  std::vector<std::size_t> late;  ///< hips with late films, by group
  std::vector<bool> told;         ///< groups that have a rate
  double freedom = 0.0;           ///< hips that show how rates spread, less the groups' means
};

Rates rates_of(const std::vector<HipRows>& rows, std::size_t groups) {
  Rates out{std::vector<std::size_t>(groups, 0), std::vector<bool>(groups, false), 0.0};
  std::vector<double> late_twice(groups, 0.0);  // one film alone tells settling from rate nowhere
  for (const HipRows& row : rows) {
    if (!row.has_late) continue;
    ++out.late[row.group];
    late_twice[row.group] += row.subject.y.size() >= 2 ? 1.0 : 0.0;
  }
  for (std::size_t g = 0; g < groups; ++g) {
    if (late_twice[g] < 2.0) continue;
    out.told[g] = true;
    out.freedom += late_twice[g] - 1.0;
  }
  // Without the spread between hips a mean rate would look far surer than it is.
  if (out.freedom < kRateFreedom) out.told.assign(groups, false);
  return out;
}

/// Late films of a group without a rate would pass for settling: they are taken out.
std::vector<HipRows> without_untold(std::vector<HipRows> rows, const Rates& rates) {
  for (HipRows& row : rows) {
    if (!row.has_late || rates.told[row.group]) continue;
    MixedSubject& s = row.subject;
    std::vector<Index> early;
    for (Index i = 0; i < s.y.size(); ++i) {
      if (s.z(i, 1) == 0.0) early.push_back(i);
    }
    s = {s.y(early).eval(), s.x(early, Eigen::all).eval(), s.z(early, Eigen::all).eval(),
         s.measurement(early, early).eval()};
  }
  std::erase_if(rows, [](const HipRows& row) { return row.subject.y.size() == 0; });
  return rows;
}

/// Columns of the design that the films can tell, and whether the rate varies.
struct Design {
  std::vector<Index> columns;
  std::vector<MixedSubject> subjects;
  Index random = 1;
};

Design design_of(const std::vector<HipRows>& rows, const Rates& rates) {
  const std::size_t groups = rates.late.size();
  Design out;
  for (std::size_t g = 0; g < groups; ++g) {
    const auto of_group = [g](const HipRows& row) { return row.group == g; };
    if (std::any_of(rows.begin(), rows.end(), of_group)) {
      out.columns.push_back(static_cast<Index>(g));
    }
  }
  for (std::size_t g = 0; g < groups; ++g) {
    if (!rates.told[g]) continue;
    out.columns.push_back(static_cast<Index>(groups + g));
    out.random = 2;
  }
  for (const HipRows& row : rows) {
    MixedSubject subject = row.subject;
    subject.x = row.subject.x(Eigen::all, out.columns).eval();
    subject.z = row.subject.z.leftCols(out.random).eval();
    out.subjects.push_back(std::move(subject));
  }
  return out;
}

/// The model's linear combinations with intervals.
struct Teller {
  const MixedModel& model;
  const Design& design;
  const Rates& rates;
  double t_settling;  ///< coverage factors
  double t_rate;

  [[nodiscard]] std::optional<Index> place(std::size_t column) const {
    const auto found =
        std::find(design.columns.begin(), design.columns.end(), static_cast<Index>(column));
    if (found == design.columns.end()) return std::nullopt;
    return found - design.columns.begin();
  }
  [[nodiscard]] ModelEstimate of(const VectorXd& weights) const {
    const double value = weights.dot(model.effects);
    const double se = std::sqrt(weights.dot(model.effects_covariance * weights));
    const auto groups = static_cast<Index>(rates.late.size());
    double t = t_settling;
    for (Index i = 0; i < weights.size(); ++i) {
      const bool rate = design.columns[static_cast<std::size_t>(i)] >= groups;
      if (rate && weights[i] != 0.0) t = t_rate;
    }
    return {value, se, {value - t * se, value + t * se}};
  }
  /// Estimate of one column, less that of another when it is given.
  [[nodiscard]] std::optional<ModelEstimate> of(std::size_t column,
                                                std::optional<std::size_t> less = {}) const {
    VectorXd weights = VectorXd::Zero(model.effects.size());
    const auto at = place(column);
    if (!at) return std::nullopt;
    weights[*at] += 1.0;
    if (less) {
      const auto other = place(*less);
      if (!other) return std::nullopt;
      weights[*other] -= 1.0;
    }
    return of(weights);
  }
};

std::vector<std::pair<double, ModelEstimate>> curve_of(const Teller& teller, std::size_t group,
                                                       std::size_t groups, double last_day) {
  std::vector<std::pair<double, ModelEstimate>> out;
  const auto settling = teller.place(group);
  const auto rate = teller.place(groups + group);
  if (!settling) return out;
  constexpr int kSteps = 120;
  for (int i = 0; i <= kSteps; ++i) {
    const double share = static_cast<double>(i) / kSteps;
    const double day = last_day * share * share;  // denser where the curve bends
    if (!rate && day > kLaterFrom) break;         // nothing is known of what comes later
    VectorXd weights = VectorXd::Zero(teller.model.effects.size());
    weights[*settling] = settled(day);
    if (rate) weights[*rate] = later(day);
    out.emplace_back(day, teller.of(weights));
  }
  return out;
}

double last_day_of(const Cohort& cohort, const std::string& group) {
  int last = 0;
  for (const CohortHip& hip : cohort.hips) {
    if (hip.group != group) continue;
    for (const CohortComparison& c : hip.comparisons) last = std::max(last, c.days.value_or(0));
  }
  return last;
}

GroupModel group_model(const Teller& teller, const Cohort& cohort, const std::vector<HipRows>& rows,
                       std::size_t g) {
  const std::size_t k = cohort.groups.size();
  GroupModel out;
  out.group = cohort.groups[g];
  out.hips = static_cast<std::size_t>(
      std::count_if(rows.begin(), rows.end(), [g](const HipRows& row) { return row.group == g; }));
  out.late_hips = teller.rates.late[g];
  out.settling = teller.of(g);
  out.later_rate = teller.of(k + g);
  if (g > 0) {
    out.settling_difference = teller.of(g, 0);
    out.later_rate_difference = teller.of(k + g, k);
  }
  out.curve = curve_of(teller, g, k, last_day_of(cohort, out.group));
  return out;
}

/// Correlation of settling and rate. A fit whose variances end at a bound gives -1 or 1, or one of
/// something that does not vary: that is no estimate.
std::optional<double> correlation_of(const MatrixXd& random, const std::vector<HipRows>& rows) {
  constexpr double kBound = 0.999;
  constexpr double kNoSpread = 1e-3;  // of a film's u (house choices)
  double squares = 0.0;
  Index films = 0;
  for (const HipRows& row : rows) {
    squares += row.subject.measurement.trace();
    films += row.subject.measurement.rows();
  }
  const double least = kNoSpread * std::sqrt(squares / static_cast<double>(films));
  const double settling = std::sqrt(random(0, 0));
  const double rate = std::sqrt(random(1, 1));
  if (settling < least || rate < least) return std::nullopt;
  const double correlation = random(0, 1) / (settling * rate);
  return std::abs(correlation) > kBound ? std::nullopt : std::optional(correlation);
}

}  // namespace

Expected<CourseModel> model_of(const Cohort& cohort, Quantity quantity) {
  const std::size_t k = cohort.groups.size();
  std::vector<HipRows> all;
  for (const CohortHip& hip : cohort.hips) {
    const auto at = std::find(cohort.groups.begin(), cohort.groups.end(), hip.group);
    const auto group = static_cast<std::size_t>(at - cohort.groups.begin());
    if (auto row = rows_of(hip, quantity, group, k)) all.push_back(std::move(*row));
  }
  const Rates rates = rates_of(all, k);
  const auto rows = without_untold(std::move(all), rates);
  const auto has_two = [](const HipRows& row) { return row.subject.y.size() >= 2; };
  if (std::count_if(rows.begin(), rows.end(), has_two) < kHipsWithTwo) {
    return fail(ErrorKind::kCannotTell, "model of " + name_of(quantity),
                "fewer than three hips have two dated follow-ups that were measured");
  }
  const Design design = design_of(rows, rates);
  const auto fit = fit_mixed_model(design.subjects);
  if (!fit) return tl::unexpected(fit.error());
  const double freedom =
      std::max(1.0, static_cast<double>(fit->subjects) - static_cast<double>(fit->effects.size()));
  const Teller teller{*fit, design, rates, coverage_factor(freedom),
                      coverage_factor(std::max(1.0, std::min(freedom, rates.freedom)))};
  CourseModel out;
  out.quantity = quantity;
  out.hips = fit->subjects;
  out.comparisons = fit->observations;
  for (std::size_t g = 0; g < k; ++g) out.groups.push_back(group_model(teller, cohort, rows, g));
  const MatrixXd& random = fit->random_covariance;
  out.settling_sd = std::sqrt(random(0, 0));
  if (design.random == 2) {
    out.later_rate_sd = std::sqrt(random(1, 1));
    out.correlation = correlation_of(random, rows);
  }
  out.residual_sd = fit->residual_sd;
  out.restricted_log_likelihood = fit->restricted_log_likelihood;
  return out;
}

}  // namespace tidemark::registry
