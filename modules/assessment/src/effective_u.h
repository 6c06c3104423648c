#pragma once

#include <algorithm>

#include "tidemark/core/uncertainty.h"

namespace tidemark::assessment {

/// Standard deviation of the normal distribution that stands for a measured value: u, or what u95
/// asks for where that is more (few degrees of freedom, heavy tails).
[[nodiscard]] inline double effective_u(double u, double u95) {
  return std::max(u, u95 / coverage_factor(kInfiniteFreedom));
}

}  // namespace tidemark::assessment
