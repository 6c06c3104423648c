#pragma once

#include <vector>

#include "evidence.h"

namespace tidemark::lucency {

/// What a place shows once its neighbours have been heard.
struct PlaceBelief {
  double line = 0.5;   ///< probability that a line is there
  double none = 0.5;   ///< probability of bone at the metal; the rest is a canal
  double canal = 0.0;  ///< probability of a canal
  double wall = 0.0;   ///< expected distance of its wall if so, mm
  /// Probability of what may hide a line or be one: a canal whose wall is as near as a line's,
  /// or what is dark, with a straight wall, farther than any line that is told.
  double near_wall = 0.0;
  double width = 0.0;  ///< expected width if so, mm
  double width_u = 0.0;
  double depth = 0.0;  ///< expected depth if so, grey values
  double rim_log_odds = 0.0;
};

/// A Markov chain over neighbouring places (forward-backward): a line's far wall follows the stem,
/// so its width changes little from place to place, and lines begin and end rarely.
/// @param joined joined[i] is 1 when place i follows on place i - 1 without a gap
[[nodiscard]] std::vector<PlaceBelief> hear_neighbours(const std::vector<PlaceEvidence>& places,
                                                       const std::vector<unsigned char>& judged,
                                                       const std::vector<unsigned char>& joined);

}  // namespace tidemark::lucency
