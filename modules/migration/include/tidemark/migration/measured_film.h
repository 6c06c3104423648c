#pragma once

#include <optional>

#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/core/units.h"

namespace tidemark::migration {

/// One film with everything found on it and its scale.
struct MeasuredFilm {
  const anatomy::Implant& implant;  // NOLINT: a view for the length of one call
  const anatomy::Femur& femur;
  Measured<MillimetresPerPixel> scale;
  /// Middle of the picture, about where the beam is centred; absent: that is not known.
  std::optional<Vec2> middle_px = std::nullopt;
};

}  // namespace tidemark::migration
