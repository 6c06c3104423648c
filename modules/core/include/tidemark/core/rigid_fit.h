#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"

namespace tidemark {

// The rotation and shift that best carry points of frame a onto their partners in frame b (weighted
// orthogonal Procrustes in the plane, no scale, no mirror image).
//
// Unit: plain doubles in the unit of the points. A rigid motion between films has a meaning only
// after both were brought to millimetres.
//
// Assumes independent errors, equal in x and y, with variance proportional to 1 / weight (errors of
// both frames together). Then shift at the centroid and angle are uncorrelated to first order:
// var(x) = var(y) = s^2 / sum w and var(angle) = s^2 / sum w |a - centroid|^2.
//
// Sources: Schönemann, Psychometrika 31 (1966) 1-10, doi:10.1007/BF02289451 (from memory); the
// planar closed form angle = atan2(sum w a x b, sum w a . b) and the variances are derived from it.

/// What the weights of a rigid fit stand for.
enum class WeightMeaning {
  kRelative,  ///< only ratios count; s^2 comes from the residuals, 2 n - 3 degrees of freedom
  kInverseVariance,  ///< 1 / u^2 of each point and axis; s = 1, whatever the residuals say
};

/// A fitted rigid motion.
struct RigidFit {
  Rigid2 b_from_a;
  Vec2 centroid_in_a = Vec2::Zero();  ///< weighted; the covariance below holds at this point
  /// Of (x, y, angle in rad): shift of the centroid's image in b, and rotation about it.
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();
  double scale_if_free = 1.0;  ///< the scale a similarity would have taken; 1 when truly rigid
  double rms_residual = 0.0;   ///< root mean square of the distances |b - b_from_a a|, unweighted
  double chi2 = 0.0;           ///< sum of w |b - b_from_a a|^2
  int degrees_of_freedom = 0;  ///< 2 n - 3
  std::vector<Vec2> residuals_in_b;  ///< b - b_from_a a, in order

  /// Standard uncertainties along x and y of where p_in_a lands in b.
  [[nodiscard]] Vec2 u_at(const Vec2& p_in_a) const;
};

/// Fits b_from_a to pairs of points.
///
/// @param p_in_a, p_in_b two or more pairs, in the same order, finite.
/// @param weights one for each pair, finite and positive; empty for equal weights.
/// @return kBadInput   fewer than two pairs, sizes that differ, values that are not finite, a
/// weight
///                     that is not positive;
///         kCannotTell the points of a or of b coincide, or no rotation fits better than
///                     any other.
[[nodiscard]] Expected<RigidFit> fit_rigid(std::span<const Vec2> p_in_a,
                                           std::span<const Vec2> p_in_b,
                                           std::span<const double> weights = {},
                                           WeightMeaning meaning = WeightMeaning::kRelative);

}  // namespace tidemark
