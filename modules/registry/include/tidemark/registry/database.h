#pragma once

#include <filesystem>
#include <memory>

#include "tidemark/core/expected.h"

namespace tidemark::registry {

class Db;  // SQLite's handle, src/sqlite.h

/// Name of the database in the folder of a batch.
inline constexpr const char* kDatabaseFile = "registry.sqlite";

/// A registry's database: hips, films, comparisons, zones, findings and what they were made from.
/// Tables and columns: docs/registry-data-dictionary.md.
class Database {
 public:
  /// Opens an existing database for reading. A database of an older schema is refused, because a
  /// reader does not change it.
  /// @return kBadInput when the file is missing, no such database, or of another schema.
  [[nodiscard]] static Expected<Database> open(const std::filesystem::path& file);

  /// Opens a database for writing, makes it when it is missing, and brings an older schema to this
  /// one. Write-ahead log, each commit flushed to the disk.
  /// @return kNotWritable; kBadInput when the file is no such database or of a newer schema.
  [[nodiscard]] static Expected<Database> open_or_make(const std::filesystem::path& file);

  Database(Database&&) noexcept;
  Database& operator=(Database&&) noexcept;
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;
  ~Database();

  [[nodiscard]] const Db& db() const { return *db_; }
  [[nodiscard]] const std::filesystem::path& file() const { return file_; }

 private:
  Database(std::unique_ptr<Db> db, std::filesystem::path file);
  std::unique_ptr<Db> db_;
  std::filesystem::path file_;
};

}  // namespace tidemark::registry
