#include "sqlite.h"

namespace tidemark::registry {
namespace {

constexpr int kBusyMs = 10000;
constexpr int kPrimaryCode = 0xFF;  ///< an extended code's lowest byte is the primary code

void check(const Db& db, int code) {
  if (code == SQLITE_OK) return;
  throw SqliteError(sqlite3_extended_errcode(db.get()), sqlite3_errmsg(db.get()));
}

}  // namespace

Error error_of(const SqliteError& error, const std::string& subject) {
  switch (error.code() & kPrimaryCode) {
    case SQLITE_FULL:
      return {ErrorKind::kNotWritable, subject, "the disk is full",
              "make room and start again with the same command: what is done is kept"};
    case SQLITE_READONLY:
    case SQLITE_CANTOPEN:
    case SQLITE_PERM:
      return {ErrorKind::kNotWritable, subject, "the database cannot be opened for writing",
              "check the folder's permissions"};
    case SQLITE_IOERR:
      return {ErrorKind::kNotWritable, subject,
              "the disk or share does not answer (" + std::string(error.what()) + ")",
              "see that it is there and start again: what is done is kept"};
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return {ErrorKind::kNotWritable, subject, "another program keeps the database locked",
              "wait for it to end"};
    case SQLITE_NOTADB:
    case SQLITE_CORRUPT:
      return {ErrorKind::kBadInput, subject, "this is no whole database",
              "restore it from a copy, or measure into another folder"};
    default:
      return {ErrorKind::kBadInput, subject, error.what(), "see docs/registry.md"};
  }
}

Db::Db(const std::filesystem::path& file, int flags) {
  sqlite3* raw = nullptr;
  const int code = sqlite3_open_v2(file.c_str(), &raw, flags | SQLITE_OPEN_EXRESCODE, nullptr);
  db_.reset(raw);  // a failed open may give a handle as well, which must be closed
  if (code != SQLITE_OK) throw SqliteError(code, sqlite3_errstr(code));
  sqlite3_busy_timeout(raw, kBusyMs);
}

void Db::exec(const char* sql) const {
  check(*this, sqlite3_exec(db_.get(), sql, nullptr, nullptr, nullptr));
}

Stmt::Stmt(const Db& db, std::string_view sql) : db_(db) {
  sqlite3_stmt* raw = nullptr;
  const int code = sqlite3_prepare_v3(db.get(), sql.data(), static_cast<int>(sql.size()),
                                      SQLITE_PREPARE_PERSISTENT, &raw, nullptr);
  stmt_.reset(raw);
  check(db, code);
}

Stmt& Stmt::bind(int parameter, double value) {
  check(db_, sqlite3_bind_double(stmt_.get(), parameter, value));
  return *this;
}

Stmt& Stmt::bind(int parameter, std::int64_t value) {
  check(db_, sqlite3_bind_int64(stmt_.get(), parameter, value));
  return *this;
}

Stmt& Stmt::bind(int parameter, std::string_view value) {
  // The destructor -1 (SQLITE_TRANSIENT) makes SQLite copy the text; its macro is an old-style
  // cast.
  const auto copy = reinterpret_cast<sqlite3_destructor_type>(-1);  // NOLINT
  check(db_, sqlite3_bind_text(stmt_.get(), parameter, value.data(), static_cast<int>(value.size()),
                               copy));
  return *this;
}

Stmt& Stmt::bind_null(int parameter) {
  check(db_, sqlite3_bind_null(stmt_.get(), parameter));
  return *this;
}

bool Stmt::step() {
  const int code = sqlite3_step(stmt_.get());
  if (code == SQLITE_ROW) return true;
  if (code != SQLITE_DONE) {
    const SqliteError error(sqlite3_extended_errcode(db_.get()), sqlite3_errmsg(db_.get()));
    sqlite3_reset(stmt_.get());
    throw error;
  }
  sqlite3_reset(stmt_.get());
  return false;
}

void Stmt::run() {
  while (step()) {
  }
}

void Stmt::reset() { sqlite3_reset(stmt_.get()); }

std::string Stmt::name(int column) const { return sqlite3_column_name(stmt_.get(), column); }

bool Stmt::is_null(int column) const {
  return sqlite3_column_type(stmt_.get(), column) == SQLITE_NULL;
}

std::string Stmt::text(int column) const {
  const unsigned char* bytes = sqlite3_column_text(stmt_.get(), column);
  const int size = sqlite3_column_bytes(stmt_.get(), column);
  return bytes == nullptr ? std::string() : std::string(bytes, bytes + size);
}

std::optional<double> Stmt::maybe_real(int column) const {
  if (is_null(column)) return {};
  return real(column);
}

std::optional<std::int64_t> Stmt::maybe_integer(int column) const {
  if (is_null(column)) return {};
  return integer(column);
}

std::optional<std::string> Stmt::maybe_text(int column) const {
  if (is_null(column)) return {};
  return text(column);
}

namespace {

void roll_back(const Db& db) {
  try {
    db.exec("ROLLBACK");
  } catch (const SqliteError&) {  // NOLINT(bugprone-empty-catch): SQLite has rolled back already
  }
}

}  // namespace

Transaction::~Transaction() {
  if (!done_) roll_back(db_);
}

Snapshot::~Snapshot() { roll_back(db_); }

void Transaction::commit() {
  db_.exec("COMMIT");
  done_ = true;
}

}  // namespace tidemark::registry
