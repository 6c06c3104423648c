#include "columns.h"

namespace tidemark::registry {

using nlohmann::json;

Columns& Columns::text(const std::string& column, const std::optional<std::string>& value) {
  if (value) cells_.emplace_back(column, *value);
  return *this;
}

Columns& Columns::real(const std::string& column, double value) {
  cells_.emplace_back(column, value);
  return *this;
}

Columns& Columns::integer(const std::string& column, std::int64_t value) {
  cells_.emplace_back(column, value);
  return *this;
}

Columns& Columns::text_at(const std::string& column, const json& from, const std::string& key) {
  if (from.contains(key)) cells_.emplace_back(column, from[key].get<std::string>());
  return *this;
}

Columns& Columns::real_at(const std::string& column, const json& from, const std::string& key) {
  if (from.contains(key)) cells_.emplace_back(column, from[key].get<double>());
  return *this;
}

Columns& Columns::integer_at(const std::string& column, const json& from, const std::string& key) {
  if (from.contains(key)) cells_.emplace_back(column, from[key].get<std::int64_t>());
  return *this;
}

Columns& Columns::measured_at(const std::string& name, const std::string& unit, const json& from,
                              const std::string& key) {
  if (!from.contains(key)) return *this;
  const json& measured = from[key];
  cells_.emplace_back(name + unit, measured.at("value").get<double>());
  cells_.emplace_back(name + "_u" + unit, measured.at("u").get<double>());
  cells_.emplace_back(name + "_u95" + unit, measured.at("u95").get<double>());
  return *this;
}

void Columns::insert(const Db& db, const char* verb) const {
  std::string names;
  std::string places;
  for (const auto& [name, value] : cells_) {
    names += (names.empty() ? "" : ", ") + name;
    places += places.empty() ? "?" : ", ?";
  }
  Stmt stmt(db, std::string(verb) + " INTO " + table_ + " (" + names + ") VALUES (" + places + ")");
  int parameter = 0;
  for (const auto& [name, value] : cells_) {
    ++parameter;
    std::visit([&](const auto& cell) { stmt.bind(parameter, cell); }, value);
  }
  stmt.run();
}

}  // namespace tidemark::registry
