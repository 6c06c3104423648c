#pragma once

#include <string>
#include <vector>

#include "tidemark/assessment/criteria.h"

namespace tidemark::assessment {

/// The sets with their criteria, a line each, for people.
[[nodiscard]] std::string list_of(const std::vector<CriteriaSet>& sets);

/// One criterion with its source, how sure it is, its window and what limits its use, for people.
[[nodiscard]] std::string explanation_of(const CriteriaSet& set, const Criterion& criterion);

/// The sets as a JSON list; each item is a file of its own by docs/schemas/criteria-1.json. A set
/// that extended another one holds its criteria.
[[nodiscard]] std::string json_of(const std::vector<CriteriaSet>& sets);

}  // namespace tidemark::assessment
