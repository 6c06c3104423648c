#pragma once

#include "random.h"
#include "tidemark/phantom/case.h"

namespace tidemark::phantom {

/// How far the leg is rolled outwards on a lateral film (common practice, no source): less than a
/// right angle, as far as the patient lets it.
inline constexpr Degrees kRolledOut{-88.0};

/// Draws the cancellous bone that was pressed together beside a stem.
[[nodiscard]] Compaction draw_compaction(CountedRandom& random);

/// Draws what the set "lucency" adds to a hip: fixation, compacted bone, lucent lines on each film,
/// flat or oblique views and little migration. The films are frontal ones.
void add_lucency(CountedRandom& random, CaseSpec& hip);

/// What it adds to the hip's lateral films once they are there: lines of their own in zones 8 to 14
/// by the same rules, flat or oblique views. The frontal films stay as they are.
void add_side_lucency(CountedRandom& random, CaseSpec& hip);

}  // namespace tidemark::phantom
