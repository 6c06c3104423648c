#pragma once

#include <optional>
#include <vector>

#include "image_ops.h"

namespace tidemark::anatomy {

/// A bright disc that may be a head or a cup: where it is and how much of its rim is a real edge.
struct DiscCandidate {
  Circle2 circle;    ///< in px of the image searched
  double rim = 0.0;  ///< mean over the rim of the normalised inward gradient, 0 to 1
};

/// Looks for bright discs by letting strong edges vote along their gradient.
/// @param radius_min, radius_max in px of `image`
/// @param most how many to return, best first
[[nodiscard]] std::vector<DiscCandidate> find_discs(const cv::Mat1f& image, double radius_min,
                                                    double radius_max, int most);

/// A circle fitted to sub-pixel edge points of a bright disc.
struct RimFit {
  Circle2 circle;         ///< in px of the film
  double centre_u = 0.0;  ///< standard uncertainty of each coordinate, px
  double radius_u = 0.0;
  double seen = 0.0;      ///< share of the rim that carries the circle, 0 to 1
  double residual = 0.0;  ///< robust SD of the radial residuals, px
  double strength = 0.0;  ///< median slope across the part of the rim that is seen, per half px
};

/// A steepest fall from bright to dark along a radius.
struct RimPoint {
  Vec2 p;                 ///< on the film, px
  double strength = 0.0;  ///< slope, per half px
};

/// Such falls along the radii of a circle, one a degree; those that are noise beside the strongest
/// are left out.
[[nodiscard]] std::vector<RimPoint> rim_points(const cv::Mat1f& film, const Circle2& start,
                                               double reach, double sigma);

/// @param start   rough circle on the film, within `reach` of the truth in every rim point
/// @param sigma   smoothing along the radius, px
[[nodiscard]] std::optional<RimFit> fit_rim(const cv::Mat1f& film, const Circle2& start,
                                            double reach, double sigma);

}  // namespace tidemark::anatomy
