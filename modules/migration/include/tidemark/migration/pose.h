#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "tidemark/core/units.h"
#include "tidemark/core/usual_pose.h"
#include "tidemark/migration/measured_film.h"
#include "tidemark/surface/change.h"

namespace tidemark::migration {

/// How the pose of the femur varies, as a plain film cannot show it.
struct PoseModel {
  /// Change of flexion between two films, one standard deviation, where nothing is measured of it;
  /// the shift of the beam's centre counts as flexion (parallax of 30 mm at 1 m is 1.7 degrees).
  /// sqrt(2) times 3 degrees per film and 20 mm of beam shift (docs/design.md).
  Degrees flexion{4.6};
  Degrees rotation{7.0};  ///< the same of rotation: sqrt(2) times 5 degrees per film
  /// Scales of flexion, rotation and abduction of one film when the stem's look is asked
  /// (pose_change). All angles of both films together follow a multivariate Student's t with 4
  /// degrees of freedom: who lays one leg badly lays others badly, in every direction. House
  /// choice.
  Degrees film_flexion{4.0};
  Degrees film_rotation{6.5};
  Degrees film_abduction{2.5};
  /// Lean of the stem in the sagittal plane against the shaft, its tip behind +, and its standard
  /// uncertainty: with rotation it imitates tilt (docs/design.md, geometry). Without a film from
  /// the side none on average, 1.2 degrees from hip to hip. House choice.
  Degrees sagittal_lean{0.0};
  Degrees sagittal_lean_u{1.2};
  /// Anteversion of the stem against the film's plane: 10 to 20 degrees are aimed at, less the
  /// inward rotation of the leg (common practice, no source); mean and spread, house choice.
  Degrees anteversion{kAnteversionDeg};
  Degrees anteversion_spread{kAnteversionSpreadDeg};
  /// From the tube's focus to the hip, and how far along the leg the beam may be centred from the
  /// middle of the picture (scale of Student's t with 4 degrees of freedom): fields are collimated
  /// and cropped.
  Millimetres source{kSourceToHipMm};
  Millimetres beam_shift{kBeamShiftMm};
  /// Of the films. kPa: what lies behind the stem lies towards the tube, so anteversion, lean and
  /// the depths of bony features are taken with the other sign.
  View view = View::kAp;
};

/// What the outline of the stem shows of its pose on one film, in the stem's own axes, mm in the
/// plane of the head's centre.
struct StemLook {
  double head_medial_mm = 0.0;         ///< head's centre off the stem's axis
  double head_from_shoulder_mm = 0.0;  ///< along the axis, distal +
  double shoulder_medial_mm = 0.0;     ///< off the axis; negative
  double length_mm = 0.0;              ///< from shoulder to tip along the axis
  /// Head's centre from the middle of the picture: (medial, distal).
  Vec2 head_from_middle_mm = Vec2::Zero();
};
[[nodiscard]] StemLook stem_look(const MeasuredFilm& film);

/// How far before or behind its axis the shoulder may lie where it is seen, mm: its rim shows the
/// front or the back edge, whichever stands higher. Half the stem's thickness, taken as uniform.
inline constexpr double kShoulderDepth = 4.0 / 1.7320508;

/// How the stem looks on both films. The follow-up's look is the reference's with the changes that
/// the stem's alignment saw, which are finer than those of marks.
struct StemLooks {
  StemLook reference;
  StemLook follow_up;
  double turn_rad = 0.0;       ///< of the stem between the films, in their plane
  double shoulder_u_mm = 0.0;  ///< of the shoulder's level, which lead and length share
  double tips_u_mm = 0.0;      ///< of the change of the tip's level
  double heads_u_mm = 0.0;     ///< of the change of the head's centre, along and across alike
  /// Relative, of the ratio of the films' scales: everything the follow-up shows is longer or
  /// shorter by it together.
  double scale_ratio_u = 0.0;
};

/// One pose of both films that is possible, and its probability. Against the stem's reference
/// point, in the axes of the stem's shadow, a point of the bone d mm farther from the tube (behind
/// the stem, but before it on PA films), x mm medial and l mm distal of it goes on the film by
///   -(flexion d + turned x + bent (l^2 - d^2) + twisted x l) + stretch l   along the shaft,
///   -(rolled d + bent x l + twisted (x^2 - d^2)) + narrowed x              medially.
/// Each is the difference of what the two films do to the coordinates by a cone beam, to the first
/// order of 1/S, S from the focus to the head, f positive with the knee towards the tube here, r
/// inwards, (X, Y) the reference point (medial, distal) of the beam's axis, m = 1 + t/S its
/// magnification, t towards the tube from the head (derived, docs/migration.md).
struct PoseDraw {
  double flexion = 0.0;   ///< reference less follow-up: cos r (m sin f - Y/S cos f)
  double turned = 0.0;    ///< reference less follow-up: sin r (m sin f - Y/S cos f) + X/S sin f
  double stretch = 0.0;   ///< apparent length along the shaft, follow-up over reference, less 1
  double rolled = 0.0;    ///< follow-up less reference: m sin r + X/S cos r cos f
  double narrowed = 0.0;  ///< follow-up less reference: m cos r - X/S sin r
  double bent = 0.0;      ///< 1/mm, reference less follow-up: sin f cos f / S
  double twisted = 0.0;   ///< 1/mm, follow-up less reference: sin r / S
  double probability = 0.0;
};

/// (flexion, turned, stretch, rolled, narrowed, bent, twisted)
using PoseVector = Eigen::Matrix<double, 7, 1>;
using PoseMatrix = Eigen::Matrix<double, 7, 7>;

/// Change of pose from the reference film to the follow-up, as far as it matters.
struct PoseChange {
  std::vector<PoseDraw> draws;  ///< probabilities sum to 1
  /// Covariance of each draw's PoseVector about it: the draws are few.
  PoseMatrix about_draw = PoseMatrix::Zero();
  double flexion_rms_rad = 0.0;   ///< root of the expected square of the change of flexion
  double rotation_rms_rad = 0.0;  ///< the same of rotation
};

/// The angles of a draw as a vector.
[[nodiscard]] PoseVector vector_of(const PoseDraw& draw);

/// Nothing measured: one draw, no change, with the model's flexion and rotation about it and
/// nothing of the rest.
[[nodiscard]] PoseChange pose_change(const PoseModel& model);

/// Posterior of the change of pose, given how the stem looks on both films. Each pose of both legs
/// that the model allows is laid under a cone beam (stem_in_beam.h), the stem's own sizes follow
/// from the reference film, and its look on the follow-up film is compared with the one seen:
///
///   head off the axis      about o cos(A - r)        tells rotation r
///   head over the shoulder about o sin(A - r) sin f  tells flexion f
///   length                 about cos f + y sin f / S tells flexion (tip y off the beam, source S)
///
/// o the head's offset, A the stem's anteversion; the scale is that of the head, which rotation
/// brings before or behind the stem. (Derived; a stem is rigid, the head lies in the plane of its
/// neck.) A wrong ratio of the scales looks like flexion (1.3 % of 130 mm are 1.7 mm) and is asked
/// along with the pose. By importance sampling from the prior at the points of a Halton sequence
/// (Numer Math 2 (1960) 84, from memory), so that the same films give the same bits. Where too few
/// points carry the weight, the evidence is tempered until enough do: the answer is then wider,
/// never narrower.
[[nodiscard]] PoseChange pose_change(const PoseModel& model, const StemLooks& looks);

/// The same, given what the stem's surface says instead of the looks, which are of the same
/// outline: draws from its modes, weighed by how usual the legs' angles then are. Beams and
/// anteversion, which it does not tell, are drawn from the model.
[[nodiscard]] PoseChange pose_change(const PoseModel& model, const StemLooks& looks,
                                     const surface::PoseChangeBySurface& by_surface);

}  // namespace tidemark::migration
