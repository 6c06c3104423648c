#include "shapes.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <utility>

namespace tidemark::assessment {
namespace {

constexpr double kMeanSettlingMm = 1.45;
constexpr double kMeanRate = 1.2;  // mm/year
constexpr double kTauDays = 30.0;

double settling(double day) { return day > 0.0 ? 1.0 - std::exp(-day / kTauDays) : 0.0; }
double years_after(double day, double onset) { return std::max(0.0, day - onset) / kDaysPerYear; }

/// A course with its weight, not yet normalised: the logarithm of prior times likelihood.
struct Node {
  double settle_mm = 0.0;
  double rate = 0.0;   ///< mm/year
  double onset = 0.0;  ///< day from which the rate runs
  double log_weight = 0.0;
  double chi2 = 0.0;

  /// Subsidence at a day, mm.
  [[nodiscard]] double at(double day) const {
    return settle_mm * settling(day) + rate * years_after(day, onset);
  }
};

/// chi2 as a function of settling and rate for one onset: a parabola, so that each point of the
/// grid costs a handful of products.
class Parabola {
 public:
  Parabola(const CourseData& data, const Eigen::LLT<Eigen::MatrixXd>& factor, double onset) {
    const auto n = data.subsidence.size();
    Eigen::MatrixXd shapes(n, 2);
    for (Eigen::Index i = 0; i < n; ++i) {
      const double day = data.days[static_cast<std::size_t>(i)];
      shapes(i, 0) = settling(day) - settling(data.reference_day);
      shapes(i, 1) = years_after(day, onset) - years_after(data.reference_day, onset);
    }
    const Eigen::VectorXd y = factor.matrixL().solve(data.subsidence);
    const Eigen::MatrixXd s = factor.matrixL().solve(shapes);
    constant_ = y.squaredNorm();
    slope_ = s.transpose() * y;
    bend_ = s.transpose() * s;
  }
  [[nodiscard]] double chi2(double settle, double rate) const {
    const Eigen::Vector2d p(settle, rate);
    return constant_ - 2.0 * slope_.dot(p) + p.dot(bend_ * p);
  }

 private:
  double constant_ = 0.0;
  Eigen::Vector2d slope_;
  Eigen::Matrix2d bend_;
};

/// Midpoints of equal steps from 0 to `end`, with the exponential prior's mass of each step.
std::vector<std::pair<double, double>> exponential_grid(double mean, double end, int steps) {
  std::vector<std::pair<double, double>> out;
  const double step = end / steps;
  for (int i = 0; i < steps; ++i) {
    const double mass = std::exp(-i * step / mean) - std::exp(-(i + 1) * step / mean);
    out.emplace_back((i + 0.5) * step, mass);
  }
  return out;
}

/// Onsets of a late motion, a month apart, from six months up to the last film.
std::vector<double> late_onsets(double last_day) {
  std::vector<double> out;
  constexpr double kMonth = kDaysPerYear / 12.0;
  for (double day = kEarlyDays; day < last_day && out.size() < 600; day += kMonth) {
    out.push_back(day);
  }
  return out;
}

std::vector<Node> weigh_all(const CourseData& data) {
  const Eigen::LLT<Eigen::MatrixXd> factor(data.covariance);
  assert(factor.info() == Eigen::Success);
  const double u = std::sqrt(data.covariance.diagonal().maxCoeff());
  const double farthest = data.subsidence.cwiseAbs().maxCoeff() + 5.0 * u;
  const double last = *std::max_element(data.days.begin(), data.days.end());
  const double years = std::max(0.25, years_after(last, kSettledDays));
  // Far enough for what was measured and for the bulk of the prior.
  const auto settle =
      exponential_grid(kMeanSettlingMm, std::max(4.0 * kMeanSettlingMm, farthest), 160);
  const auto rates = exponential_grid(kMeanRate, std::max(4.0 * kMeanRate, farthest / years), 120);
  const auto onsets = late_onsets(last);
  std::vector<Node> nodes;
  nodes.reserve(1 + settle.size() * (1 + rates.size()) + onsets.size() * rates.size());
  const auto add = [&](const Parabola& fit, double a, double r, double onset, double prior) {
    const double chi2 = fit.chi2(a, r);
    nodes.push_back({a, r, onset, std::log(prior) - 0.5 * chi2, chi2});
  };
  const Parabola early(data, factor, kSettledDays);
  add(early, 0.0, 0.0, 0.0, 1.0);
  for (const auto& [a, mass] : settle) {
    add(early, a, 0.0, kSettledDays, mass);
    for (const auto& [r, rate_mass] : rates) add(early, a, r, kSettledDays, mass * rate_mass);
  }
  for (const double onset : onsets) {
    const Parabola late(data, factor, onset);
    for (const auto& [r, mass] : rates) {
      add(late, 0.0, r, onset, mass / static_cast<double>(onsets.size()));
    }
  }
  return nodes;
}

/// Weighted quantiles of the course at one day, mm: median and the ends of the 95 % interval.
CourseBand band_at(const std::vector<Node>& nodes, const std::vector<double>& weights, double day,
                   double reference_day) {
  std::vector<std::pair<double, double>> values;
  values.reserve(nodes.size());
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    values.emplace_back(nodes[i].at(day) - nodes[i].at(reference_day), weights[i]);
  }
  std::sort(values.begin(), values.end());
  CourseBand out{static_cast<int>(std::lround(day)), {}, {}, {}};
  double below = 0.0;
  for (const auto& [value, weight] : values) {
    const double next = below + weight;
    if (below < 0.025) out.low = {value};
    if (below < 0.5) out.median = {value};
    if (below < 0.975) out.high = {value};
    below = next;
  }
  return out;
}

}  // namespace

ShapeFit compare_shapes(const CourseData& data) {
  assert(data.subsidence.size() > 0);
  std::vector<Node> nodes = weigh_all(data);
  double best = -std::numeric_limits<double>::infinity();
  for (const Node& node : nodes) best = std::max(best, node.log_weight);
  // What weighs next to nothing only costs time.
  std::erase_if(nodes, [&](const Node& node) { return node.log_weight < best - 25.0; });
  std::vector<double> weights;
  double sum = 0.0;
  for (const Node& node : nodes) sum += weights.emplace_back(std::exp(node.log_weight - best));
  const double last = *std::max_element(data.days.begin(), data.days.end());
  const double early_end = std::min(last, std::max(kEarlyDays, data.reference_day));
  ShapeFit out;
  out.best_chi2 = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    weights[i] /= sum;
    out.best_chi2 = std::min(out.best_chi2, nodes[i].chi2);
    const double early = nodes[i].at(early_end) - nodes[i].at(data.reference_day);
    const double late = nodes[i].at(last) - nodes[i].at(early_end);
    out.early_mm += weights[i] * early;
    out.late_mm += weights[i] * late;
    const bool moved = early > kRelevantMm;
    const bool moves = late > kRelevantMm;
    const Pattern pattern = moves ? (moved ? Pattern::kContinuous : Pattern::kLate)
                                  : (moved ? Pattern::kSettled : Pattern::kStable);
    out.probabilities.at(static_cast<std::size_t>(pattern)) += weights[i];
  }
  constexpr int kSteps = 48;
  for (int i = 0; i <= kSteps; ++i) {
    // Denser at first, where the course bends.
    const double share = std::pow(static_cast<double>(i) / kSteps, 2);
    out.band.push_back(band_at(nodes, weights,
                               data.reference_day + share * (last - data.reference_day),
                               data.reference_day));
  }
  return out;
}

}  // namespace tidemark::assessment
