#pragma once

#include <vector>

#include "tidemark/core/units.h"

namespace tidemark::lucency {

/// The widest stretch of a line: the largest of the medians of its widths over 4 mm. Stretches that
/// are known far worse than the line's usual place do not stand for it; where all are, the one that
/// is known best does.
/// @param widths of the places with a line, in order; at least one
[[nodiscard]] Measured<Millimetres> widest(const std::vector<Measured<Millimetres>>& widths);

}  // namespace tidemark::lucency
