#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <span>
#include <vector>

#include "tidemark/core/expected.h"

namespace tidemark::registry {

// Linear mixed model: y_i = X_i beta + Z_i b_i + e_i + m_i for subject i, with
//   b_i normal, mean 0, covariance G (subjects differ),
//   e_i normal, mean 0, variance s^2 each (what neither model nor measurement explains),
//   m_i normal, mean 0, covariance M_i, known: the measurement's own uncertainty.
// Source: Laird and Ware, Biometrics 38 (1982) 963, doi:10.2307/2529876; known M_i as in
// meta-analysis. Plain doubles: units are those of the caller's design.

/// The observations of one subject.
struct MixedSubject {
  Eigen::VectorXd y;
  Eigen::MatrixXd x;            ///< design of the fixed effects, a row for each observation
  Eigen::MatrixXd z;            ///< design of the random effects
  Eigen::MatrixXd measurement;  ///< M_i; empty stands for zero
};

/// Whether observations scatter beyond their known covariance.
enum class Residual { kEstimated, kNone };

struct MixedModel {
  std::size_t subjects = 0;
  std::size_t observations = 0;
  Eigen::VectorXd effects;             ///< beta
  Eigen::MatrixXd effects_covariance;  ///< (sum X' V^-1 X)^-1; takes G and s as known
  Eigen::MatrixXd random_covariance;   ///< G; a variance may come out as 0
  double residual_sd = 0.0;            ///< s
  double restricted_log_likelihood = 0.0;
  std::vector<Eigen::VectorXd> random_effects;  ///< b_i predicted (BLUP), a subject each
};

/// Fits by restricted maximum likelihood (REML): G = L L' with the lower triangle of L and s sought
/// by bounded optimisation without derivatives (BOBYQA of NLopt; Powell 2009), from several starts.
///
/// @return kBadInput when sizes do not fit or a value is not finite; kCannotTell when there are no
///         more observations than parameters, or the fixed effects cannot be told apart;
///         kNotConverged when no start ends at a maximum.
[[nodiscard]] Expected<MixedModel> fit_mixed_model(std::span<const MixedSubject> subjects,
                                                   Residual residual = Residual::kEstimated);

}  // namespace tidemark::registry
