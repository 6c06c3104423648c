#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/alignment/align.h"
#include "tidemark/core/expected.h"
#include "tidemark/migration/migration.h"

namespace tidemark::migration {

/// How the pose of the femur may differ between two films, as a plain film cannot show it.
/// One standard deviation of the difference between two films.
struct PoseModel {
  /// Flexion, with the shift of the beam's centre counted as flexion (parallax of 30 mm at 1 m is
  /// 1.7 degrees). sqrt(2) times 3 degrees per film and 20 mm of beam shift (docs/design.md).
  Degrees flexion{4.6};
  Degrees rotation{7.0};  ///< sqrt(2) times 5 degrees per film
  /// Lean of the stem in the sagittal plane against the shaft: with rotation it imitates tilt
  /// (docs/design.md, geometry). House choice.
  Degrees sagittal_lean{1.2};
  /// Anteversion of the stem against the film's plane: 10 to 20 degrees are aimed at, less the
  /// inward rotation of the leg (common practice, no source); mean and spread, house choice.
  Degrees anteversion{12.0};
  Degrees anteversion_spread{8.0};
};

/// Where the stem went, as seen on the films.
struct StemMotion {
  alignment::Alignment alignment;  ///< follow_up_from_reference, mm of the hip views
  /// How far the head's centre lies distal of where the alignment puts it, in the axes of the
  /// reference film: what a change of flexion does to a head that lies in front of the stem's axis.
  std::optional<Measured<Millimetres>> head_lead;
};

/// Everything measured on a pair of films. Alignments are follow_up_from_reference in mm of the hip
/// views, the covariances as alignment::align gives them.
struct PairEvidence {
  MeasuredFilm reference;
  MeasuredFilm follow_up;
  StemMotion stem;
  alignment::Alignment bone;
  std::vector<alignment::FeatureVote> votes;
  /// Relative standard uncertainty of the ratio of the two films' scales.
  double scale_ratio_u = 0.0;
  PoseModel pose;
};

/// The stem's motion relative to the bone, with its uncertainty.
///
/// Model of the votes along the shaft: feature i, lying d_i behind the stem, sees
///   y_i = subsidence + phi d_i + e_i,
/// phi the unknown change of flexion (prior: PoseModel, then what the head says: it leads the stem
/// by phi h, h its distance in front of the axis), d_i and h known from anatomy within their own
/// uncertainty. The votes are combined by generalised least squares with the covariance of e, of
/// phi, of the depths, of the angle and of the scale: features that differ in depth correct one
/// another, and what they cannot tell is in u. JCGM 100; Aitken (1935), from memory.
///
/// @return kCannotTell when the evidence does not hang together.
[[nodiscard]] Expected<Migration> derive(const PairEvidence& evidence);

/// Migration from the landmarks of both films alone; shares no code with the registration.
/// Absent when neither trochanter is seen on both films.
[[nodiscard]] std::optional<LandmarkOpinion> opinion_by_landmarks(const MeasuredFilm& reference,
                                                                  const MeasuredFilm& follow_up,
                                                                  const PoseModel& pose);

/// Where a feature lies behind (+) the plane of the stem, mm, with its spread between people.
/// From the proximal femora of 8 people (open CT surfaces, testdata/README.md), measured against
/// the shaft's axis; stem placed on that axis within 3 mm.
struct Depth {
  double mean_mm = 0.0;
  double sd_mm = 6.0;
};
[[nodiscard]] Depth depth_of(const std::string& feature);

/// Change of flexion (rad) between two films: prior PoseModel, updated by the head's lead over the
/// stem. The head lies `head_offset_mm` medial of the axis and, by the stem's anteversion, in front
/// of it. Posterior mean and SD by quadrature over the change; the unknown anteversion is
/// integrated out.
struct FlexionChange {
  double mean_rad = 0.0;
  double sd_rad = 0.0;
};
[[nodiscard]] FlexionChange flexion_change(const PoseModel& pose,
                                           const std::optional<Measured<Millimetres>>& head_lead,
                                           double head_offset_mm);

}  // namespace tidemark::migration
