#pragma once

#include <optional>
#include <string>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::bench {

/// Bone to bone on two films: the same pixels, masks and start for every method. Points are mm:
/// p_mm = mm_per_px * p_px of each raster.
struct Task {
  Raster fixed;        ///< reference film, bright = more absorbing
  Raster moving;       ///< follow-up film
  Mask fixed_voting;   ///< the femur without metal
  Mask moving_usable;  ///< everything but metal
  double fixed_mm_per_px = 0.0;
  double moving_mm_per_px = 0.0;
  Rigid2 start;  ///< moving_from_fixed, mm
};

/// What a general-purpose method looks at.
enum class Look { kGrey, kGradient };

/// Moving_from_fixed in mm by OpenCV's findTransformECC (Evangelidis, Psarakis, IEEE TPAMI 30
/// (2008) 1858-1865), Euclidean motion, three levels of a pyramid. Absent when it does not
/// converge. Its one mask belongs to the moving film, so the fixed film's mask is carried over by
/// the start.
[[nodiscard]] std::optional<Rigid2> by_opencv_ecc(const Task& task, Look look);

/// Moving_from_fixed in mm by ITK's mutual information (Mattes et al., IEEE TMI 22 (2003) 120-128),
/// 32 bins, both masks, a regular quarter of the pixels, three levels, regular-step descent scaled
/// by physical shift. Absent when it throws.
[[nodiscard]] std::optional<Rigid2> by_itk_mutual_information(const Task& task);

}  // namespace tidemark::bench
