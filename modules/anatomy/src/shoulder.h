#pragma once

#include "tidemark/anatomy/landmark.h"
#include "tidemark/core/geometry.h"

namespace tidemark::anatomy {

/// The shoulder of a stem: the place where its outline reaches farthest half way between lateral
/// and proximal (docs/truth.md), by a parabola through the outline around it.
///
/// @param outline   open at the head, in order, sub-pixel, px; right hip
/// @param axis      of the stem, pointing distally, px
/// @param mm_per_px of the film
///
/// u, of each coordinate: the edge itself, and how far the place moves along the corner when it is
/// read from more or less of the outline.
[[nodiscard]] Landmark find_shoulder(const Polyline& outline, const Line2& axis, double mm_per_px);

}  // namespace tidemark::anatomy
