#pragma once

#include <optional>

#include "image_ops.h"
#include "tidemark/core/geometry.h"

namespace tidemark::anatomy {

/// A circle that a disc draws with what little contrast there is about it.
struct FaintHead {
  Circle2 circle;      ///< on the film, px
  double score = 0.0;  ///< mean fall across its rim beside the neck, in the usual steps thereabouts
};

/// A head within the shadow of its cup: metal on metal leaves steps that are small beside those of
/// the cup's own border and of bone. Looks along the neck's midline for the circle whose rim, all
/// around but for the neck, falls outwards the most, each step counted in what is usual within the
/// shadow and at most three times that, so that the cup's border cannot outvote the rest.
/// @param shadow  the circle that was taken for the head, px of the film
/// @param neck    the neck's midline, pointing distally
/// @param neck_px its width
/// @return nothing where no circle draws itself
[[nodiscard]] std::optional<FaintHead> faint_head(const cv::Mat1f& film, const Circle2& shadow,
                                                  const Line2& neck, double neck_px);

}  // namespace tidemark::anatomy
