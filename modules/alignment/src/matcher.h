#pragma once

#include <Eigen/Core>
#include <array>
#include <memory>
#include <optional>

#include "level.h"
#include "tidemark/alignment/align.h"

namespace tidemark::alignment {

/// A small motion in the fixed film before `base` takes it to the moving film:
/// p_moving = base(R(angle) (p_fixed - centre) + centre + shift).
struct Motion {
  double angle_rad = 0.0;
  Vec2 shift_mm = Vec2::Zero();

  [[nodiscard]] Rigid2 about(const Vec2& centre_mm) const;
};

/// Pixels around a region that the splines need.
inline constexpr int kPadPixels = 6;

/// A rectangle in a film's mm frame.
struct BoxMm {
  Vec2 low = Vec2::Zero();
  Vec2 high = Vec2::Zero();

  [[nodiscard]] BoxMm grown(double margin) const;
};

/// A region on the grid of one level.
struct LevelRegion {
  FloatImage::Pointer weights;    ///< region times usable; holds box_px and a rim about it only
  std::array<long, 4> box_px{};   ///< columns from, to; rows from, to (inclusive) with weight
  double total = 0.0;             ///< sum of the weights
  double wanted = 0.0;            ///< sum of the region before usable
  Vec2 centre_mm = Vec2::Zero();  ///< weighted centre
  double radius_mm = 0.0;         ///< root mean square distance from the centre
};

/// @return nothing when no usable pixel has weight.
[[nodiscard]] std::optional<LevelRegion> region_on(const Level& level, const Raster& region);
[[nodiscard]] BoxMm box_of(const LevelRegion& region);

/// Quality of one motion.
struct Match {
  Motion motion;
  double agreement = 0.0;
  double overlap = 0.0;
  int votes = 0;
};

/// How far a slide goes: until the slope per mm is below this (curvatures are of order 0.1 to 1 per
/// mm^2). kNear is for places from which another slide goes on.
enum class Exactness { kNear, kExact };

/// What may move.
enum class Freedom { kShift, kRigid };

/// The measure of one region on one level, ready to be asked many times. ITK lives behind it.
class Matcher {
 public:
  struct Frame {
    Rigid2 base;       ///< moving_from_fixed, mm
    Vec2 centre_mm;    ///< of the motion, in the fixed film
    double radius_mm;  ///< makes angles and shifts comparable
    double reach_mm;   ///< how far a motion may carry a point beyond `base`
  };
  Matcher(const Level& fixed, const LevelRegion& region, const Level& moving, const Frame& frame,
          Freedom freedom, const AlignOptions& options);
  ~Matcher();
  Matcher(const Matcher&) = delete;
  Matcher& operator=(const Matcher&) = delete;

  [[nodiscard]] std::array<double, 2> noise_floors() const;
  /// Slides from `start` to the minimum nearby with ITK's L-BFGS.
  [[nodiscard]] Match slide(const Motion& start, Exactness exactness);
  /// From now on the points that vote at `motion` vote for ever.
  void freeze(const Motion& motion);

  // Slope, curvature (of the disagreement, 1 - agreement) and covariance of the slope from its
  // scatter between blocks of block_mm; in (x mm, y mm[, angle rad]), 2 or 3 long, as free.
  [[nodiscard]] Match at(const Motion& motion);
  [[nodiscard]] Eigen::VectorXd slope_at(const Motion& motion);
  [[nodiscard]] Eigen::MatrixXd scatter_at(const Motion& motion, double block_mm);
  /// Curvature from slopes half a basin apart: each parameter is stepped by twice its own standard
  /// uncertainty (found by iteration) and at least AlignOptions::curvature_step_mm. Noise makes
  /// ripples, the estimate sits in one of them, and the curvature of a ripple would promise too
  /// much.
  [[nodiscard]] Eigen::MatrixXd curvature_at(const Motion& motion, const Eigen::MatrixXd& scatter);

 private:
  [[nodiscard]] Eigen::MatrixXd curvature_with(const Motion& motion, const Eigen::VectorXd& steps);
  struct Itk;
  std::unique_ptr<Itk> itk_;
};

}  // namespace tidemark::alignment
