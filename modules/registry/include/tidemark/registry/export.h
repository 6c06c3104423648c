#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>

#include "tidemark/core/expected.h"
#include "tidemark/registry/database.h"
#include "tidemark/registry/pseudonym.h"

namespace tidemark::registry {

/// Writes the tables of results as CSV files (RFC 4180, UTF-8, a point as decimal sign, an empty
/// cell for what is unknown) and datapackage.json, which says what each column means. In place of
/// hip_id each table begins with hip and reader; hips.csv ends with a column for each group. Rows
/// stand in the order of their keys and numbers have the shortest form that gives them back, so
/// that equal results give equal files. What tells of clocks and machines is left out. Tables of an
/// earlier export are replaced; a file of such a name without our datapackage.json is an error.
/// @param key replaces hip and patient by pseudonyms, when there is one
/// @return the number of files; kNotWritable; kBadInput for a damaged database.
[[nodiscard]] Expected<std::size_t> export_tables(const Database& database,
                                                  const std::filesystem::path& folder,
                                                  const std::optional<PseudonymKey>& key);

}  // namespace tidemark::registry
