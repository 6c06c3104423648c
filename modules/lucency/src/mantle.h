#pragma once

#include <vector>

#include "evidence.h"
#include "profiles.h"

namespace tidemark::lucency {

/// Thickness of the cement mantle beside each place, mm from the metal to where the cement ends:
/// the course of a border, bright inside, that follows the stem (dynamic programming; Bellman).
/// Where bone is as bright as cement the border is carried on from its neighbours.
[[nodiscard]] std::vector<double> mantle_thickness(const Profiles& profiles,
                                                   const std::vector<std::size_t>& places,
                                                   const std::vector<PlaceEvidence>& evidence);

}  // namespace tidemark::lucency
