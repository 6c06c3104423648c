#pragma once

#include <span>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/robust.h"

namespace tidemark {

// Fits a straight line by the orthogonal distances (total least squares, the first principal axis),
// so that no direction is preferred.
//
// Unit: plain doubles in the unit of the points, as in circle_fit.h.
//
// Assumes independent errors of equal size in x and y on all points. To first order the direction
// and the offset at the centroid are then uncorrelated, with variances s^2 / S and s^2 / n, where S
// is the sum of squared distances from the centroid along the line and s^2 = SSR / (n - 2)
// (textbook regression in the frame of the line).
// Sources: Pearson, Phil Mag 2 (1901) 559-572, doi:10.1080/14786440109462720 (from memory).

/// How a line is fitted.
struct LineFitOptions {
  Loss loss = Loss::kSquared;  ///< kHuber or kTukey when stray points are to be expected
};

/// A fitted line, in frame and unit of the points.
struct LineFit {
  /// point = (weighted) centroid; direction towards +y (distal), or +x when it is exactly level.
  Line2 line;
  double direction_u_rad = 0.0;  ///< standard uncertainty of the direction
  double offset_u = 0.0;         ///< standard uncertainty across the line, at line.point
  double offset_direction_covariance = 0.0;  ///< of the two, unit x rad; 0 for kSquared
  double sigma = 0.0;                        ///< standard deviation of one point across the line
  double rms_residual = 0.0;  ///< root mean square of all orthogonal distances, stray ones too
  int points = 0;
  int degrees_of_freedom = 0;   ///< points - 2
  std::vector<double> weights;  ///< one for each point: 1 full, 0 ignored as stray

  /// Standard uncertainty across the line at a place `along` from line.point.
  [[nodiscard]] double offset_u_at(double along) const;
};

/// Fits the line.
///
/// @param points three or more, finite, in any order.
/// @return kBadInput     fewer than three points, or a value that is not finite;
///         kCannotTell   the points have no direction: they coincide, or scatter as far across as
///                       along (direction no better known than to 0.3 rad: house choice, about
///                       where the first-order formula ends);
///         kNotConverged the robust iteration did not settle.
[[nodiscard]] Expected<LineFit> fit_line(std::span<const Vec2> points,
                                         const LineFitOptions& options = {});

}  // namespace tidemark
