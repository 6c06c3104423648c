#pragma once

#include <cstddef>
#include <optional>

#include "tidemark/core/geometry.h"

namespace tidemark::anatomy {

/// Centre line of the straight part of a stem.
struct StemAxis {
  Line2 line;  ///< frame of the outline; direction points distally, as the rough axis does
  double direction_u_rad = 0.0;
};

/// Fits a line to the middle between both flanks of a stem, where that middle is straight: from
/// near the tip upwards to where a flare that is not the same on both sides bends it.
///
/// @param outline    open at the head, in order, sub-pixel
/// @param rough      within a few degrees of the axis, between the flanks, pointing distally
/// @param unit_in_mm of the outline, mm
/// @return absent when fewer than 8 levels have both flanks.
///
/// u: scatter, how much the two halves of the straight part differ in direction, and perspective.
[[nodiscard]] std::optional<StemAxis> fit_stem_axis(const Polyline& outline, const Line2& rough,
                                                    double unit_in_mm);

/// Of two perpendiculars to a stem's axis on a right hip, the one that points medially (+x).
[[nodiscard]] Vec2 medial_of(const Line2& axis);

/// Index of the point of an outline that lies nearest to `q`.
/// @param outline not empty
[[nodiscard]] std::ptrdiff_t index_nearest(const Polyline& outline, const Vec2& q);

}  // namespace tidemark::anatomy
