#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "tidemark/surface/pose.h"

namespace tidemark::surface {

/// A point of the outline to be explained.
struct OutlinePoint {
  Vec2 at;       ///< film mm
  Vec2 outward;  ///< normal, length 1
};

/// What is fitted: outline, head and belief, against a stem.
struct Problem {
  const StemModel& stem;
  const Rim& rim;
  const OutlineOnFilm& film;
  const Belief& belief;
  std::vector<OutlinePoint> points;
  double spacing_mm = 1.0;
};

/// How the outline is weighed in one fit.
struct Weighing {
  double sigma_mm = 0.1;  ///< scatter of a point
  double together = 6.0;  ///< points that err as one: their weight is divided by it
  double reach_mm = 2.0;  ///< how far along a normal the rim is looked for
};

/// An outline point with the rim on its normal.
struct Match {
  std::size_t point;
  double off_mm;        ///< of the rim beyond the point, outward +, less the edge's offset
  UnknownVector slope;  ///< of off_mm
};

[[nodiscard]] StemPose pose_of(const UnknownVector& x);
[[nodiscard]] ConeBeam beam_of(const UnknownVector& x);
/// Whether where on its neck the head sits is asked: the surface shows a neck and no ball.
[[nodiscard]] bool has_free_neck(const StemModel& stem);
/// Where the head's centre lies in the stem.
[[nodiscard]] Vec3 head_of(const StemModel& stem, double neck_mm);

/// Shadow of a point of the stem and its slopes by all unknowns (analytic).
struct ShadowSlopes {
  Vec2 at;
  Eigen::Matrix<double, 2, kUnknowns> slope;
};
[[nodiscard]] ShadowSlopes shadow_slopes(const StemModel& stem, const Vec3& p_in_stem,
                                         const UnknownVector& x);

[[nodiscard]] std::vector<Match> match(const Problem& problem, const UnknownVector& x,
                                       double reach_mm);

/// A minimum.
struct Fit {
  UnknownVector x = UnknownVector::Zero();
  UnknownMatrix information = UnknownMatrix::Zero();
  double cost = 0.0;  ///< half the weighted sum of squares, robust
  double matched = 0.0;
};

/// Levenberg-Marquardt from x.
[[nodiscard]] Fit descend(const Problem& problem, const UnknownVector& x, const Weighing& weighing,
                          int steps);

/// Scatter of the outline about the rim, and over how many points it errs together: 1 + 2 times the
/// sum of the autocorrelation as far as it is positive.
struct Scatter {
  double sigma_mm = 0.0;
  double together = 1.0;
};
[[nodiscard]] Scatter scatter_of(const Problem& problem, const UnknownVector& x, double reach_mm);

}  // namespace tidemark::surface
