#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::anatomy {

/// Grey values every 0.1 mm along a line, mm from the line's origin.
struct Profile {
  static constexpr double kStepMm = 0.1;
  double first_mm = 0.0;
  std::vector<double> values;
  [[nodiscard]] double x(std::size_t i) const {
    return first_mm + kStepMm * static_cast<double>(i);
  }
};

/// The film from `first_mm` to `last_mm` along `way` (length 1) from a point, every 0.1 mm.
/// @return absent when any of it lies beyond the film.
[[nodiscard]] std::optional<Profile> profile_along(const Raster& film, const Vec2& from_px,
                                                   const Vec2& way, double first_mm, double last_mm,
                                                   double px_per_mm);

/// Moving mean over 0.5 mm, shorter at the ends: well below the blur of a film of bone.
[[nodiscard]] std::vector<double> smoothed(const Profile& profile);

}  // namespace tidemark::anatomy
