#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "tidemark/anatomy/implant.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/units.h"
#include "tidemark/core/usual_pose.h"
#include "tidemark/surface/cone_beam.h"
#include "tidemark/surface/stem_model.h"

namespace tidemark::surface {

/// What is believed before a film is looked at, one standard deviation each. House choices where no
/// source stands.
struct Belief {
  Millimetres source{kSourceToHipMm};  ///< from the tube's focus to the hip
  Millimetres source_u{60.0};
  /// How far from the middle of the picture the beam may be centred; migration::PoseModel.
  Millimetres beam_u{20.0};
  /// Blur, scatter and edge enhancement move an edge by up to 0.3 mm, alike all around a stem
  /// (docs/design.md).
  Millimetres edge_u{0.15};
  /// Of the head's edge, beyond what its circle says of itself. Not bound to the stem's edge: a
  /// ball thins out towards its rim, a stem does not. House choice.
  Millimetres head_edge_u{0.05};
  /// Head's centre from the end of the metal, along the neck: short to extra long heads.
  Millimetres neck_u{10.0};
  /// Of the surface against the metal, and what one constant edge cannot tell: least scatter of the
  /// outline's points about the rim.
  Millimetres outline_u{0.05};
  /// How legs are laid and stems stand in them, for the weight of poses that a film alone does not
  /// tell apart: anteversion as migration::PoseModel has it; one film's flexion and rotation half
  /// as wide again as there, for legs that are laid badly.
  Degrees anteversion{kAnteversionDeg};
  Degrees anteversion_u{kAnteversionSpreadDeg};
  Degrees flexion_u{6.0};
  Degrees rotation_u{9.75};
  View view = View::kAp;  ///< of the films; kPa: anteversion turns the neck away from the tube
  /// Length over which the outline's points err together, at least: they were smoothed, and bone
  /// beside the metal is not the same all along.
  Millimetres together{6.0};
};

/// What one film shows of the stem, all of the hip view.
struct StemOnFilm {
  const anatomy::Implant& implant;  // NOLINT: a view for the length of one call
  Vec2 middle_px = Vec2::Zero();    ///< of the picture, about where the beam is centred
  /// True diameter of the head; its u is common to all films of a hip.
  Measured<Millimetres> head_diameter;
};

/// The unknowns of a film, in the order of PoseMode::covariance. Lengths mm, angles rad.
enum Unknown : int {
  kInPlane,
  kFlexion,
  kVersion,
  kHeadX,
  kHeadY,
  kLogScale,  ///< film mm per mm in the plane of the head's centre
  kEdge,      ///< of the film's outline beyond the metal
  kLogSource,
  kBeamX,
  kBeamY,
  kNeck,      ///< head's centre beyond the end of the metal along the neck; 0 with a ball
  kHeadSize,  ///< logarithm of the head's true diameter over the stated one
  kUnknowns
};
using UnknownVector = Eigen::Matrix<double, kUnknowns, 1>;
using UnknownMatrix = Eigen::Matrix<double, kUnknowns, kUnknowns>;

/// One way to lay the stem that the film allows.
struct PoseMode {
  StemPose pose;
  ConeBeam beam;
  double neck_mm = 0.0;
  double edge_mm = 0.0;
  double head_size_log = 0.0;
  UnknownMatrix covariance = UnknownMatrix::Zero();
  double probability = 0.0;  ///< of this film alone, no pose preferred before it was seen

  /// Against the ray to the head's centre instead of the detector: what the shape of the shadow
  /// tells, and what parallax beside the stem follows. flexion - y / S and version - x / S with
  /// (x, y) = head_off_beam (derived; small angles).
  [[nodiscard]] double seen_flexion_rad() const;
  [[nodiscard]] double seen_version_rad() const;
};

/// How the stem lies on one film.
struct SurfacePose {
  std::vector<PoseMode> modes;  ///< most probable first; probabilities sum to 1
  double scatter_mm = 0.0;      ///< of the outline about the rim, one standard deviation
  double matched = 0.0;         ///< share of the outline that lies on the rim
  /// What all films of a hip share, as it was known before: its standard uncertainty is in every
  /// mode's covariance. 0: it is not asked, or known.
  double neck_u_mm = 0.0;
  double head_size_log_u = 0.0;
};

/// Lays the stem's surface so that its silhouette lies on the outline found on the film.
///
/// Unknown: position and the three angles, scale, a constant offset of the edge, the source, the
/// foot of the perpendicular, where on its neck the head sits. Points of the outline beside head
/// and cup are left out. Each point is compared with the outermost rim on its normal; the rim
/// slides over the surface, but not across its shadow, so that to first order a point of the rim
/// moves as if it were fixed (derived; checked against differences). Levenberg-Marquardt with
/// Tukey's loss from several flexions and versions on both sides of nought, because seen from afar
/// a stem looks the same turned front to back; beside every minimum and its mirror image more are
/// looked for. Each is kept with its likelihood for weight.
///
/// @param stem  of a right hip, or mirrored() for a left one
/// @return kCannotTell when no pose brings the rim onto the outline.
[[nodiscard]] Expected<SurfacePose> find_pose(const StemModel& stem, const StemOnFilm& film,
                                              const Belief& belief = {});

/// The same for an outline that stands for itself.
struct OutlineOnFilm {
  Polyline outline_mm;          ///< from lateral neck round the tip to medial neck
  Vec2 head_mm = Vec2::Zero();  ///< centre of the head's circle
  double head_u_mm = 0.05;
  double head_diameter_log = 0.0;  ///< of the circle over the head's true diameter
  double head_diameter_log_u = 0.002;
  double head_size_log_u = 0.0016;  ///< of the head's true diameter
  double head_radius_mm = 16.0;
  double in_plane_rad = 0.0;  ///< about, to begin with
  Vec2 middle_mm = Vec2::Zero();
};
[[nodiscard]] Expected<SurfacePose> find_pose(const StemModel& stem, const OutlineOnFilm& film,
                                              const Belief& belief = {});

}  // namespace tidemark::surface
