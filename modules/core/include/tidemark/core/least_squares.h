#pragma once

#include <Eigen/Core>

#include "tidemark/core/expected.h"

namespace tidemark {

// Linear least squares with covariance: y = A x + e.
//
// Solved by Householder QR with column pivoting of the scaled columns, never by the normal
// equations: these would halve the digits. Source: Aitken, Proc R Soc Edinb 55 (1935) 42-48
// (generalised least squares; from memory).

/// Estimate of x with what the data say about it.
struct LinearFit {
  Eigen::VectorXd estimate;
  Eigen::MatrixXd covariance;  ///< of the estimate; see each function for its scale
  Eigen::VectorXd residuals;   ///< y - A estimate
  double chi2 = 0.0;           ///< r' V^-1 r; the plain sum of squares in least_squares
  int degrees_of_freedom = 0;  ///< rows minus columns of A; 0 when they fit exactly
};

/// Ordinary least squares: errors independent, of one unknown size. covariance = s^2 (A'A)^-1 with
/// s^2 = chi2 / degrees_of_freedom.
/// @return kBadInput   sizes that do not fit, values that are not finite, no more rows than columns
///                     (nothing would be left to estimate s from);
///         kCannotTell the columns of A are linearly dependent (to 1e-13 after scaling).
[[nodiscard]] Expected<LinearFit> least_squares(const Eigen::MatrixXd& a, const Eigen::VectorXd& y);

/// Generalised least squares: errors with the known covariance V, e.g. votes of several features
/// that share a pose error. covariance = (A' V^-1 A)^-1, as it is: it does not grow when the votes
/// disagree. Compare chi2 with degrees_of_freedom, and see birge_ratio, before believing it.
/// @return kBadInput   as above (but as many rows as columns are enough), or V is not symmetric and
///                     positive definite;
///         kCannotTell the columns of A are linearly dependent.
[[nodiscard]] Expected<LinearFit> gls(const Eigen::MatrixXd& a, const Eigen::VectorXd& y,
                                      const Eigen::MatrixXd& v);

/// sqrt(chi2 / degrees_of_freedom), about 1 when the stated uncertainties explain the scatter; 1
/// when there is no freedom left. Multiplying u by max(1, birge_ratio) is the usual remedy when
/// they do not. Source: Birge, Phys Rev 40 (1932) 207-227, doi:10.1103/PhysRev.40.207 (from
/// memory).
[[nodiscard]] double birge_ratio(const LinearFit& fit);

}  // namespace tidemark
