#include "tidemark/registry/dictionary.h"

#include <algorithm>
#include <regex>
#include <sstream>

#include "schema.h"

namespace tidemark::registry {
namespace {

/// Reads the schema's own layout: a comment before each table, one column a line with its meaning.
class SchemaReader {
 public:
  void line(const std::string& text) {
    static const std::regex table_line(R"(^CREATE TABLE (\w+) \()");
    static const std::regex added_line(
        R"(^ALTER TABLE (\w+) ADD COLUMN (\w+) (TEXT|INTEGER|REAL)([^-]*)-- \[([^\]]*)\] (.*)$)");
    static const std::regex column_line(
        R"(^  (\w+) (TEXT|INTEGER|REAL)(.*?)\s*-- \[([^\]]*)\] (.*)$)");
    std::smatch found;
    if (text.rfind("-- ", 0) == 0) {
      comment_ += (comment_.empty() ? "" : " ") + text.substr(3);
    } else if (std::regex_search(text, found, table_line)) {
      tables_.push_back({found[1], comment_, {}});
      comment_.clear();
    } else if (std::regex_search(text, found, added_line)) {
      const std::string name = found[1];
      const auto table = std::find_if(tables_.begin(), tables_.end(),
                                      [&](const TableMeaning& one) { return one.name == name; });
      if (table != tables_.end()) add(*table, found, 2);
    } else if (std::regex_search(text, found, column_line) && !tables_.empty()) {
      add(tables_.back(), found, 1);
    } else if (text.empty()) {
      comment_.clear();
    }
  }
  [[nodiscard]] const std::vector<TableMeaning>& tables() const { return tables_; }

 private:
  static void add(TableMeaning& table, const std::smatch& found, std::size_t first) {
    const std::string rest = found[first + 2];
    const bool required =
        rest.find("NOT NULL") != std::string::npos || rest.find("PRIMARY KEY") != std::string::npos;
    table.columns.push_back(
        {found[first], found[first + 1], required, found[first + 3], found[first + 4]});
  }

  std::string comment_;
  std::vector<TableMeaning> tables_;
};

}  // namespace

std::vector<TableMeaning> dictionary() {
  SchemaReader reader;
  for (const std::string& text : schema_texts()) {
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) reader.line(line);
  }
  return reader.tables();
}

std::string to_markdown(const std::vector<TableMeaning>& tables) {
  std::string out =
      "# Data dictionary of the registry's database\n\n"
      "Schema " +
      std::to_string(schema_texts().size()) +
      ". Made by `tidemark export --dictionary` from the comments of `modules/registry/schema/`; a "
      "test holds the two together.\n\n"
      "Names, signs and units are those of [result.json](result-format.md). A measured quantity "
      "has "
      "three columns: the value, its standard\nuncertainty (`_u`), the half-width of its 95 % "
      "interval (`_u95`). An empty cell is unknown, never zero.\n";
  for (const TableMeaning& table : tables) {
    out += "\n## " + table.name + "\n\n" + table.meaning +
           "\n\n| column | type | unit | meaning |\n|---|---|---|---|\n";
    for (const ColumnMeaning& column : table.columns) {
      out += "| `" + column.name + "` | " + column.type + (column.required ? ", never empty" : "") +
             " | " + column.unit + " | " + column.meaning + " |\n";
    }
  }
  return out;
}

}  // namespace tidemark::registry
