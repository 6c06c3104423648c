#pragma once

#include "random.h"
#include "tidemark/phantom/case.h"

namespace tidemark::phantom {

/// Draws what the set "lucency" adds to a hip: fixation, compacted bone, lucent lines on each film,
/// flat or oblique views and little migration.
void add_lucency(CountedRandom& random, CaseSpec& hip);

}  // namespace tidemark::phantom
