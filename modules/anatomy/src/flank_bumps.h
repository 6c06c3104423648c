#pragma once

#include "image_ops.h"
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

/// The outline without leaks into bone that slope or corner hide from without_bumps(): stretches
/// that stand out beyond a flank's chords, where the film falls beneath them as it does at metal's
/// edge. Arguments as above; film in the same px.
[[nodiscard]] Polyline without_leaks(const cv::Mat1f& film, Polyline outline, const Line2& axis,
                                     double shoulder, double mm_per_px);

}  // namespace tidemark::anatomy
