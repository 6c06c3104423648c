#pragma once

#include <optional>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::view {

/// The edge near a point that was placed by hand: the place of the steepest grey value within
/// `reach_px`, near places preferred, to a fraction of a pixel. Slopes are those of the film
/// smoothed over about three pixels.
/// @return absent at the film's border and where nothing stands out: the steepest slope is less
///         than three times the median slope (house choice)
[[nodiscard]] std::optional<Vec2> snapped(const Raster& film, const Vec2& p_px, double reach_px);

}  // namespace tidemark::view
