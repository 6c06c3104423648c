#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/alignment/align.h"
#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/units.h"

namespace tidemark::migration {

/// One film with everything found on it and its scale.
struct MeasuredFilm {
  const anatomy::Implant& implant;  // NOLINT: a view for the length of one call
  const anatomy::Femur& femur;
  Measured<MillimetresPerPixel> scale;
  /// Middle of the picture, about where the beam is centred; absent: that is not known.
  std::optional<Vec2> middle_px = std::nullopt;
};

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
  Measured<Degrees> tilt_change;
  std::vector<FeatureSubsidence> features;
};

/// Motion of the stem relative to the bone between two films, in the anatomical frame of the
/// reference film: distal +, medial +, varus +.
struct Migration {
  Measured<Millimetres> subsidence;  ///< at the stem's reference point
  Measured<Millimetres> subsidence_at_head_centre;
  Measured<Millimetres> subsidence_at_shoulder;
  Measured<Millimetres> subsidence_at_tip;
  Measured<Millimetres> medial;  ///< at the stem's reference point
  Measured<Degrees> tilt_change;
  std::vector<BudgetItem> budget;
  std::vector<FeatureSubsidence> features;
  std::optional<LandmarkOpinion> by_landmarks;
  Rigid2 follow_up_from_reference_bone_mm;  ///< film mm frames (hip view), for overlays
  Rigid2 follow_up_from_reference_stem_mm;
  std::vector<Flag> flags;
};

}  // namespace tidemark::migration
