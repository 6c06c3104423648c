#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/robust.h"

namespace tidemark {

// Fits a circle to edge points by the sum of the orthogonal (not algebraic) distances, so that a
// short arc does not shrink the radius.
//
// Unit: plain doubles in the unit of the points, which may be pixels (edges) or millimetres (bone);
// a fit does not care, and the name of the caller's variable says which (`head_fit_px`).
//
// Assumes independent errors of equal size, across the circle, on all points. Edge points closer to
// each other than the blur are not independent: u is then too small. Thin them first, or see
// lag1_autocorrelation.
//
// Sources: Gander, Golub, Strebel, BIT 34 (1994) 558-578, doi:10.1007/BF01934268 (geometric fit).
// Covariance s^2 (J'J)^-1, s^2 = SSR / (n - p): textbook regression, first order. Robust weights
// and their covariance: robust.h.

/// How a circle is fitted.
struct CircleFitOptions {
  /// kHuber or kTukey when stray points are to be expected.
  Loss loss = Loss::kSquared;
  /// A circle near the answer, in frame and unit of the points, if one is known. With kTukey it
  /// decides which of several circles in the points is found.
  std::optional<Circle2> start = std::nullopt;
  /// Of one minimisation; house choice (the published set takes 10).
  int max_evaluations = 200;
};

/// A fitted circle, in frame and unit of the points.
struct CircleFit {
  Circle2 circle;  ///< radius > 0
  /// Of (centre x, centre y, radius); row and column of a given radius are zero.
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();
  double sigma = 0.0;           ///< standard deviation of one point across the circle
  double rms_residual = 0.0;    ///< root mean square of all orthogonal distances, stray ones too
  int points = 0;               ///< number of points given
  int degrees_of_freedom = 0;   ///< points minus fitted parameters
  std::vector<double> weights;  ///< one for each point: 1 full, 0 ignored as stray

  /// Standard uncertainty of the centre along x, along y, and of the radius.
  [[nodiscard]] Eigen::Vector3d u() const { return covariance.diagonal().cwiseSqrt(); }
};

/// Fits centre and radius.
///
/// @param points four or more, finite, in any one planar frame, in any order. (Three fit exactly
/// and
///               so say nothing of their own error.)
/// @return kBadInput     fewer than four points, or a value that is not finite;
///         kCannotTell   the points lie on a line, or the arc is so short that the radius is no
///                       better known than to its own size;
///         kNotConverged the iteration stopped before the minimum.
[[nodiscard]] Expected<CircleFit> fit_circle(std::span<const Vec2> points,
                                             const CircleFitOptions& options = {});

/// Fits the centre of a circle whose radius is known (a head of known diameter at a known scale).
///
/// @param points three or more, as above.
/// @param radius positive, in the unit of the points, taken as exact.
/// @return as fit_circle; kBadInput also for a radius that is not positive.
[[nodiscard]] Expected<CircleFit> fit_circle_with_radius(std::span<const Vec2> points,
                                                         double radius,
                                                         const CircleFitOptions& options = {});

}  // namespace tidemark
