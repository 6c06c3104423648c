#pragma once

#include "tidemark/assessment/assess.h"

namespace tidemark::assessment {

/// What a reader sees first, from everything else that `all` holds.
[[nodiscard]] Headline headline_of(const HipEvidence& hip, const Assessment& all);

}  // namespace tidemark::assessment
