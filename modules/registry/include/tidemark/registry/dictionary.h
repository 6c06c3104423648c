#pragma once

#include <string>
#include <vector>

namespace tidemark::registry {

/// One column of a table.
struct ColumnMeaning {
  std::string name;
  std::string type;  ///< TEXT, INTEGER or REAL
  bool required = false;
  std::string unit;  ///< may be empty; "unit" where a column of that name holds it
  std::string meaning;
};

/// One table.
struct TableMeaning {
  std::string name;
  std::string meaning;
  std::vector<ColumnMeaning> columns;
};

/// What the tables and columns of the database mean, as the comments of the schema say it.
[[nodiscard]] std::vector<TableMeaning> dictionary();

/// docs/registry-data-dictionary.md.
[[nodiscard]] std::string to_markdown(const std::vector<TableMeaning>& tables);

}  // namespace tidemark::registry
