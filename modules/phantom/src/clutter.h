#pragma once

#include "tidemark/core/raster.h"
#include "tidemark/phantom/case.h"
#include "tidemark/phantom/scene.h"

namespace tidemark::phantom {

/// Staples, wires and lead letter of a film, world frame. `world_from_femur` carries the wires.
[[nodiscard]] std::vector<Solid> clutter_solids(const CaseSpec& spec, const FilmSpec& film,
                                                const Rigid3& world_from_femur);

/// Part of the beam that the shutters let through at a pixel, 0 to 1.
[[nodiscard]] double shutter_at(const FilmSpec& film, const Vec2& p_px);

}  // namespace tidemark::phantom
