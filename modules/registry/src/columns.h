#pragma once

#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "sqlite.h"

namespace tidemark::registry {

/// One row to be inserted, named column by column. What is absent stays NULL.
class Columns {
 public:
  explicit Columns(std::string table) : table_(std::move(table)) {}

  Columns& text(const std::string& column, const std::optional<std::string>& value);
  Columns& real(const std::string& column, double value);
  Columns& integer(const std::string& column, std::int64_t value);
  /// The value of a key of a JSON object, when it is there.
  Columns& text_at(const std::string& column, const nlohmann::json& from, const std::string& key);
  Columns& real_at(const std::string& column, const nlohmann::json& from, const std::string& key);
  Columns& integer_at(const std::string& column, const nlohmann::json& from,
                      const std::string& key);
  /// {value, u, u95} into NAME_UNIT, NAME_u_UNIT, NAME_u95_UNIT; `unit` has its underscore.
  Columns& measured_at(const std::string& name, const std::string& unit, const nlohmann::json& from,
                       const std::string& key);
  /// @param verb "INSERT" or "INSERT OR REPLACE"
  void insert(const Db& db, const char* verb = "INSERT") const;

 private:
  using Value = std::variant<std::string, double, std::int64_t>;
  std::string table_;
  std::vector<std::pair<std::string, Value>> cells_;
};

}  // namespace tidemark::registry
