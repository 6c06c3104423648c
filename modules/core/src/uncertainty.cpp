#include "tidemark/core/uncertainty.h"

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cassert>
#include <cmath>

namespace tidemark {

double coverage_factor(double degrees_of_freedom, double coverage) {
  assert(degrees_of_freedom > 0.0 && coverage > 0.0 && coverage < 1.0);
  const double upper = 0.5 * (1.0 + coverage);
  if (std::isinf(degrees_of_freedom)) return quantile(boost::math::normal(), upper);
  return quantile(boost::math::students_t(degrees_of_freedom), upper);
}

Measured<double> measured(double value, double u, double degrees_of_freedom) {
  return {value, u, coverage_factor(degrees_of_freedom) * u};
}

Combined combine(std::span<const Contribution> contributions) {
  double squares = 0.0;
  double fourths_by_freedom = 0.0;
  for (const Contribution& part : contributions) {
    const double square = part.sensitivity * part.sensitivity * part.u * part.u;
    squares += square;
    fourths_by_freedom += square * square / part.degrees_of_freedom;
  }
  const double freedom =
      fourths_by_freedom > 0.0 ? squares * squares / fourths_by_freedom : kInfiniteFreedom;
  return {std::sqrt(squares), freedom};
}

Expected<double> combine_correlated(const Eigen::VectorXd& sensitivities,
                                    const Eigen::MatrixXd& covariance) {
  const auto refuse = [](const char* wrong) {
    return fail(ErrorKind::kBadInput, "uncertainty", wrong, "check the covariance of the inputs");
  };
  if (covariance.rows() != sensitivities.size() || covariance.cols() != sensitivities.size()) {
    return refuse("sensitivities and covariance differ in size");
  }
  if (!covariance.allFinite() || !sensitivities.allFinite()) return refuse("a value is not finite");
  if (!covariance.isApprox(covariance.transpose(), 1e-9)) {
    return refuse("the covariance is not symmetric");
  }
  const double variance = sensitivities.dot(covariance * sensitivities);
  // Rounding may leave a tiny negative number where inputs cancel.
  const double rounding =
      1e-12 * sensitivities.cwiseAbs().dot(covariance.cwiseAbs() * sensitivities.cwiseAbs());
  if (variance < -rounding) return refuse("the covariance has a negative eigenvalue");
  return std::sqrt(std::max(0.0, variance));
}

Eigen::MatrixXd propagate(const Eigen::MatrixXd& jacobian, const Eigen::MatrixXd& covariance) {
  assert(jacobian.cols() == covariance.rows() && covariance.rows() == covariance.cols());
  return jacobian * covariance * jacobian.transpose();
}

}  // namespace tidemark
