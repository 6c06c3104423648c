#pragma once

#include <Eigen/Core>
#include <vector>

#include "tidemark/core/units.h"
#include "tidemark/surface/pose.h"

namespace tidemark::surface {

/// The angles of both films that the surface tells, rad, each against the ray to the head's centre
/// (PoseMode::seen_flexion_rad): flexion and version on the reference film, then on the follow-up.
using SeenAngles = Eigen::Vector4d;

/// One possibility: a mode of the reference film with one of the follow-up film.
struct SeenMode {
  SeenAngles mean = SeenAngles::Zero();
  Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero();
  double probability = 0.0;  ///< no pose preferred before
};

/// How the stem lies otherwise on the follow-up film than on the reference film.
struct PoseChangeBySurface {
  std::vector<SeenMode> modes;  ///< probabilities sum to 1; proportional to the likelihood
  /// Of the leg against the detector, where the stem has not turned in it: knee towards the tube +.
  /// Holds what is unknown of the beams; modes weighed by how usual they are (Belief).
  Measured<Degrees> flexion;
  /// Internal +: the neck turns away from the tube, on PA films (Belief::view) towards it.
  Measured<Degrees> rotation;
};

/// Both films together: head and neck are the same on both, and what is unknown of them is asked
/// once, as is what was known of them before. Source and beam of each film are its own.
[[nodiscard]] PoseChangeBySurface pose_change(const SurfacePose& reference,
                                              const SurfacePose& follow_up,
                                              const Belief& belief = {});

}  // namespace tidemark::surface
