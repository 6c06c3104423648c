#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/alignment/align.h"
#include "tidemark/core/expected.h"
#include "tidemark/migration/depths.h"
#include "tidemark/migration/migration.h"
#include "tidemark/migration/pose.h"

namespace tidemark::migration {

/// How far an opinion on the subsidence is to be trusted beyond what it says of itself. House
/// choices, from what goes wrong on simulated films at all, not from how often in a given set.
struct Trust {
  double floor_mm = 0.15;  ///< of every registered feature: what its covariance cannot see
  double wild = 0.1;       ///< share of registered features that lie in a wrong position
  double wild_mm = 3.0;    ///< and how far (the search reaches 3 mm)
  double slid = 0.03;      ///< share of bone alignments that slid as a whole
  double slid_mm = 5.0;
  double landmark_floor_mm = 1.0;  ///< the trochanters' outlines change as the leg turns
  double landmark_wild = 0.15;     ///< share of landmarks that are something else
  double landmark_wild_mm = 8.0;
  /// How far the stem may lie before or behind the shaft's axis, from which depths are counted: it
  /// shifts all depths alike. A lean of 1 to 2 degrees over the 100 mm to the middle of the stem,
  /// and the room that a canal leaves (derived, house choice).
  double stem_depth_mm = 4.0;
  /// How much deeper or less deep a feature may register across the shaft, as the leg rotates, than
  /// along it, as the leg is flexed: round borders slide on other radii. House choice.
  double depths_apart_mm = 5.0;
  /// How far a stem goes medially at its reference point (standard deviation): it is held between
  /// cortices. In a share `medial_far` of hips `medial_far_mm`. What is read across beyond it is
  /// rotation times depth, and tells how far the stem lies before or behind the shaft's axis. House
  /// choices.
  double medial_mm = 0.8;
  double medial_far = 0.1;
  double medial_far_mm = 3.0;
  double across_floor_mm = 0.2;  ///< of a feature read across: what its covariance cannot see
  double shoulder_depth_mm = kShoulderDepth;  ///< the stem is held by its shoulder
  /// Radius of the bone's surface front to back: as the leg turns by t, its outline slides along
  /// the surface, by r t^2 / 2 along the shaft (derived for a round bone).
  double radius_mm = 15.0;
  /// Above this u95 the answer is flagged: no threshold in use (1.2 to 3 mm, docs/design.md) can be
  /// told then, only a motion well beyond it.
  double wide_u95_mm = 3.0;
  /// And above this none is given. House choice: 8 mm of subsidence could still be told from 3.
  double widest_u95_mm = 5.0;
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
  /// Relative standard uncertainty of what the scales of both films share, e.g. of the head's true
  /// size: a motion is longer or shorter by it. 0 when lengths are told in pixels.
  double shared_scale_u = 0.0;
  PoseModel pose;
  Trust trust;
  /// What a film from the side (depths_of_hip) and other pairs of this hip (with_others) told of
  /// its depths; absent: depths_of_people.
  std::optional<Depths> depths = std::nullopt;
  /// What pose_change() said of this pair before; absent: it is asked.
  std::optional<PoseChange> pose_change = std::nullopt;
};

/// The stem's motion relative to the bone, with its uncertainty.
///
/// Model of the votes along the shaft: feature i, lying d_i behind the stem, x_i medial and l_i
/// distal of its reference point, sees
///   y_i = subsidence + flexion d_i + turned x_i - stretch l_i + bent (l_i^2 - d_i^2)
///         + twisted x_i l_i + e_i,
/// the change of pose (PoseDraw) known as far as the stem's look tells it (pose_change), d_i from
/// anatomy within its spread. The votes, and the trochanters as marked with a small weight, are
/// combined by generalised least squares with the covariance of e, depths, angle and scale, for
/// every pose that the stem's look leaves possible and every story of which votes are wild (Trust),
/// each weighed by how well it explains the votes. JCGM 100; Aitken (1935), from memory.
///
/// @return kCannotTell when the evidence does not hang together, or says too little.
[[nodiscard]] Expected<Migration> derive(const PairEvidence& evidence);

/// Joint standard uncertainty of the directions of both films' shaft axes; 0 for one not seen.
[[nodiscard]] Degrees axes_apart_u(const MeasuredFilm& reference, const MeasuredFilm& follow_up);

/// Change of the angle between stem and shaft by the axes found on each film. u holds what rotation
/// makes of the stem's lean. Absent when a film does not show its shaft's axis.
[[nodiscard]] std::optional<Measured<Degrees>> tilt_by_axes(const MeasuredFilm& reference,
                                                            const MeasuredFilm& follow_up,
                                                            const PoseModel& pose);

/// Migration from the landmarks of both films alone; shares no code with the registration.
/// @param scale_ratio_u  relative standard uncertainty of the ratio of the two films' scales
/// Absent when neither trochanter is seen on both films.
[[nodiscard]] std::optional<LandmarkOpinion> opinion_by_landmarks(const MeasuredFilm& reference,
                                                                  const MeasuredFilm& follow_up,
                                                                  const PoseModel& pose,
                                                                  double scale_ratio_u = 0.0);

}  // namespace tidemark::migration
