#pragma once

#include "fit.h"

namespace tidemark::surface {

/// How large the stem on the film is over its surface, logarithm, with what the outline leaves open
/// of it (what is open of the head's true diameter not included).
struct SizeLog {
  double value = 0.0;
  double u = 0.0;
};

/// Asks the outline for the size that the head's diameter was believed for: the pose is settled
/// again with that diameter free, beginning from `best` and from sizes to either side of it.
[[nodiscard]] SizeLog size_of(const Problem& problem, const Fit& best, const Weighing& fine);

}  // namespace tidemark::surface
