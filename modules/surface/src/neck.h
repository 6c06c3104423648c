#pragma once

#include <optional>
#include <span>

#include "samples.h"
#include "tidemark/surface/stem_model.h"

namespace tidemark::surface {

/// The ball among the samples near a stem's proximal medial end, if there is one: at least a
/// quarter of a sphere of 10 to 31 mm radius (house choice). Random sample consensus (Fischler and
/// Bolles, Commun ACM 24 (1981) 381, from memory) with a fixed sequence, then least squares.
[[nodiscard]] std::optional<Ball> find_ball(std::span<const Sample> samples);

/// Axis of the round neck near the end `end` of the metal, in the stem frame: the direction to
/// which the surface's normals keep one angle, as on every cone (derived), and the middle of its
/// circles.
[[nodiscard]] std::optional<NeckLine> find_neck(std::span<const Sample> samples, const Vec3& end);

}  // namespace tidemark::surface
