#include "tidemark/registry/merge.h"

#include <fcntl.h>
#include <unistd.h>

#include <array>
#include <ctime>
#include <string>
#include <system_error>

#include "sqlite.h"
#include "tables.h"
#include "tidemark/followup/measure.h"
#include "tidemark/registry/database.h"

namespace tidemark::registry {
namespace {

namespace fs = std::filesystem;

constexpr const char* kMakeList =
    "CREATE TEMP TABLE all_hips (part INTEGER, old_id INTEGER, hip TEXT, reader TEXT, "
    "input_sha256 TEXT, options_sha256 TEXT, status TEXT)";
// Of a hip that stands in several parts the first is taken; all of them must say the same.
constexpr const char* kMakeIds =
    "CREATE TEMP TABLE ids AS SELECT part, old_id, row_number() OVER (ORDER BY hip, reader) "
    "AS new_id FROM (SELECT min(part) AS part, old_id, hip, reader FROM all_hips "
    "GROUP BY hip, reader)";

/// A part, attached under the name `part` as long as this lives.
class Attached {
 public:
  Attached(const Db& db, const fs::path& file) : db_(db) {
    Stmt(db, "ATTACH DATABASE ? AS part").bind(1, file.string()).run();
  }
  Attached(const Attached&) = delete;
  Attached& operator=(const Attached&) = delete;
  Attached(Attached&&) = delete;
  Attached& operator=(Attached&&) = delete;
  ~Attached() {
    try {
      db_.exec("DETACH DATABASE part");
    } catch (const SqliteError&) {  // NOLINT(bugprone-empty-catch): it goes with the connection
    }
  }

 private:
  const Db& db_;
};

/// All columns of a table but one, each after `prefix`.
std::string columns_but(const Db& db, const std::string& table, const std::string& without,
                        const std::string& prefix = {}) {
  Stmt names(db, "SELECT name FROM pragma_table_info('" + table + "') WHERE name <> ?");
  names.bind(1, without);
  std::string out;
  while (names.step()) out += (out.empty() ? "" : ", ") + prefix + names.text(0);
  return out;
}

void list_hips(const Db& db, const std::vector<fs::path>& parts) {
  db.exec(kMakeList);
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const Attached part(db, parts[i]);
    Stmt(db,
         "INSERT INTO all_hips SELECT ?, hip_id, hip, reader, input_sha256, options_sha256, status "
         "FROM part.hips")
        .bind(1, static_cast<std::int64_t>(i))
        .run();
  }
  db.exec(kMakeIds);
}

Expected<void> check_hips(const Db& db) {
  Stmt options(db, "SELECT count(DISTINCT options_sha256) FROM all_hips");
  if (options.step() && options.integer(0) > 1) {
    return fail(ErrorKind::kBadInput, "merge",
                "the parts were measured with different options or versions of the program",
                "measure all of them with the same ones");
  }
  Stmt differing(db,
                 "SELECT hip FROM all_hips GROUP BY hip, reader HAVING "
                 "count(DISTINCT input_sha256) > 1 OR count(DISTINCT status) > 1 ORDER BY hip");
  if (differing.step()) {
    return fail(ErrorKind::kBadInput, "merge",
                "two parts hold the hip " + differing.text(0) + " with different films or results",
                "merge the parts of one run");
  }
  return {};
}

/// The rows of one part, under their new numbers.
void copy_part(const Db& db, const fs::path& file, std::size_t number) {
  const Attached part(db, file);
  Transaction all(db);
  const std::string from_ids =
      " AS t JOIN ids ON ids.old_id = t.hip_id AND ids.part = " + std::to_string(number);
  db.exec(("INSERT INTO main.hips (hip_id, " + columns_but(db, "hips", "hip_id") +
           ") SELECT ids.new_id, " + columns_but(db, "hips", "hip_id", "t.") + " FROM part.hips" +
           from_ids)
              .c_str());
  for (const HipTable& table : kHipTables) {
    const std::string name = table.name;
    std::string copy = "INSERT INTO main.";
    copy.append(name).append(" (hip_id, ").append(columns_but(db, name, "hip_id"));
    copy.append(") SELECT ids.new_id, ").append(columns_but(db, name, "hip_id", "t."));
    copy.append(" FROM part.").append(name).append(from_ids);
    db.exec(copy.c_str());
  }
  db.exec("INSERT OR IGNORE INTO main.set_aside SELECT * FROM part.set_aside");
  Stmt last(db, "SELECT coalesce(max(run), 0) FROM main.runs");
  const std::string runs = last.step() ? std::to_string(last.integer(0)) : "0";
  last.reset();
  const std::string run_columns = columns_but(db, "runs", "run");
  db.exec(("INSERT INTO main.runs (run, " + run_columns + ") SELECT run + " + runs + ", " +
           run_columns + " FROM part.runs")
              .c_str());
  db.exec(("INSERT INTO main.attempts (run, hip, reader, input_sha256, options_sha256, status, "
           "seconds, peak_kib) SELECT run + " +
           runs +
           ", hip, reader, input_sha256, options_sha256, status, seconds, peak_kib FROM "
           "part.attempts ORDER BY attempt")
              .c_str());
  all.commit();
}

void remove_database(const fs::path& file) {
  std::error_code ignored;
  for (const char* suffix : {"", "-wal", "-shm", "-journal"}) {
    fs::remove(file.string() + suffix, ignored);
  }
}

Expected<std::size_t> fill(const std::vector<fs::path>& parts, const fs::path& file) {
  auto database = Database::open_or_make(file);
  if (!database) return tl::unexpected(database.error());
  const Db& db = database->db();
  list_hips(db, parts);
  const auto checked = check_hips(db);
  if (!checked) return tl::unexpected(checked.error());
  for (std::size_t i = 0; i < parts.size(); ++i) copy_part(db, parts[i], i);
  // One file without a log beside it: it can be copied, and stand on a share.
  db.exec("PRAGMA wal_checkpoint(TRUNCATE)");
  db.exec("PRAGMA journal_mode = DELETE");
  Stmt count(db, "SELECT count(*) FROM hips");
  return count.step() ? static_cast<std::size_t>(count.integer(0)) : 0;
}

}  // namespace

Expected<Merged> merge_databases(const std::vector<fs::path>& parts, const fs::path& out) {
  for (const fs::path& part : parts) {
    const auto opened = Database::open(part);
    if (!opened) return tl::unexpected(opened.error());
  }
  const fs::path beside = out.string() + ".part-" + std::to_string(getpid());
  remove_database(beside);
  try {
    const auto hips = fill(parts, beside);
    if (!hips) {
      remove_database(beside);
      return tl::unexpected(hips.error());
    }
    for (const char* suffix : {"-wal", "-shm"}) fs::remove(out.string() + suffix);
    fs::rename(beside, out);
    return Merged{*hips, parts.size()};
  } catch (const SqliteError& error) {
    remove_database(beside);
    return tl::unexpected(error_of(error, out.filename().string()));
  } catch (const fs::filesystem_error&) {
    remove_database(beside);
    return fail(ErrorKind::kNotWritable, out.string(), "the database cannot take its place",
                "choose another file with --out");
  }
}

}  // namespace tidemark::registry
