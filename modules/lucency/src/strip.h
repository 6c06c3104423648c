#pragma once

#include <cstddef>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::lucency {

/// A place on the stem's outline: where, which way out, how far along the chain it was cut from.
struct Place {
  Vec2 edge_px = Vec2::Zero();
  Vec2 out_px = Vec2::Zero();  ///< unit vector away from the stem
  double arc_mm = 0.0;
};

/// The film unrolled along a chain of places: one row each, columns from `first_mm` (negative:
/// inside the metal) outwards at `pitch_mm`.
struct Strip {
  std::vector<Place> places;
  double first_mm = 0.0;
  double pitch_mm = 0.1;
  int columns = 0;
  std::vector<float> values;        ///< row by row
  std::vector<unsigned char> seen;  ///< 1 where the film shows the place, no other metal hides it

  [[nodiscard]] double x_mm(int column) const { return first_mm + pitch_mm * column; }
  [[nodiscard]] std::size_t index(std::size_t row, int column) const {
    return row * static_cast<std::size_t>(columns) + static_cast<std::size_t>(column);
  }
};

/// Which part of the profiles is unrolled.
struct StripReach {
  double from_mm = -3.0;
  double to_mm = 9.0;
  double pitch_mm = 0.1;
};

/// Places at equal steps along an outline that is walked from lateral over the tip to medial;
/// normals from a smooth course (tangents over `smooth_mm`).
[[nodiscard]] std::vector<Place> places_along(const Polyline& outline, double mm_per_px,
                                              double step_mm, double smooth_mm);

/// Unrolls the film. A place is not seen outside of the film and where `metal` is set without
/// `stem`.
[[nodiscard]] Strip unroll(const Raster& film, const Mask& stem, const Mask& metal,
                           std::vector<Place> places, double mm_per_px, const StripReach& reach);

}  // namespace tidemark::lucency
