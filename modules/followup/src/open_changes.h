#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/lucency/change.h"
#include "tidemark/lucency/signs.h"

namespace tidemark::followup {

/// Takes back what became of lines, as nobody knows it for that reason.
void leave_open(std::vector<lucency::ZoneChange>& zones, const std::string& reason);

/// The same of the other signs.
void leave_open(lucency::SignChanges& signs, const std::string& reason);

/// Why what is different on the follow-up film is no change since the reference film: it was taken
/// before, or on the same day. Nothing where it was not, or where nobody knows.
/// @param days  from the reference film to the follow-up film
[[nodiscard]] std::optional<std::string> no_time_between(const std::optional<int>& days);

/// Whether a pair says that a line grew there or is new: by more than its u95, or `progressive`.
[[nodiscard]] bool told_grown(const lucency::ZoneChange& change);

}  // namespace tidemark::followup
