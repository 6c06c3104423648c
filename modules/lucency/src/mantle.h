#pragma once

#include <vector>

#include "evidence.h"
#include "profiles.h"

namespace tidemark::lucency {

/// Where the cement mantle ends beside one place, mm from the metal.
struct MantleBorder {
  double mm = 0.0;
  double u = 0.0;  ///< larger where it is carried on
};

/// The mantle's border beside each place: the course of a border, bright inside, that follows the
/// stem (dynamic programming; Bellman). Where bone is as bright as cement it is carried on from its
/// neighbours. Its u is the spread of all courses by what each is worth (forward-backward).
[[nodiscard]] std::vector<MantleBorder> mantle_border(const Profiles& profiles,
                                                      const std::vector<std::size_t>& places,
                                                      const std::vector<PlaceEvidence>& evidence);

}  // namespace tidemark::lucency
