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
constexpr std::size_t kHipsWithTwo = 3;  // house choice: fewer bear no spread between hips

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
  if (!start) return std::nullopt;
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

/// Columns of the design that the films can tell, and whether the rate varies.
struct Design {
  std::vector<Index> columns;
  std::vector<MixedSubject> subjects;
  Index random = 1;
};

Design design_of(const std::vector<HipRows>& rows, std::size_t groups) {
  std::vector<std::size_t> hips(groups, 0);
  std::vector<std::size_t> late(groups, 0);
  std::size_t late_twice = 0;
  for (const HipRows& row : rows) {
    ++hips[row.group];
    if (!row.has_late) continue;
    ++late[row.group];
    late_twice += row.subject.y.size() >= 2 ? 1U : 0U;
  }
  Design out;
  for (std::size_t g = 0; g < groups; ++g) {
    if (hips[g] > 0) out.columns.push_back(static_cast<Index>(g));
  }
  for (std::size_t g = 0; g < groups; ++g) {
    if (late[g] >= 2) out.columns.push_back(static_cast<Index>(groups + g));
  }
  out.random = late_twice >= kHipsWithTwo ? 2 : 1;
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
  double t;  ///< coverage factor

  [[nodiscard]] std::optional<Index> place(std::size_t column) const {
    const auto found =
        std::find(design.columns.begin(), design.columns.end(), static_cast<Index>(column));
    if (found == design.columns.end()) return std::nullopt;
    return found - design.columns.begin();
  }
  [[nodiscard]] ModelEstimate of(const VectorXd& weights) const {
    const double value = weights.dot(model.effects);
    const double se = std::sqrt(weights.dot(model.effects_covariance * weights));
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
  out.settling = teller.of(g);
  out.later_rate = teller.of(k + g);
  if (g > 0) {
    out.settling_difference = teller.of(g, 0);
    out.later_rate_difference = teller.of(k + g, k);
  }
  out.curve = curve_of(teller, g, k, last_day_of(cohort, out.group));
  return out;
}

}  // namespace

Expected<CourseModel> model_of(const Cohort& cohort, Quantity quantity) {
  const std::size_t k = cohort.groups.size();
  std::vector<HipRows> rows;
  std::size_t with_two = 0;
  for (const CohortHip& hip : cohort.hips) {
    const auto at = std::find(cohort.groups.begin(), cohort.groups.end(), hip.group);
    const auto group = static_cast<std::size_t>(at - cohort.groups.begin());
    auto row = rows_of(hip, quantity, group, k);
    if (!row) continue;
    with_two += row->subject.y.size() >= 2 ? 1U : 0U;
    rows.push_back(std::move(*row));
  }
  if (with_two < kHipsWithTwo) {
    return fail(ErrorKind::kCannotTell, "model of " + name_of(quantity),
                "fewer than three hips have two dated follow-ups that were measured");
  }
  const Design design = design_of(rows, k);
  const auto fit = fit_mixed_model(design.subjects);
  if (!fit) return tl::unexpected(fit.error());
  const double freedom =
      std::max(1.0, static_cast<double>(fit->subjects) - static_cast<double>(fit->effects.size()));
  const Teller teller{*fit, design, coverage_factor(freedom)};
  CourseModel out;
  out.quantity = quantity;
  out.hips = fit->subjects;
  out.comparisons = fit->observations;
  for (std::size_t g = 0; g < k; ++g) out.groups.push_back(group_model(teller, cohort, rows, g));
  const MatrixXd& random = fit->random_covariance;
  out.settling_sd = std::sqrt(random(0, 0));
  if (design.random == 2) {
    out.later_rate_sd = std::sqrt(random(1, 1));
    const double product = out.settling_sd * *out.later_rate_sd;
    if (product > 0.0) out.correlation = std::clamp(random(0, 1) / product, -1.0, 1.0);
  }
  out.residual_sd = fit->residual_sd;
  out.restricted_log_likelihood = fit->restricted_log_likelihood;
  return out;
}

}  // namespace tidemark::registry
