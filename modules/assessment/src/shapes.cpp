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
constexpr double kMeanRate = 1.2;                 // mm/year
constexpr double kMeanCreepMm = 2.0 * kMeanRate;  // at two years
constexpr double kTauDays = 30.0;
constexpr double kTwoYears = 2.0 * kDaysPerYear;
/// What weighs less than the best node by this factor (as a logarithm) only costs time.
constexpr double kNegligible = 15.0;

double settling(double day) { return day > 0.0 ? 1.0 - std::exp(-day / kTauDays) : 0.0; }
double years_after(double day, double onset) { return std::max(0.0, day - onset) / kDaysPerYear; }

/// What a course does besides settling.
enum class Form { kRate, kCreep, kStep };

/// The second part of a course for an amplitude of 1: mm/year from the onset on, mm at two years,
/// or mm at the onset.
double second_part(Form form, double onset, double day) {
  if (form == Form::kRate) return years_after(day, onset);
  if (form == Form::kCreep) return std::sqrt(std::max(0.0, day) / kTwoYears);
  return day > onset ? 1.0 : 0.0;
}

/// A course with its weight, not yet normalised: the logarithm of prior times likelihood.
struct Node {
  double settle_mm = 0.0;
  double amplitude = 0.0;  ///< of the second part
  Form form = Form::kRate;
  double onset = 0.0;  ///< day
  double log_weight = 0.0;
  double chi2 = 0.0;

  /// Subsidence at a day, mm.
  [[nodiscard]] double at(double day) const {
    return settle_mm * settling(day) + amplitude * second_part(form, onset, day);
  }
};

/// chi2 as a function of settling and amplitude for one form and onset: a parabola, so that each
/// point of the grid costs a handful of products.
class Parabola {
 public:
  Parabola(const CourseData& data, const Eigen::LLT<Eigen::MatrixXd>& factor, Form form,
           double onset) {
    const auto n = data.subsidence.size();
    Eigen::MatrixXd shapes(n, 2);
    const double second = second_part(form, onset, data.reference_day);
    for (Eigen::Index i = 0; i < n; ++i) {
      const double day = data.days[static_cast<std::size_t>(i)];
      shapes(i, 0) = settling(day) - settling(data.reference_day);
      shapes(i, 1) = second_part(form, onset, day) - second;
    }
    const Eigen::VectorXd y = factor.matrixL().solve(data.subsidence);
    const Eigen::MatrixXd s = factor.matrixL().solve(shapes);
    constant_ = y.squaredNorm();
    slope_ = s.transpose() * y;
    bend_ = s.transpose() * s;
  }
  [[nodiscard]] double chi2(double settle, double amplitude) const {
    const Eigen::Vector2d p(settle, amplitude);
    return constant_ - 2.0 * slope_.dot(p) + p.dot(bend_ * p);
  }

 private:
  double constant_ = 0.0;
  Eigen::Vector2d slope_;
  Eigen::Matrix2d bend_;
};

/// A value with the logarithm of its prior mass.
struct Step {
  double value = 0.0;
  double log_mass = 0.0;
};
using Grid = std::vector<Step>;

/// Midpoints of equal steps from 0 to `end`, with the exponential prior's mass of each step.
Grid exponential_grid(double mean, double end, int steps) {
  Grid out;
  const double step = end / steps;
  for (int i = 0; i < steps; ++i) {
    const double mass = std::exp(-i * step / mean) - std::exp(-(i + 1) * step / mean);
    out.push_back({(i + 0.5) * step, std::log(mass)});
  }
  return out;
}

/// Days from six months up to the last film, evenly, about a month apart but at most `most`.
std::vector<double> late_onsets(double last_day, int most) {
  std::vector<double> out;
  const double span = last_day - kEarlyDays;
  if (span <= 0.0) return out;
  const int steps = std::clamp(static_cast<int>(span / (kDaysPerYear / 12.0)) + 1, 1, most);
  for (int i = 0; i < steps; ++i) out.push_back(kEarlyDays + span * i / steps);
  return out;
}

/// All courses with their weights.
class Courses {
 public:
  explicit Courses(const CourseData& data) : data_(data), factor_(data.covariance) {
    assert(factor_.info() == Eigen::Success);
    const double u = std::sqrt(data.covariance.diagonal().maxCoeff());
    const double last = *std::max_element(data.days.begin(), data.days.end());
    // Far enough for what was measured and for the bulk of the priors.
    farthest_ = data.subsidence.cwiseAbs().maxCoeff() + 5.0 * u;
    years_ = std::max(0.25, years_after(last, kSettledDays));
    weigh_all(last);
  }
  std::vector<Node> nodes;

 private:
  [[nodiscard]] Grid settlings(int steps) const {
    return exponential_grid(kMeanSettlingMm, std::max(4.0 * kMeanSettlingMm, farthest_), steps);
  }
  [[nodiscard]] Grid rates(int steps) const {
    return exponential_grid(kMeanRate, std::max(4.0 * kMeanRate, farthest_ / years_), steps);
  }

  void add(Form form, double onset, const Grid& settle, const Grid& amplitude, double prior) {
    const Parabola fit(data_, factor_, form, onset);
    const double log_prior = std::log(prior);
    for (const Step& a : settle) {
      for (const Step& b : amplitude) {
        const double chi2 = fit.chi2(a.value, b.value);
        const double log_weight = log_prior + a.log_mass + b.log_mass - 0.5 * chi2;
        best_ = std::max(best_, log_weight);
        if (log_weight < best_ - kNegligible) continue;
        nodes.push_back({a.value, b.value, form, onset, log_weight, chi2});
      }
    }
  }

  void weigh_all(double last) {
    const Grid none{{0.0, 0.0}};
    add(Form::kRate, kSettledDays, none, none, 1.0);
    add(Form::kRate, kSettledDays, settlings(160), none, 1.0);
    add(Form::kRate, kSettledDays, settlings(96), rates(80), 1.0 / 2.0);
    const double creep_end = std::max(4.0 * kMeanCreepMm, 2.0 * farthest_);
    add(Form::kCreep, 0.0, none, exponential_grid(kMeanCreepMm, creep_end, 160), 1.0 / 2.0);
    const auto onsets = late_onsets(last, 60);
    for (const double onset : onsets) {
      add(Form::kRate, onset, none, rates(120), 1.0 / 3.0 / static_cast<double>(onsets.size()));
    }
    const auto coarse = late_onsets(last, 16);
    const double share = 1.0 / 3.0 / static_cast<double>(coarse.size());
    for (const double onset : coarse) {
      add(Form::kRate, onset, settlings(64), rates(48), share);
      add(Form::kStep, onset, settlings(64), settlings(64), share);
    }
  }

  const CourseData& data_;  // NOLINT: a view for the length of one call
  Eigen::LLT<Eigen::MatrixXd> factor_;
  double farthest_ = 0.0;
  double years_ = 0.0;
  double best_ = -std::numeric_limits<double>::infinity();
};

/// Weighted quantiles of the course at one day, mm: median and the ends of the 95 % interval, by a
/// histogram, whose bins are a thousandth of the range of all courses.
CourseBand band_at(const std::vector<Node>& nodes, const std::vector<double>& weights, double day,
                   double reference_day) {
  constexpr std::size_t kBins = 1000;
  std::vector<double> values;
  values.reserve(nodes.size());
  for (const Node& node : nodes) values.push_back(node.at(day) - node.at(reference_day));
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  const double start = *low;
  const double width = (*high - start) / kBins;
  CourseBand out{static_cast<int>(std::lround(day)), {start}, {start}, {start}};
  if (!(width > 0.0)) return out;
  std::array<double, kBins> mass{};
  for (std::size_t i = 0; i < values.size(); ++i) {
    mass.at(std::min(kBins - 1, static_cast<std::size_t>((values[i] - start) / width))) +=
        weights[i];
  }
  double below = 0.0;
  for (std::size_t i = 0; i < kBins; ++i) {
    const double value = start + (static_cast<double>(i) + 0.5) * width;
    if (below < 0.025) out.low = {value};
    if (below < 0.5) out.median = {value};
    if (below < 0.975) out.high = {value};
    below += mass.at(i);
  }
  return out;
}

}  // namespace

ShapeFit compare_shapes(const CourseData& data) {
  assert(data.subsidence.size() > 0);
  std::vector<Node> nodes = Courses(data).nodes;
  double best = -std::numeric_limits<double>::infinity();
  for (const Node& node : nodes) best = std::max(best, node.log_weight);
  std::erase_if(nodes, [&](const Node& node) { return node.log_weight < best - kNegligible; });
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
