#pragma once

#include "json_parts.h"
#include "tidemark/assessment/assess.h"

namespace tidemark::followup {

/// The key `assessment` of result.json (docs/result-format.md).
[[nodiscard]] Json assessment_json(const assessment::Assessment& assessment);

}  // namespace tidemark::followup
