#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/alignment/align.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"
#include "tidemark/migration/depths.h"
#include "tidemark/migration/measured_film.h"
#include "tidemark/migration/pose.h"
#include "tidemark/surface/change.h"

namespace tidemark::migration {

/// One row of the uncertainty budget of the headline subsidence.
struct BudgetItem {
  std::string source;
  Millimetres u;
};

/// The vote of one bony feature: subsidence as this feature alone would give it.
struct FeatureSubsidence {
  std::string feature;
  Vec2 position_mm = Vec2::Zero();  ///< in the anatomical frame of the reference film
  Measured<Millimetres> subsidence;
};

/// Migration by landmarks alone (no registration): the second opinion.
struct LandmarkOpinion {
  Measured<Millimetres> subsidence;
  /// Absent when a film does not show its shaft's axis.
  std::optional<Measured<Degrees>> tilt_change;
  std::vector<FeatureSubsidence> features;
};

/// Where the stem went, as seen on the films.
struct StemMotion {
  alignment::Alignment alignment;  ///< follow_up_from_reference, mm of the hip views
  /// How the stem looks on both films; absent: of the pose nothing but the model is known.
  std::optional<StemLooks> looks;
  /// What the stem's surface says of its pose on both films; absent without a surface.
  std::optional<surface::PoseChangeBySurface> by_surface = std::nullopt;
};

/// What the registrations of a pair of films gave: alignments are follow_up_from_reference in mm of
/// the hip views, the covariances as alignment::align gives them.
struct PairMeasured {
  StemMotion stem;
  alignment::Alignment bone;
  std::vector<alignment::FeatureVote> votes;
  /// Relative standard uncertainty of the ratio of the two films' scales.
  double scale_ratio_u = 0.0;
  PoseChange pose;  ///< what the stem's look tells of the change of pose
};

/// Motion of the stem relative to the bone between two films, in the anatomical frame of the
/// reference film: distal +, medial +, varus +.
struct Migration {
  Measured<Millimetres> subsidence;  ///< at the stem's reference point
  Measured<Millimetres> subsidence_at_head_centre;
  Measured<Millimetres> subsidence_at_shoulder;
  /// Absent where the reference film ends above the tip.
  std::optional<Measured<Millimetres>> subsidence_at_tip;
  Measured<Millimetres> medial;  ///< at the stem's reference point
  Measured<Degrees> tilt_change;
  /// Change of the stem's pose out of the film's plane, by its surface; absent without one. Of the
  /// leg too, as far as the stem has not turned in it.
  std::optional<Measured<Degrees>> flexion_change;   ///< knee towards the tube +
  std::optional<Measured<Degrees>> rotation_change;  ///< internal +
  std::vector<BudgetItem> budget;
  std::vector<FeatureSubsidence> features;
  std::optional<LandmarkOpinion> by_landmarks;
  std::optional<Depths> depths;             ///< of the features, after this pair
  std::optional<PairMeasured> measured;     ///< what this was derived from
  Rigid2 follow_up_from_reference_bone_mm;  ///< film mm frames (hip view), for overlays
  Rigid2 follow_up_from_reference_stem_mm;
  std::vector<Flag> flags;
};

}  // namespace tidemark::migration
