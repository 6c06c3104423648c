#pragma once

#include "json_parts.h"
#include "tidemark/followup/result.h"

namespace tidemark::followup {

/// The items of the audit as they stand in result.json under assessment.seat (docs/seat.md).
[[nodiscard]] Json seat_json(const SeatResult& seat);

}  // namespace tidemark::followup
