#include "tidemark/registry/database.h"

#include "schema.h"
#include "sqlite.h"

namespace tidemark::registry {
namespace {

// "TdMk": PRAGMA application_id, so that a database can be told from any other one.
constexpr std::int64_t kApplicationId = 0x54644D6B;
constexpr int kWalTries = 100;
constexpr int kWalWaitMs = 20;

std::int64_t pragma(const Db& db, const char* sql) {
  Stmt stmt(db, sql);
  return stmt.step() ? stmt.integer(0) : 0;
}

/// Two processes that make one file at a time collide here whatever the busy timeout says.
void use_write_ahead_log(const Db& db) {
  for (int i = 0;; ++i) {
    try {
      db.exec("PRAGMA journal_mode = WAL");
      break;
    } catch (const SqliteError& error) {
      if (i == kWalTries || (error.code() & 0xFF) != SQLITE_BUSY) throw;
      sqlite3_sleep(kWalWaitMs);
    }
  }
  // A database is the work of a night: FULL keeps the last commits through a power cut too.
  db.exec("PRAGMA synchronous = FULL");
}

/// Whether the file is a registry's, or an empty one that may become it.
Expected<void> check_kind(const Db& db, const std::string& name) {
  const auto id = pragma(db, "PRAGMA application_id");
  const auto tables = pragma(db, "SELECT count(*) FROM sqlite_master");
  if (id == kApplicationId || (id == 0 && tables == 0)) return {};
  return fail(ErrorKind::kBadInput, name, "this is a database of another program",
              "name one that tidemark batch has made");
}

Expected<void> check_version(std::int64_t version, std::int64_t wanted, const std::string& name) {
  if (version > wanted) {
    return fail(ErrorKind::kBadInput, name,
                "it is of schema " + std::to_string(version) + ", newer than this program's " +
                    std::to_string(wanted),
                "use the newer program");
  }
  return {};
}

void migrate(const Db& db) {
  const auto& texts = schema_texts();
  Transaction all(db);  // the version is read inside: another process may have been faster
  auto version = static_cast<std::size_t>(pragma(db, "PRAGMA user_version"));
  for (; version < texts.size(); ++version) {
    db.exec(texts[version].c_str());
    db.exec(("PRAGMA user_version = " + std::to_string(version + 1)).c_str());
  }
  db.exec(("PRAGMA application_id = " + std::to_string(kApplicationId)).c_str());
  all.commit();
}

}  // namespace

Database::Database(std::unique_ptr<Db> db, std::filesystem::path file)
    : db_(std::move(db)), file_(std::move(file)) {}
Database::Database(Database&&) noexcept = default;
Database& Database::operator=(Database&&) noexcept = default;
Database::~Database() = default;

Expected<Database> Database::open(const std::filesystem::path& file) {
  const std::string name = file.filename();
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(file, ignored)) {
    return fail(ErrorKind::kBadInput, name, "there is no such database",
                "name the file that tidemark batch has made");
  }
  try {
    auto db = std::make_unique<Db>(file, SQLITE_OPEN_READONLY);
    const auto kind = check_kind(*db, name);
    if (!kind) return tl::unexpected(kind.error());
    const auto wanted = static_cast<std::int64_t>(schema_texts().size());
    const auto version = pragma(*db, "PRAGMA user_version");
    const auto known = check_version(version, wanted, name);
    if (!known) return tl::unexpected(known.error());
    if (version < wanted) {
      return fail(ErrorKind::kBadInput, name,
                  "it is of the older schema " + std::to_string(version),
                  "start tidemark batch on its folder again: that brings it up");
    }
    return Database(std::move(db), file);
  } catch (const SqliteError& error) {
    Error said = error_of(error, name);
    said.kind = ErrorKind::kBadInput;
    return tl::unexpected(said);
  }
}

Expected<Database> Database::open_or_make(const std::filesystem::path& file) {
  const std::string name = file.filename();
  try {
    auto db = std::make_unique<Db>(file, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE);
    const auto kind = check_kind(*db, name);
    if (!kind) return tl::unexpected(kind.error());
    const auto wanted = static_cast<std::int64_t>(schema_texts().size());
    const auto known = check_version(pragma(*db, "PRAGMA user_version"), wanted, name);
    if (!known) return tl::unexpected(known.error());
    use_write_ahead_log(*db);
    migrate(*db);
    db->exec("PRAGMA foreign_keys = ON");
    return Database(std::move(db), file);
  } catch (const SqliteError& error) {
    return tl::unexpected(error_of(error, name));
  }
}

}  // namespace tidemark::registry
