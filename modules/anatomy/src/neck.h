#pragma once

#include <optional>

#include "tidemark/core/geometry.h"

namespace tidemark::anatomy {

/// The straight part of a stem's neck.
struct NeckAxis {
  Line2 line;             ///< midway between both sides, pointing distally; px of the outline
  double width_mm = 0.0;  ///< where the line's point is
};

/// The neck's midline from the straight runs of the outline on both sides of it. Every taper holds
/// its head concentrically (common practice, no source), so the head's centre lies on this line: a
/// circle whose centre does not is not the head.
/// @param outline from the lateral to the medial neck base, as Implant::outline_px
/// @return nothing when no two straight sides face each other.
[[nodiscard]] std::optional<NeckAxis> neck_axis(const Polyline& outline, double mm_per_px);

}  // namespace tidemark::anatomy
