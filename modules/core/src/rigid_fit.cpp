#include "tidemark/core/rigid_fit.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>

namespace tidemark {
namespace {

tl::unexpected<Error> refuse(ErrorKind kind, std::string wrong, std::string remedy) {
  return fail(kind, "rigid fit", std::move(wrong), std::move(remedy));
}

bool all_finite(std::span<const Vec2> points) {
  return std::all_of(points.begin(), points.end(), [](const Vec2& p) { return p.allFinite(); });
}

/// Weighted sums over pairs, about the centroids.
struct Sums {
  double weight = 0.0;
  Vec2 centroid_a = Vec2::Zero();
  Vec2 centroid_b = Vec2::Zero();
  double squares_a = 0.0;  ///< sum w |a|^2
  double squares_b = 0.0;
  double dots = 0.0;     ///< sum w a . b
  double crosses = 0.0;  ///< sum w a x b
};

Sums sum_up(std::span<const Vec2> p_in_a, std::span<const Vec2> p_in_b, std::span<const double> w) {
  Sums s;
  for (std::size_t i = 0; i < p_in_a.size(); ++i) {
    s.weight += w[i];
    s.centroid_a += w[i] * p_in_a[i];
    s.centroid_b += w[i] * p_in_b[i];
  }
  s.centroid_a /= s.weight;
  s.centroid_b /= s.weight;
  for (std::size_t i = 0; i < p_in_a.size(); ++i) {
    const Vec2 a = p_in_a[i] - s.centroid_a;
    const Vec2 b = p_in_b[i] - s.centroid_b;
    s.squares_a += w[i] * a.squaredNorm();
    s.squares_b += w[i] * b.squaredNorm();
    s.dots += w[i] * a.dot(b);
    s.crosses += w[i] * (a.x() * b.y() - a.y() * b.x());
  }
  return s;
}

/// The weights that count: those given, or 1 each; a refusal where there is nothing to fit.
Expected<std::vector<double>> sound_weights(std::span<const Vec2> p_in_a,
                                            std::span<const Vec2> p_in_b,
                                            std::span<const double> weights) {
  const std::size_t n = p_in_a.size();
  if (n < 2 || p_in_b.size() != n || (!weights.empty() && weights.size() != n)) {
    return refuse(ErrorKind::kBadInput, "needs two or more pairs and one weight for each",
                  "mark the same points on both films");
  }
  std::vector<double> w = weights.empty() ? std::vector<double>(n, 1.0)
                                          : std::vector<double>(weights.begin(), weights.end());
  const bool sound =
      all_finite(p_in_a) && all_finite(p_in_b) &&
      std::all_of(w.begin(), w.end(), [](double one) { return std::isfinite(one) && one > 0.0; });
  if (!sound) {
    return refuse(ErrorKind::kBadInput, "a point is not finite or a weight is not positive",
                  "check the points");
  }
  return w;
}

/// Fills what is left over of each pair under the fit's motion.
void take_residuals(std::span<const Vec2> p_in_a, std::span<const Vec2> p_in_b,
                    const std::vector<double>& w, RigidFit& fit) {
  double squares = 0.0;
  for (std::size_t i = 0; i < p_in_a.size(); ++i) {
    fit.residuals_in_b.emplace_back(p_in_b[i] - fit.b_from_a.apply(p_in_a[i]));
    squares += fit.residuals_in_b.back().squaredNorm();
    fit.chi2 += w[i] * fit.residuals_in_b.back().squaredNorm();
  }
  fit.rms_residual = std::sqrt(squares / static_cast<double>(p_in_a.size()));
}

}  // namespace

Vec2 RigidFit::u_at(const Vec2& p_in_a) const {
  // A small turn moves an arm r by (-r_y, r_x).
  const Vec2 arm = b_from_a.rotation() * (p_in_a - centroid_in_a);
  const Eigen::Matrix<double, 2, 3> j =
      (Eigen::Matrix<double, 2, 3>() << 1.0, 0.0, -arm.y(), 0.0, 1.0, arm.x()).finished();
  return (j * covariance * j.transpose()).diagonal().cwiseSqrt();
}

Expected<RigidFit> fit_rigid(std::span<const Vec2> p_in_a, std::span<const Vec2> p_in_b,
                             std::span<const double> weights, WeightMeaning meaning) {
  const auto w = sound_weights(p_in_a, p_in_b, weights);
  if (!w) return tl::unexpected(w.error());
  const Sums s = sum_up(p_in_a, p_in_b, *w);
  // Lengths below 1e-12 of the distance from the origin are rounding, not geometry.
  const double rounding =
      1e-24 * s.weight * (s.centroid_a.squaredNorm() + s.centroid_b.squaredNorm());
  const double strength = std::hypot(s.dots, s.crosses);
  if (s.squares_a <= rounding || s.squares_b <= rounding ||
      strength <= 1e-9 * std::sqrt(s.squares_a * s.squares_b)) {
    return refuse(ErrorKind::kCannotTell, "the points show no rotation (they coincide or disagree)",
                  "mark points that lie apart");
  }

  RigidFit fit;
  fit.b_from_a.angle_rad = std::atan2(s.crosses, s.dots);
  fit.b_from_a.translation = s.centroid_b - fit.b_from_a.rotation() * s.centroid_a;
  fit.centroid_in_a = s.centroid_a;
  fit.scale_if_free = strength / s.squares_a;
  fit.degrees_of_freedom = static_cast<int>(2 * p_in_a.size()) - 3;
  take_residuals(p_in_a, p_in_b, *w, fit);
  const double variance =
      meaning == WeightMeaning::kRelative ? fit.chi2 / fit.degrees_of_freedom : 1.0;
  fit.covariance.diagonal() << variance / s.weight, variance / s.weight, variance / s.squares_a;
  return fit;
}

}  // namespace tidemark
