#pragma once

#include "edge_path.h"
#include "stem_frame.h"

namespace tidemark::anatomy {

/// A medial outline with the faint rim of a trochanter where that lies beyond the brighter edge
/// that the outline followed: a trochanter seen from the front is a thin dome, and the shaft's
/// cortex behind it a far clearer edge.
///
/// The grey beyond the path, as a share of the step across it, is held against what the shaft
/// below shows there (blur, halo and the slope of soft tissue; medians). Where more is left, up to
/// 12 mm off the path, over 5 to 35 mm of its length, and gone again farther out, that is bone:
/// the outline goes along its outermost steepest fall. A bone that reaches farther out is another
/// one.
/// @param path  runs down the medial side of `frame`, a column per row
/// @return the path itself where no such rim stands out
[[nodiscard]] EdgePath with_outer_rim(const StemFrame& frame, EdgePath path);

}  // namespace tidemark::anatomy
