#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/monte_carlo.h"
#include "tidemark/core/robust.h"

namespace tidemark::irls {

using Points = Eigen::Matrix<double, Eigen::Dynamic, 2>;  ///< one point a row

/// Points moved to their own mean: an origin far away would cost half of the digits.
struct Centred {
  Points points;
  Eigen::RowVector2d mean;
};

/// Absent when a point is not finite.
[[nodiscard]] std::optional<Centred> centred(std::span<const Vec2> points);

/// State of a robust fit after its last step. `sigma` is the standard deviation of one residual
/// under normal errors.
struct Outcome {
  Eigen::VectorXd weights;
  Eigen::VectorXd residuals;
  double sigma = 0.0;
};

/// Standard deviation of a residual: SSR / (n - p) for kSquared; else from the median of the
/// absolute residuals without the p - 1 smallest, because a fit of p parameters brings about as
/// many near zero (DuMouchel and O'Brien 1989, from memory).
[[nodiscard]] double residual_sigma(const Eigen::VectorXd& residuals, int parameters, Loss loss);

/// Covariance of the estimate of a fit whose residuals have the given Jacobian: s^2 (J'J)^-1 with
/// s^2 = SSR / (n - p) for kSquared, else Huber's asymptotic
/// K [sum psi^2 / (n - p)] / [mean psi'] (J' diag(psi') J)^-1, K = 1 + p/n var(psi') / mean(psi')^2
/// (Huber, Robust Statistics, Wiley 1981, section 7.6; from memory). The last factor counts a stray
/// point as no information where it stands.
[[nodiscard]] Eigen::MatrixXd covariance(const Outcome& outcome, const Eigen::MatrixXd& jacobian,
                                         Loss loss);

namespace detail {

/// Repeats weighted fits with one loss until no residual moves by more than 1e-6 sigma. The scale
/// follows the residuals for the first steps and is then held: at a fixed scale each step only
/// descends. Absent when the model finds no minimum or the steps do not settle.
template <class Model>
std::optional<Outcome> repeat(Model& model, Outcome now, int parameters, Loss loss,
                              double smallest_sigma) {
  constexpr int kMaxSteps = 200;
  constexpr int kStepsWithNewScale = 20;
  for (int step = 0; step < kMaxSteps; ++step) {
    if (step < kStepsWithNewScale) {
      now.sigma = std::max(smallest_sigma, residual_sigma(now.residuals, parameters, loss));
    }
    for (Eigen::Index i = 0; i < now.residuals.size(); ++i) {
      now.weights(i) = robust_weight(loss, now.residuals(i) / now.sigma);
    }
    if (!model.solve(now.weights)) return std::nullopt;
    const Eigen::VectorXd residuals = model.residuals();
    const double moved = (residuals - now.residuals).cwiseAbs().maxCoeff();
    now.residuals = residuals;
    if (moved <= 1e-6 * now.sigma) return now;
  }
  return std::nullopt;
}

}  // namespace detail

/// Moves a model to a place that stray points cannot spoil while they are the minority: of 300
/// exact fits through `parameters` points drawn at random (fixed seed), the one whose h-th smallest
/// absolute residual is least, h = n/2 + (p + 1)/2. Source: least median of squares, Rousseeuw, J
/// Am Stat Assoc 79 (1984) 871-880, doi:10.1080/01621459.1984.10477105 (from memory).
///
/// Model: `vector<VectorXd> through(span<const Index>)` gives the states of all exact fits through
/// those points, `VectorXd state` is where it stands.
template <class Model>
void start_by_least_median(Model& model, Eigen::Index n, int parameters) {
  constexpr int kSubsets = 300;
  const auto h = static_cast<std::ptrdiff_t>(n / 2 + (parameters + 1) / 2) - 1;
  Random random(1);
  double least = std::numeric_limits<double>::infinity();
  Eigen::VectorXd best = model.state;
  std::vector<Eigen::Index> subset(static_cast<std::size_t>(parameters));
  for (int k = 0; k < kSubsets; ++k) {
    for (Eigen::Index& index : subset) {
      index = static_cast<Eigen::Index>(random.uniform(0.0, static_cast<double>(n)));
    }
    for (const Eigen::VectorXd& state : model.through(subset)) {
      model.state = state;
      Eigen::VectorXd distances = model.residuals().cwiseAbs();
      std::nth_element(distances.begin(), distances.begin() + h, distances.end());
      if (distances(h) < least) {  // NaN is never less
        least = distances(h);
        best = state;
      }
    }
  }
  model.state = best;
}

/// Fits a model. kSquared: one weighted fit. kHuber: from there, with Huber's weights. kTukey: with
/// the bisquare from where the model stands, which must be near the answer.
///
/// Model: `bool solve(const VectorXd& weights)` moves it to the weighted least-squares minimum near
/// where it stands, `VectorXd residuals()` tells the distances there. `smallest_sigma` > 0 is the
/// rounding error of the residuals.
template <class Model>
std::optional<Outcome> fit(Model& model, Eigen::Index n, int parameters, Loss loss,
                           double smallest_sigma) {
  Outcome now{Eigen::VectorXd::Ones(n), {}, 0.0};
  if (loss != Loss::kTukey && !model.solve(now.weights)) return std::nullopt;
  now.residuals = model.residuals();
  if (loss == Loss::kSquared) {
    now.sigma = std::max(smallest_sigma, residual_sigma(now.residuals, parameters, loss));
    return now;
  }
  return detail::repeat(model, now, parameters, loss, smallest_sigma);
}

/// The fit with what every fit says of its residuals.
template <class Fit>
[[nodiscard]] Fit with_residuals(Fit fit, const Outcome& outcome, int parameters) {
  const auto n = outcome.residuals.size();
  fit.sigma = outcome.sigma;
  fit.rms_residual = outcome.residuals.norm() / std::sqrt(static_cast<double>(n));
  fit.points = static_cast<int>(n);
  fit.degrees_of_freedom = fit.points - parameters;
  fit.weights.assign(outcome.weights.begin(), outcome.weights.end());
  return fit;
}

}  // namespace tidemark::irls
