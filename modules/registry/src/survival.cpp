#include "tidemark/registry/survival.h"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <set>

namespace tidemark::registry {
namespace {

double z95() { return boost::math::quantile(boost::math::normal(), 0.975); }

/// What is wrong with the times, if anything.
std::optional<Error> fault_of(std::span<const TimeToEvent> hips) {
  const auto bad = [](const TimeToEvent& hip) { return !std::isfinite(hip.time) || hip.time < 0; };
  if (hips.empty()) return Error{ErrorKind::kBadInput, "time to event", "there is no hip", ""};
  if (std::none_of(hips.begin(), hips.end(), bad)) return std::nullopt;
  return Error{ErrorKind::kBadInput, "time to event", "a time is negative or not a number",
               "leave such hips out"};
}

/// Greenwood's sum over the steps so far gives the errors of this one.
void fill_errors(SurvivalStep& step, double greenwood_sum) {
  const double s = step.survival;
  if (s <= 0.0) return;
  const double z = z95();
  const double se = s * std::sqrt(greenwood_sum);
  step.standard_error = se;
  if (s >= 1.0) {
    if (const auto none = share_of(0, step.at_risk)) {
      step.exact = Interval{1.0 - none->interval.high, 1.0};
    }
    return;
  }
  step.plain = Interval{std::max(0.0, s - z * se), std::min(1.0, s + z * se)};
  const double log_s = std::log(s);
  const double spread = z * std::sqrt(greenwood_sum) / std::abs(log_s);
  step.log_log = Interval{std::exp(log_s * std::exp(spread)), std::exp(log_s * std::exp(-spread))};
}

/// First time at which `value_of(step)` is at most one half; the middle of a stretch at exactly
/// one half.
template <class Value>
std::optional<double> half_time(const std::vector<SurvivalStep>& steps, Value value_of) {
  constexpr double kSame = 1e-10;  // products of fractions do not hit 1/2 to the last digit
  for (std::size_t i = 0; i < steps.size(); ++i) {
    const std::optional<double> value = value_of(steps[i]);
    if (!value || *value > 0.5 + kSame) continue;
    if (*value < 0.5 - kSame) return steps[i].time;
    for (std::size_t j = i + 1; j < steps.size(); ++j) {
      if (steps[j].events > 0) return 0.5 * (steps[i].time + steps[j].time);
    }
    return steps[i].time;
  }
  return std::nullopt;
}

void fill_median(SurvivalCurve& curve) {
  using Value = std::optional<double>;
  const auto limit = [](double Interval::*end) {
    return [end](const SurvivalStep& step) -> Value {
      if (step.log_log) return (*step.log_log).*end;
      return std::nullopt;
    };
  };
  curve.median = half_time(curve.steps, [](const SurvivalStep& s) -> Value { return s.survival; });
  curve.median_low = half_time(curve.steps, limit(&Interval::low));
  curve.median_high = half_time(curve.steps, limit(&Interval::high));
}

}  // namespace

std::size_t at_risk(std::span<const TimeToEvent> hips, double time) {
  return static_cast<std::size_t>(std::count_if(
      hips.begin(), hips.end(), [time](const TimeToEvent& hip) { return hip.time >= time; }));
}

const SurvivalStep* step_at(const SurvivalCurve& curve, double time) {
  const auto after =
      std::upper_bound(curve.steps.begin(), curve.steps.end(), time,
                       [](double t, const SurvivalStep& step) { return t < step.time; });
  return after == curve.steps.begin() ? nullptr : &*std::prev(after);
}

Expected<SurvivalCurve> kaplan_meier(std::span<const TimeToEvent> hips) {
  if (auto fault = fault_of(hips)) return tl::unexpected(*fault);
  std::vector<TimeToEvent> sorted(hips.begin(), hips.end());
  std::sort(sorted.begin(), sorted.end(), [](auto& a, auto& b) { return a.time < b.time; });
  SurvivalCurve curve;
  curve.hips = sorted.size();
  double survival = 1.0;
  double hazard = 0.0;
  double greenwood = 0.0;
  for (std::size_t i = 0; i < sorted.size();) {
    SurvivalStep step;
    step.time = sorted[i].time;
    step.at_risk = sorted.size() - i;
    for (; i < sorted.size() && sorted[i].time == step.time; ++i) {
      ++(sorted[i].outcome == Outcome::kEvent ? step.events : step.censored);
    }
    const auto n = static_cast<double>(step.at_risk);
    const auto d = static_cast<double>(step.events);
    survival *= (n - d) / n;
    hazard += d / n;
    if (d < n) greenwood += d / (n * (n - d));
    step.survival = survival;
    step.cumulative_hazard = hazard;
    fill_errors(step, greenwood);
    curve.events += step.events;
    curve.steps.push_back(step);
  }
  fill_median(curve);
  return curve;
}

namespace {

/// Sums over the times of events: O, E and the covariance of O.
struct LogRankSums {
  Eigen::VectorXd observed, expected;
  Eigen::MatrixXd covariance;
};

LogRankSums sums_of(std::span<const std::vector<TimeToEvent>> groups) {
  const auto k = static_cast<Eigen::Index>(groups.size());
  std::set<double> times;
  for (const auto& group : groups) {
    for (const TimeToEvent& hip : group) {
      if (hip.outcome == Outcome::kEvent) times.insert(hip.time);
    }
  }
  LogRankSums out{Eigen::VectorXd::Zero(k), Eigen::VectorXd::Zero(k), Eigen::MatrixXd::Zero(k, k)};
  for (const double time : times) {
    Eigen::VectorXd risk(k);
    Eigen::VectorXd events(k);
    for (Eigen::Index g = 0; g < k; ++g) {
      const auto& group = groups[static_cast<std::size_t>(g)];
      risk[g] = static_cast<double>(at_risk(group, time));
      events[g] = static_cast<double>(std::count_if(group.begin(), group.end(), [&](auto& hip) {
        return hip.time == time && hip.outcome == Outcome::kEvent;
      }));
    }
    const double n = risk.sum();
    const double d = events.sum();
    const Eigen::VectorXd share = risk / n;
    out.observed += events;
    out.expected += d * share;
    if (n > 1.0) {
      const Eigen::MatrixXd spread =
          Eigen::MatrixXd(share.asDiagonal()) - share * share.transpose();
      out.covariance += d * (n - d) / (n - 1.0) * spread;
    }
  }
  return out;
}

}  // namespace

Expected<LogRank> log_rank(std::span<const std::vector<TimeToEvent>> groups) {
  for (const auto& group : groups) {
    if (group.empty()) continue;
    if (auto fault = fault_of(group)) return tl::unexpected(*fault);
  }
  const LogRankSums sums = sums_of(groups);
  std::vector<Eigen::Index> used;  // a group never at risk at an event says nothing
  for (Eigen::Index g = 0; g < sums.expected.size(); ++g) {
    if (sums.expected[g] > 0.0) used.push_back(g);
  }
  const auto cannot = [](const char* wrong) {
    return fail(ErrorKind::kCannotTell, "log-rank test", wrong);
  };
  if (sums.observed.sum() == 0.0) return cannot("no hip has had the event");
  if (used.size() < 2) return cannot("fewer than two groups were at risk when an event was seen");
  used.pop_back();  // the differences add up to 0: one group follows from the others
  const Eigen::VectorXd difference = (sums.observed - sums.expected)(used);
  const Eigen::MatrixXd covariance = sums.covariance(used, used);
  const Eigen::FullPivLU<Eigen::MatrixXd> solver(covariance);
  if (!solver.isInvertible()) return cannot("all hips at risk had the event at once");
  LogRank out;
  out.observed.assign(sums.observed.begin(), sums.observed.end());
  out.expected.assign(sums.expected.begin(), sums.expected.end());
  out.degrees_of_freedom = static_cast<int>(used.size());
  out.chi_square = difference.dot(solver.solve(difference));
  const boost::math::chi_squared distribution(out.degrees_of_freedom);
  out.p = boost::math::cdf(boost::math::complement(distribution, std::max(0.0, out.chi_square)));
  return out;
}

}  // namespace tidemark::registry
