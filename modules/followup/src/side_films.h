#pragma once

#include "working.h"

namespace tidemark::followup {

/// Takes the films from the side out of the steps that are for frontal films; those that cannot be
/// used are refused. Needs settle().
void set_side_films_apart(WorkingSeries& work);

/// Measures the films from the side: where the stem and the lesser trochanter lie in front of or
/// behind the shaft, and the lines along the stem. What they say together goes to the reference
/// film, which must be measured. Needs find_bone.
void measure_side_films(WorkingSeries& work, const Steps& steps, int threads);

/// The lines of each measured lateral film against those of the first one, by date; films without
/// a date count as the last ones.
[[nodiscard]] std::vector<LateralComparison> compare_side_films(const WorkingSeries& work,
                                                                const Steps& steps, int threads);

}  // namespace tidemark::followup
