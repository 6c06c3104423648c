#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "chain.h"

namespace tidemark::lucency {

/// Probabilities from which a place is said to have a line, or none. House choice.
inline constexpr double kLineFrom = 0.9;
inline constexpr double kNoLineUpTo = 0.1;

/// Thinner lines are not resolved: width and depth trade off, and halos look alike. House choice.
inline constexpr double kThinnestMm = 0.45;
/// Wider ones without a rim may be the canal. House choice.
inline constexpr double kWideMm = 3.2;

/// A line, or its absence, that holds only for one setting of the halo is open.
void doubt_by_halo(std::vector<PlaceBelief>& settled, const std::vector<PlaceBelief>& learnt);

/// A flat stem's line is a box across, a round stem's the chord of a ring; the film does not say
/// which. What holds for one of both shapes only is open; where both hold, their difference is part
/// of the width's uncertainty.
void doubt_by_shape(std::vector<PlaceBelief>& box, const std::vector<PlaceBelief>& chord);

/// About the tip a chain is two or three profiles long, so that where the film says nothing what is
/// usual decides: no line. That none is there is an answer only where the film speaks against one,
/// whatever its width, over 4 mm.
/// @param tip the judged places about the tip, in their order
void doubt_by_weak_evidence(std::vector<PlaceBelief>& beliefs,
                            const std::vector<PlaceEvidence>& evidence,
                            std::span<const std::size_t> tip);

}  // namespace tidemark::lucency
