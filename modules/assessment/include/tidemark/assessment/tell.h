#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/assessment/criteria.h"
#include "tidemark/assessment/signs.h"

namespace tidemark::assessment {

/// The sets with their criteria, a line each, for people.
[[nodiscard]] std::string list_of(const std::vector<CriteriaSet>& sets);

/// One criterion with its source, how sure it is, its window and what limits its use, for people.
[[nodiscard]] std::string explanation_of(const CriteriaSet& set, const Criterion& criterion);

/// The sets as a JSON list; each item is a file of its own by docs/schemas/criteria-1.json. A set
/// that extended another one holds its criteria.
[[nodiscard]] std::string json_of(const std::vector<CriteriaSet>& sets);

/// The decision tables with their signs, switches and explanations, a line each, for people.
[[nodiscard]] std::string list_of(const std::vector<SignTable>& tables);

/// The sign, switch or explanation `id` of a table with its rule in words, its source and how sure
/// it is, for people; absent when the table has none.
[[nodiscard]] std::optional<std::string> explanation_of(const SignTable& table,
                                                        const std::string& id);

/// One rule in words, e.g. "tilt_change_deg beyond ± 2".
[[nodiscard]] std::string words_of(const Rule& rule);

/// The tables as a JSON list; each item is a file of its own by docs/schemas/signs-1.json. A table
/// that extended another one holds all of it; a switch stands at what was chosen.
[[nodiscard]] std::string json_of(const std::vector<SignTable>& tables);

}  // namespace tidemark::assessment
