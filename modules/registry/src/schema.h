#pragma once

#include <string>
#include <vector>

namespace tidemark::registry {

/// modules/registry/schema/001.sql and those after it, in order. Text n brings a database from
/// schema n to n + 1; the number stands in the database as PRAGMA user_version.
[[nodiscard]] const std::vector<std::string>& schema_texts();

}  // namespace tidemark::registry
