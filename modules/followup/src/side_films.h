#pragma once

#include "working.h"

namespace tidemark::followup {

/// Takes the films from the side out of the steps that are for frontal films; those that cannot be
/// used are refused. Needs settle().
void set_side_films_apart(WorkingSeries& work);

/// Measures the films from the side that are not measured yet: where the stem and the lesser
/// trochanter lie in front of or behind the shaft. What they say together goes to the reference
/// film. Needs its bone.
void measure_side_films(WorkingSeries& work, const Steps& steps, int threads);

/// The lines along the stem of the measured films from the side. Needs those of the reference
/// film, which tell where the stem enters the bone.
void look_beside_side_films(WorkingSeries& work, const Steps& steps, int threads);

/// The lines of each measured lateral film against those of the first one, by date; films without
/// a date count as the last ones.
[[nodiscard]] std::vector<LateralComparison> compare_side_films(const WorkingSeries& work,
                                                                const Steps& steps, int threads);

}  // namespace tidemark::followup
