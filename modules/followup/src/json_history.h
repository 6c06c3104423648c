#pragma once

#include "json_parts.h"
#include "tidemark/followup/history.h"

namespace tidemark::followup {

/// What stands under "history" in result.json.
[[nodiscard]] Json history_json(const History& history);

}  // namespace tidemark::followup
