#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "tidemark/assessment/evidence.h"

namespace tidemark::assessment {

/// Ids of the flags by which a pair of films may not show this hip, this scale, this view or this
/// alignment. With one of them nothing is called within a limit: the number may be another's. What
/// passes a limit passes it all the same, because that calls for a closer look. (House choice.)
[[nodiscard]] std::span<const std::string_view> untrusted_flags();

/// Those that a comparison carries, each once, in the order of its flags.
[[nodiscard]] std::vector<std::string> untrusted_flags_of(const ComparisonEvidence& pair);

/// The same in one text, joined by commas.
[[nodiscard]] std::string in_one_text(const std::vector<std::string>& ids);

}  // namespace tidemark::assessment
