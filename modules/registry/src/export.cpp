#include "tidemark/registry/export.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "csv_table.h"
#include "own_folder.h"
#include "sqlite.h"
#include "tables.h"
#include "tidemark/core/files.h"
#include "tidemark/registry/dictionary.h"

namespace tidemark::registry {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

/// Columns of hips that tell nothing of the hip outside of its database.
const std::set<std::string>& inner_columns() {
  static const std::set<std::string> names{"hip_id"};
  return names;
}

/// The shortest text that gives the number back.
std::string number_text(double value) {
  std::array<char, 32> text{};
  const auto end = std::to_chars(text.data(), text.data() + text.size(), value).ptr;
  return {text.data(), end};
}

/// How a table is asked; empty when it is not part of the export.
std::string order_of(const std::string& table) {
  if (table == "hips") return "hip, reader";
  if (table == "set_aside") return "item, hip";
  for (const HipTable& one : kHipTables) {
    if (table == one.name) return std::string("hip, reader, ") + one.order;
  }
  return {};
}

constexpr const char* kPackageFile = "datapackage.json";
constexpr const char* kPackageName = "tidemark-registry";

OwnFiles own_files(const fs::path& folder) {
  OwnFiles out{folder, kPackageFile, "name", kPackageName, {kPackageFile}};
  for (const TableMeaning& table : dictionary()) {
    if (!order_of(table.name).empty()) out.names.push_back(table.name + ".csv");
  }
  return out;
}

/// Writes the tables one by one.
class Exporter {
 public:
  Exporter(const Db& db, fs::path folder, const std::optional<PseudonymKey>& key)
      : db_(db), folder_(std::move(folder)), key_(key) {}

  Expected<std::size_t> run() {
    db_.exec("BEGIN");  // all tables as they are at one moment
    Stmt names(db_, "SELECT DISTINCT name FROM hip_groups ORDER BY name");
    while (names.step()) groups_.push_back(names.text(0));
    for (const TableMeaning& table : dictionary()) {
      const auto written = write(table);
      if (!written) return tl::unexpected(written.error());
    }
    db_.exec("COMMIT");
    const auto described = write_file_atomically(folder_ / kPackageFile, package_.dump(1));
    if (!described) return tl::unexpected(described.error());
    return files_ + 1;
  }

 private:
  Expected<void> write(const TableMeaning& table) {
    const std::string order = order_of(table.name);
    if (order.empty()) return {};
    const bool of_hip = table.name != "hips" && table.name != "set_aside";
    std::vector<ColumnMeaning> columns;
    if (of_hip) {
      columns.push_back({"hip", "TEXT", true, "", "as in hips"});
      columns.push_back({"reader", "TEXT", true, "", "as in hips"});
    }
    for (const ColumnMeaning& column : table.columns) {
      if (inner_columns().count(column.name) == 0) columns.push_back(column);
    }
    std::string sql;
    for (const ColumnMeaning& column : columns) {
      sql += (sql.empty() ? "SELECT " : ", ") + column.name;
    }
    sql += " FROM " + table.name + (of_hip ? " JOIN hips USING (hip_id)" : "");
    if (of_hip) sql = qualified(columns, table.name);
    sql += " ORDER BY " + order;
    if (table.name == "hips") add_groups(columns);
    std::vector<std::pair<std::string, std::string>> lines;  // with what they are sorted by
    Stmt rows(db_, sql);
    while (rows.step()) {
      const std::string& first = columns.front().name;
      lines.emplace_back(key_ ? name_for(first, rows.text(0)) : std::string(),
                         row_of(table.name, columns, rows));
    }
    // The order of the names that the pseudonyms replace would tell of them.
    std::stable_sort(lines.begin(), lines.end(),
                     [](const auto& a, const auto& b) { return a.first < b.first; });
    std::string text = header(columns);
    for (const auto& [by, line] : lines) text += line;
    describe(table, columns);
    ++files_;
    return write_file_atomically(folder_ / (table.name + ".csv"), text);
  }

  static std::string qualified(const std::vector<ColumnMeaning>& columns,
                               const std::string& table) {
    std::string sql = "SELECT hips.hip AS hip, hips.reader AS reader";
    for (std::size_t i = 2; i < columns.size(); ++i) sql += ", t." + columns[i].name;
    return sql + " FROM " + table + " AS t JOIN hips ON hips.hip_id = t.hip_id";
  }

  void add_groups(std::vector<ColumnMeaning>& columns) const {
    for (const std::string& group : groups_) {
      columns.push_back({"group_" + group, "TEXT", false, "", "column of the sheet"});
    }
  }

  static std::string header(const std::vector<ColumnMeaning>& columns) {
    std::string line;
    for (const ColumnMeaning& column : columns) {
      line += (line.empty() ? "" : ",") + csv_cell(column.name);
    }
    return line + "\n";
  }

  [[nodiscard]] std::string name_for(const std::string& column, const std::string& value) const {
    if (!key_ || value.empty()) return value;
    if (column == "hip") return pseudonym(*key_, "H", "hip", value);
    if (column == "patient") return pseudonym(*key_, "P", "patient of the table", value);
    return value;
  }

  [[nodiscard]] std::string cell(const ColumnMeaning& column, const Stmt& rows, int i) const {
    if (rows.is_null(i)) return {};
    if (column.type == "REAL") return number_text(rows.real(i));
    if (column.type == "INTEGER") return std::to_string(rows.integer(i));
    return csv_text(name_for(column.name, rows.text(i)));
  }

  [[nodiscard]] std::string row_of(const std::string& table,
                                   const std::vector<ColumnMeaning>& columns,
                                   const Stmt& rows) const {
    std::string line;
    for (int i = 0; i < rows.columns(); ++i) {
      line += (i == 0 ? "" : ",") + cell(columns[static_cast<std::size_t>(i)], rows, i);
    }
    if (table == "hips") {
      for (const std::string& group : groups_) line += "," + group_of(rows, group);
    }
    return line + "\n";
  }

  /// The rows of hips begin with hip and reader.
  [[nodiscard]] std::string group_of(const Stmt& hip, const std::string& group) const {
    Stmt value(db_,
               "SELECT value FROM hip_groups JOIN hips USING (hip_id) WHERE hips.hip = ? AND "
               "hips.reader = ? AND name = ?");
    value.bind(1, hip.text(0)).bind(2, hip.text(1)).bind(3, group);
    return value.step() ? csv_text(value.text(0)) : std::string();
  }

  void describe(const TableMeaning& table, const std::vector<ColumnMeaning>& columns) {
    Json fields = Json::array();
    for (const ColumnMeaning& column : columns) {
      Json field{{"name", column.name},
                 {"type", column.type == "REAL"      ? "number"
                          : column.type == "INTEGER" ? "integer"
                                                     : "string"},
                 {"description", column.meaning}};
      if (!column.unit.empty()) field["unit"] = column.unit;
      fields.push_back(std::move(field));
    }
    package_["resources"].push_back({{"name", table.name},
                                     {"path", table.name + ".csv"},
                                     {"format", "csv"},
                                     {"encoding", "utf-8"},
                                     {"description", table.meaning},
                                     {"schema", {{"fields", fields}, {"missingValues", {""}}}}});
  }

  const Db& db_;
  fs::path folder_;
  const std::optional<PseudonymKey>& key_;
  std::vector<std::string> groups_;
  std::size_t files_ = 0;
  // Data Package and Table Schema of the Frictionless specifications, version 1; `unit` is our own.
  Json package_{{"name", kPackageName},
                {"description", "Signs and units: docs/registry-data-dictionary.md"},
                {"resources", Json::array()}};
};

}  // namespace

Expected<std::size_t> export_tables(const Database& database, const fs::path& folder,
                                    const std::optional<PseudonymKey>& key) {
  const OwnFiles own = own_files(folder);
  if (const auto ready = begin_own(own); !ready) return tl::unexpected(ready.error());
  try {
    auto files = Exporter(database.db(), folder, key).run();
    if (!files) return files;
    if (const auto done = finish_own(own); !done) return tl::unexpected(done.error());
    return files;
  } catch (const SqliteError& failure) {
    Error said = error_of(failure, database.file().filename().string());
    said.kind = ErrorKind::kBadInput;
    return tl::unexpected(said);
  }
}

}  // namespace tidemark::registry
