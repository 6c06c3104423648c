#pragma once

#include <optional>

#include "image_ops.h"
#include "tidemark/core/units.h"

namespace tidemark::anatomy {

/// Whether a piece as bright as metal and as long as a stem crosses the film's upper end, so that
/// its head lies above it. For films on which no head was found.
/// @param scale a rough one, if there is any; else films are 30 cm long
[[nodiscard]] bool stem_crosses_top(const Pyramid& film, std::optional<MillimetresPerPixel> scale);

}  // namespace tidemark::anatomy
