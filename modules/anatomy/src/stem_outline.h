#pragma once

#include <optional>

#include "image_ops.h"
#include "tidemark/anatomy/landmark.h"

namespace tidemark::anatomy {

/// Outline, axis, tip and shoulder of a stem, px of the film.
struct StemShape {
  Polyline outline;  ///< open at the head, from the lateral neck round the tip to the medial neck
  Polyline of_mask;  ///< the mask's rim that it was traced from, in either sense
  Line2 axis;        ///< of the distal straight part, pointing distally
  double axis_u_rad = 0.0;
  Landmark tip;
  Landmark shoulder;
  double edge_contrast = 0.0;  ///< median step across the outline, in grey values of the film
  double edge_noise_px = 0.0;  ///< scatter of neighbouring outline points across the edge
};

/// Traces the rim of a stem mask at sub-pixel precision on the film.
/// @param mask  of `mask_scale.image`'s size
/// @param head  on the film, px
/// @param mm_per_px of the film
[[nodiscard]] std::optional<StemShape> trace_outline(const cv::Mat1f& film,
                                                     const Scaled& mask_scale,
                                                     const cv::Mat1b& mask, const Circle2& head,
                                                     double mm_per_px);

}  // namespace tidemark::anatomy
