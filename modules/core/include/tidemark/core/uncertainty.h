#pragma once

#include <Eigen/Core>
#include <limits>
#include <span>

#include "tidemark/core/expected.h"
#include "tidemark/core/units.h"

namespace tidemark {

// Uncertainty of a measured value after the GUM (JCGM 100:2008).
//
// Assumes that the measurement function is close to linear over the uncertainty of its inputs, and
// that the result is about normal (many inputs, none far above the others). Where that fails, e.g.
// a product of inputs that are both zero, or one dominant rectangular input, use monte_carlo.h.
//
// Standard uncertainties and sensitivities are plain doubles: their units are those of the caller's
// formula, and sensitivity x u has the unit of the result.

/// Degrees of freedom of an uncertainty that is taken as exactly known (GUM G.4.2).
inline constexpr double kInfiniteFreedom = std::numeric_limits<double>::infinity();

/// Half-width of a coverage interval in standard uncertainties: the two-sided quantile of Student's
/// t (GUM G.3; normal for kInfiniteFreedom). Degrees of freedom need not be whole: the quantile is
/// taken as they are, not truncated (both are allowed, GUM G.4.1).
/// Needs degrees_of_freedom > 0 and 0 < coverage < 1; asserts otherwise.
[[nodiscard]] double coverage_factor(double degrees_of_freedom, double coverage = 0.95);

/// {value, u, u95} with u95 = t(0.975, degrees_of_freedom) u.
[[nodiscard]] Measured<double> measured(double value, double u,
                                        double degrees_of_freedom = kInfiniteFreedom);
template <class Unit>
[[nodiscard]] Measured<Quantity<Unit>> measured(Quantity<Unit> value, Quantity<Unit> u,
                                                double degrees_of_freedom = kInfiniteFreedom) {
  return {value, u, coverage_factor(degrees_of_freedom) * u};
}

/// One input's share in the uncertainty of a result.
struct Contribution {
  double sensitivity = 1.0;  ///< d result / d input, may be negative
  double u = 0.0;            ///< standard uncertainty of the input, >= 0
  double degrees_of_freedom = kInfiniteFreedom;
};

/// Combined standard uncertainty and its effective degrees of freedom.
struct Combined {
  double u = 0.0;
  double degrees_of_freedom = kInfiniteFreedom;
};

/// Root sum of squares of sensitivity x u (GUM 5.1.2, independent inputs), and the
/// Welch-Satterthwaite degrees of freedom nu = u^4 / sum (c_i u_i)^4 / nu_i (GUM G.4.1).
/// Nothing to combine gives u = 0 with infinite freedom.
[[nodiscard]] Combined combine(std::span<const Contribution> contributions);

/// Standard uncertainty of one result of correlated inputs, sqrt(c' V c) (GUM 5.2.2).
/// @param sensitivities c, d result / d input
/// @param covariance    V of the inputs, symmetric, no negative eigenvalue
/// @return kBadInput when the sizes do not fit, V is not symmetric, not finite, or c' V c < 0.
[[nodiscard]] Expected<double> combine_correlated(const Eigen::VectorXd& sensitivities,
                                                  const Eigen::MatrixXd& covariance);

/// Covariance of several results of correlated inputs, J V J' (JCGM 102:2011, 6.2).
/// Needs as many columns of the Jacobian as V has rows; asserts otherwise.
[[nodiscard]] Eigen::MatrixXd propagate(const Eigen::MatrixXd& jacobian,
                                        const Eigen::MatrixXd& covariance);

}  // namespace tidemark
