#pragma once

#include <vector>

#include "chain.h"

namespace tidemark::lucency {

/// Probabilities from which a place is said to have a line, or none. House choice.
inline constexpr double kLineFrom = 0.9;
inline constexpr double kNoLineUpTo = 0.1;

/// A line, or its absence, that holds only for one setting of the halo is open.
void doubt_by_halo(std::vector<PlaceBelief>& settled, const std::vector<PlaceBelief>& learnt);

/// A flat stem's line is a box across, a round stem's the chord of a ring; the film does not say
/// which. What holds for one of both shapes only is open; where both hold, their difference is part
/// of the width's uncertainty.
void doubt_by_shape(std::vector<PlaceBelief>& box, const std::vector<PlaceBelief>& chord);

}  // namespace tidemark::lucency
