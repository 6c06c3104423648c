#pragma once

#include <sqlite3.h>

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

#include "tidemark/core/expected.h"

// A thin owner of SQLite's handles, for the sources of this module only. Failures are thrown as
// SqliteError and turned into an Error at the module's border (error_of).

namespace tidemark::registry {

/// What SQLite refused. `code` is its extended result code.
class SqliteError : public std::runtime_error {
 public:
  SqliteError(int code, const std::string& what) : std::runtime_error(what), code_(code) {}
  [[nodiscard]] int code() const { return code_; }

 private:
  int code_;
};

/// One sentence: what is wrong with the database `subject` and what to do. kNotWritable for a full
/// disk, a read-only file or folder and errors of the device; else kBadInput.
[[nodiscard]] Error error_of(const SqliteError& error, const std::string& subject);

/// One open database.
class Db {
 public:
  /// @param flags SQLITE_OPEN_...
  Db(const std::filesystem::path& file, int flags);
  void exec(const char* sql) const;
  [[nodiscard]] sqlite3* get() const { return db_.get(); }

 private:
  struct Close {
    void operator()(sqlite3* db) const { sqlite3_close_v2(db); }
  };
  std::unique_ptr<sqlite3, Close> db_;
};

/// One prepared statement. Indices of parameters count from 1, of columns from 0, as SQLite's.
class Stmt {
 public:
  Stmt(const Db& db, std::string_view sql);
  Stmt& bind(int parameter, double value);
  Stmt& bind(int parameter, std::int64_t value);
  Stmt& bind(int parameter, int value) { return bind(parameter, std::int64_t{value}); }
  Stmt& bind(int parameter, std::string_view value);
  Stmt& bind(int parameter, const std::string& value) {
    return bind(parameter, std::string_view(value));
  }
  Stmt& bind(int parameter, const char* value) { return bind(parameter, std::string_view(value)); }
  Stmt& bind_null(int parameter);
  /// An absent value is NULL.
  template <class T>
  Stmt& bind(int parameter, const std::optional<T>& value) {
    return value ? bind(parameter, *value) : bind_null(parameter);
  }
  /// Goes to the next row. False at the end; the statement may then be bound and stepped again.
  bool step();
  /// Runs a statement that gives no rows.
  void run();
  /// Back to before the first row; bound values stay.
  void reset();

  [[nodiscard]] int columns() const { return sqlite3_column_count(stmt_.get()); }
  [[nodiscard]] std::string name(int column) const;
  [[nodiscard]] bool is_null(int column) const;
  [[nodiscard]] double real(int column) const { return sqlite3_column_double(stmt_.get(), column); }
  [[nodiscard]] std::int64_t integer(int column) const {
    return sqlite3_column_int64(stmt_.get(), column);
  }
  [[nodiscard]] std::string text(int column) const;
  [[nodiscard]] std::optional<double> maybe_real(int column) const;
  [[nodiscard]] std::optional<std::int64_t> maybe_integer(int column) const;
  [[nodiscard]] std::optional<std::string> maybe_text(int column) const;
  [[nodiscard]] sqlite3_stmt* get() const { return stmt_.get(); }

 private:
  struct Finalize {
    void operator()(sqlite3_stmt* stmt) const { sqlite3_finalize(stmt); }
  };
  const Db& db_;
  std::unique_ptr<sqlite3_stmt, Finalize> stmt_;
};

/// Everything until commit(), or nothing. Begins immediately: a deferred transaction could fail
/// half-way as busy in spite of the timeout.
class Transaction {
 public:
  explicit Transaction(const Db& db) : db_(db) { db_.exec("BEGIN IMMEDIATE"); }
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  Transaction(Transaction&&) = delete;
  Transaction& operator=(Transaction&&) = delete;
  ~Transaction();
  void commit();

 private:
  const Db& db_;
  bool done_ = false;
};

/// What is read while it lives is of one moment, whatever other processes write meanwhile.
class Snapshot {
 public:
  explicit Snapshot(const Db& db) : db_(db) { db_.exec("BEGIN"); }
  Snapshot(const Snapshot&) = delete;
  Snapshot& operator=(const Snapshot&) = delete;
  Snapshot(Snapshot&&) = delete;
  Snapshot& operator=(Snapshot&&) = delete;
  ~Snapshot();

 private:
  const Db& db_;
};

}  // namespace tidemark::registry
