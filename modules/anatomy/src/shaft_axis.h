#pragma once

#include <optional>

#include "edge_path.h"
#include "stem_frame.h"
#include "tidemark/core/geometry.h"

namespace tidemark::anatomy {

/// The stretch of a shaft whose axis is asked for, mm along the frame's s.
struct ShaftStretch {
  double from_s = 0.0;
  double to_s = 0.0;
  double u_mm = 0.0;  ///< standard uncertainty of where it lies, both ends together
};

struct Shaft {
  Line2 line_px;  ///< pointing distally
  double direction_u_rad = 0.0;
};

/// Robust line through the middles between two cortices over a stretch.
///
/// A femur bows, so its axis depends on the stretch. How fast it turns is read off both halves.
/// Where the film or the cortices end early the direction is carried on to the middle of the
/// stretch that was asked for (the least-squares line of a parabola has its direction at the
/// middle). u: scatter; where the stretch lies; and half of what was carried on.
/// @return absent when less than 25 mm of the middles are seen, or less than 65 % of either cortex
///         is an edge.
[[nodiscard]] std::optional<Shaft> fit_shaft(const StemFrame& f, const EdgePath& lateral,
                                             const EdgePath& medial, const ShaftStretch& stretch);

}  // namespace tidemark::anatomy
