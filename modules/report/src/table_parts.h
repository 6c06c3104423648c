#pragma once

#include <vector>

#include "tidemark/report/document.h"

namespace tidemark::report {

/// A table that is too wide for a page, as tables below each other that are not: each begins with
/// the first column, and the first of them holds the second column and the last ones, so that past
/// and present stand side by side. A table that fits comes back alone.
/// @param least width that each column needs at least
/// @param room that a table has
[[nodiscard]] std::vector<Table> parts_of(const Table& table, const std::vector<double>& least,
                                          double room);

}  // namespace tidemark::report
