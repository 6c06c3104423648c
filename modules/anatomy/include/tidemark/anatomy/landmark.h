#pragma once

#include <optional>

#include "tidemark/core/geometry.h"
#include "tidemark/core/hip.h"

namespace tidemark::anatomy {

/// A point on one film, in px of the hip view, with its isotropic standard uncertainty.
struct Landmark {
  Vec2 px = Vec2::Zero();
  double u_px = 0.0;
  Source source = Source::kFound;
};

/// Points and lines that the user marked by hand (series.json, landmarks_px), in px of the hip
/// view. Each replaces the found one.
struct GivenLandmarks {
  std::optional<Vec2> head_centre_px;
  std::optional<double> head_diameter_px;
  std::optional<Vec2> stem_tip_px;
  std::optional<Vec2> stem_shoulder_px;
  std::optional<Vec2> lesser_trochanter_px;
  std::optional<Vec2> greater_trochanter_px;
  std::optional<Line2> stem_axis_px;
  std::optional<Line2> shaft_axis_px;
  /// Where the stem enters the bone, on its medial flank: the upper border of the zones
  /// (lucency::Entry).
  std::optional<Vec2> bone_entry_px;
  /// Where the second and third border of the zones cross the stem; only their level along its axis
  /// counts (lucency::InnerBorders).
  std::optional<Vec2> second_zone_border_px;
  std::optional<Vec2> third_zone_border_px;
};

}  // namespace tidemark::anatomy
