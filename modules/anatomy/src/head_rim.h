#pragma once

#include <optional>

#include "circles.h"

namespace tidemark::anatomy {

/// The head's rim, fitted at full size from a circle within 3 mm of it (fit_rim).
[[nodiscard]] std::optional<RimFit> fit_head(const cv::Mat1f& film, const Circle2& start,
                                             double mm_per_px);

/// Smoothing along the radius with which a head's rim is read, mm.
inline constexpr double kHeadBlurMm = 0.25;

/// Share of a head's rim beside the neck, on both its sides, where the film falls from bright to
/// dark on the circle: near 1 for a head, whose rim no cup covers there. A circle that leans on a
/// cup's border somewhere, and on the head's elsewhere, crosses the head's rim instead.
/// @param head on the film, px
/// @param neck direction from the head's centre down the neck, length 1
[[nodiscard]] double rim_beside_neck(const cv::Mat1f& film, const Circle2& head, const Vec2& neck,
                                     double mm_per_px);

/// A head shows so much of its rim there: on simulated films heads that held show 0.56 and more,
/// other circles 0.39 and less (docs/anatomy.md). House choice.
inline constexpr double kOnRim = 0.5;

/// The circle that the steepest falls beside the neck draw, within 0.3 radii of a rough one;
/// nothing when they draw none on both sides.
[[nodiscard]] std::optional<Circle2> circle_beside_neck(const cv::Mat1f& film, const Circle2& rough,
                                                        const Vec2& neck, double mm_per_px);

}  // namespace tidemark::anatomy
