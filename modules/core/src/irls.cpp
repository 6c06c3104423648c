#include "irls.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

namespace tidemark::irls {
namespace {

/// psi and its derivative at a residual in units of sigma.
struct Influence {
  double psi, slope;
};

Influence influence(Loss loss, double r) {
  if (loss == Loss::kHuber) {
    return {std::clamp(r, -kHuberTuning, kHuberTuning), std::abs(r) <= kHuberTuning ? 1.0 : 0.0};
  }
  if (loss == Loss::kTukey) {
    const double t2 = (r / kTukeyTuning) * (r / kTukeyTuning);
    if (t2 >= 1.0) return {0.0, 0.0};
    return {r * (1.0 - t2) * (1.0 - t2), (1.0 - t2) * (1.0 - 5.0 * t2)};
  }
  return {r, 1.0};
}

}  // namespace

std::optional<Centred> centred(std::span<const Vec2> points) {
  Centred out{Points(static_cast<Eigen::Index>(points.size()), 2), {}};
  Eigen::Index row = 0;
  for (const Vec2& point : points) out.points.row(row++) = point.transpose();
  if (!out.points.allFinite()) return std::nullopt;
  out.mean = out.points.colwise().mean();
  out.points.rowwise() -= out.mean;
  return out;
}

double residual_sigma(const Eigen::VectorXd& residuals, int parameters, Loss loss) {
  const auto n = residuals.size();
  if (loss == Loss::kSquared) {
    return std::sqrt(residuals.squaredNorm() / static_cast<double>(n - parameters));
  }
  std::vector<double> distances;
  for (const double r : residuals) distances.push_back(std::abs(r));
  std::sort(distances.begin(), distances.end());
  return kSigmaPerMad *
         median(std::span(distances).subspan(static_cast<std::size_t>(parameters - 1))).value_or(0);
}

Eigen::MatrixXd covariance(const Outcome& outcome, const Eigen::MatrixXd& jacobian, Loss loss) {
  const auto n = static_cast<double>(jacobian.rows());
  const auto p = static_cast<double>(jacobian.cols());
  Eigen::VectorXd slopes(jacobian.rows());
  double psi_squares = 0.0;
  for (Eigen::Index i = 0; i < slopes.size(); ++i) {
    const Influence at = influence(loss, outcome.residuals(i) / outcome.sigma);
    psi_squares += at.psi * at.psi;
    slopes(i) = at.slope;
  }
  const double mean_slope = slopes.mean();
  const double slope_variance = slopes.squaredNorm() / n - mean_slope * mean_slope;
  const double k = 1.0 + p / n * slope_variance / (mean_slope * mean_slope);
  const double variance = k * outcome.sigma * outcome.sigma * psi_squares / (n - p) / mean_slope;
  const Eigen::MatrixXd information = jacobian.transpose() * slopes.asDiagonal() * jacobian;
  return variance * information.inverse();
}

}  // namespace tidemark::irls
