#pragma once

#include <Eigen/Core>
#include <optional>

#include "tidemark/core/units.h"
#include "tidemark/migration/migration.h"

namespace tidemark::migration {

/// How the pose of the femur varies, as a plain film cannot show it.
struct PoseModel {
  /// Change of flexion between two films, one standard deviation, where nothing is measured of it;
  /// the shift of the beam's centre counts as flexion (parallax of 30 mm at 1 m is 1.7 degrees).
  /// sqrt(2) times 3 degrees per film and 20 mm of beam shift (docs/design.md).
  Degrees flexion{4.6};
  Degrees rotation{7.0};  ///< the same of rotation: sqrt(2) times 5 degrees per film
  /// Scale of Student's t with 4 degrees of freedom that flexion and rotation of one film follow
  /// when the stem's look is asked (pose_change). House choice: most legs lie straight, one in a
  /// hundred by 15 and 24 degrees not.
  Degrees film_flexion{4.0};
  Degrees film_rotation{6.5};
  /// Lean of the stem in the sagittal plane against the shaft: with rotation it imitates tilt
  /// (docs/design.md, geometry). House choice.
  Degrees sagittal_lean{1.2};
  /// Anteversion of the stem against the film's plane: 10 to 20 degrees are aimed at, less the
  /// inward rotation of the leg (common practice, no source); mean and spread, house choice.
  Degrees anteversion{12.0};
  Degrees anteversion_spread{8.0};
  /// Angle under which the beam meets the stem's length, added to flexion: the stem's middle lies
  /// 60 to 120 mm distal of where the beam is centred, about 1 m from the tube (3.4 to 6.8 degrees,
  /// derived); the spread holds the stem's own lean.
  Degrees view{5.0};
  Degrees view_spread{3.0};
};

/// What the outline of the stem shows of its pose on one film, in the stem's own axes there.
struct StemLook {
  double head_medial_mm = 0.0;         ///< head's centre off the stem's axis
  double head_from_shoulder_mm = 0.0;  ///< along the axis, distal +
  double length_mm = 0.0;              ///< from shoulder to tip along the axis
  double length_u_mm = 0.0;
};
[[nodiscard]] StemLook stem_look(const MeasuredFilm& film);

/// Change of pose from the reference film to the follow-up, as far as it matters to a point of the
/// bone d mm behind the stem, x mm medial and l mm distal of its reference point: on the film it
/// goes by -(flexion d + turned x) + stretch l along the shaft, against the stem's reference point.
struct PoseChange {
  double flexion_rad = 0.0;  ///< cos r' sin f' - cos r sin f
  double turned_rad = 0.0;   ///< sin r' sin f' - sin r sin f: rotation brings x into depth
  double stretch = 0.0;      ///< apparent length along the shaft, follow-up over reference, less 1
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();  ///< of the three above, in that order
  double rotation_rms_rad = 0.0;  ///< root of the expected square of the change of rotation

  /// Root of the expected square of the change of flexion.
  [[nodiscard]] double flexion_rms_rad() const;
};

/// Nothing measured: mean 0, the model's flexion, nothing of the rest.
[[nodiscard]] PoseChange pose_change(const PoseModel& model);

/// Posterior of the change of pose, given how the stem looks on both films:
///
///   head off the axis      o cos(A - r)                    tells rotation r
///   head over the shoulder o sin(A - r) sin f + ...         tells flexion f (head_lead)
///   length                 proportional to cos(f + view)    tells flexion
///
/// o the head's offset, A the stem's anteversion. (Derived; a stem is rigid, the head lies in the
/// plane of its neck.) Moments by importance sampling from the prior at the points of a Halton
/// sequence (Numer Math 2 (1960) 84, from memory), so that the same films give the same bits. Where
/// too few points carry the weight, the evidence is tempered until enough do: the answer is then
/// wider, never narrower.
/// @param head_lead  see StemMotion
[[nodiscard]] PoseChange pose_change(const PoseModel& model, const StemLook& reference,
                                     const StemLook& follow_up,
                                     const std::optional<Measured<Millimetres>>& head_lead);

}  // namespace tidemark::migration
