#pragma once

#include "tidemark/core/geometry.h"

namespace tidemark::anatomy {

/// The outline with short bumps of its flanks cut off. A stem's flanks below the shoulder run down
/// smoothly; where a mask leaks into a dense calcar, the outline stands out for a stretch and comes
/// back. Collars are shorter or lie higher up and stay.
/// @param outline  from the lateral to the medial neck or the other way, px
/// @param axis     of the stem, pointing distally
/// @param shoulder level of the shoulder along the axis, px from axis.point
[[nodiscard]] Polyline without_bumps(Polyline outline, const Line2& axis, double shoulder,
                                     double mm_per_px);

}  // namespace tidemark::anatomy
