#include "tidemark/registry/merge.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <map>
#include <set>
#include <string>
#include <system_error>
#include <utility>

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

/// Something that a merged table lacks.
struct Lack {
  std::string file;  ///< that says so; empty: none is there
  std::string what;
};

/// Runs of the databases, as far as they tell whether all hips are there.
class Wholeness {
 public:
  /// Looks at the last run of a database, and at earlier ones over other parts of the same batch.
  void look(const Db& db, const fs::path& file) {
    Stmt runs(db, "SELECT command, shard, shards, outcome FROM runs ORDER BY run DESC");
    if (!runs.step()) {
      lacks_.push_back({file.string(), "it holds no run of a batch"});
      return;
    }
    const std::int64_t count = runs.integer(2);
    const bool merged = runs.text(0) == "merge";
    if (merged && !is_complete(runs)) lacks_.push_back({file.string(), runs.text(3)});
    if (merged) return;
    std::set<std::int64_t> seen;
    do {
      if (runs.integer(2) != count || !seen.insert(runs.integer(1)).second) continue;
      note(runs, file);
      if (count == 1) return;
    } while (runs.step());
  }

  /// The numbers of parts that the batches were cut into; one or none is as it should be.
  [[nodiscard]] std::vector<std::int64_t> counts() const {
    std::vector<std::int64_t> out;
    for (const auto& [count, parts] : parts_) out.push_back(count);
    return out;
  }

  /// What is not there.
  [[nodiscard]] std::vector<Lack> missing() const {
    std::vector<Lack> out = lacks_;
    for (const auto& [count, parts] : parts_) {
      for (std::int64_t i = 1; i <= count; ++i) {
        if (parts.count(i) == 0) out.push_back({"", part_text(i, count) + " is missing"});
      }
    }
    return out;
  }

 private:
  static bool is_complete(const Stmt& run) { return !run.is_null(3) && run.text(3) == "complete"; }
  static std::string part_text(std::int64_t part, std::int64_t count) {
    return "part " + std::to_string(part) + " of " + std::to_string(count);
  }

  void note(const Stmt& run, const fs::path& file) {
    const std::int64_t part = run.integer(1);
    const std::int64_t count = run.integer(2);
    if (count > 1) parts_[count].insert(part);
    if (is_complete(run)) return;
    const std::string what = count > 1 ? part_text(part, count) : "its last run";
    lacks_.push_back({file.string(), what + " was not finished (" +
                                         (run.is_null(3) ? "killed" : run.text(3)) + ")"});
  }

  std::map<std::int64_t, std::set<std::int64_t>> parts_;  ///< that were begun, by their number
  std::vector<Lack> lacks_;
};

constexpr std::size_t kMostTold = 10;  ///< of what is missing, in one sentence; house choice

std::vector<std::string> told_to_user(const std::vector<Lack>& lacks) {
  std::vector<std::string> out;
  out.reserve(lacks.size());
  for (const Lack& lack : lacks) {
    out.push_back((lack.file.empty() ? "" : lack.file + ": ") + lack.what);
  }
  return out;
}

/// For the table `runs`: no path goes into a database.
std::vector<std::string> told_to_table(const std::vector<Lack>& lacks) {
  std::vector<std::string> out;
  out.reserve(lacks.size());
  for (const Lack& lack : lacks) out.push_back(lack.what);
  return out;
}

std::string listed(const std::vector<std::string>& phrases) {
  std::string out;
  for (std::size_t i = 0; i < std::min(phrases.size(), kMostTold); ++i) {
    out += (i == 0 ? "" : ", ") + phrases[i];
  }
  if (phrases.size() > kMostTold) {
    out += " and " + std::to_string(phrases.size() - kMostTold) + " more";
  }
  return out;
}

/// What the parts lack, when that is allowed.
Expected<std::vector<Lack>> missing_of(const std::vector<fs::path>& parts, MissingParts allowed) {
  Wholeness wholeness;
  for (const fs::path& part : parts) {
    const auto opened = Database::open(part);
    if (!opened) return tl::unexpected(opened.error());
    wholeness.look(opened->db(), part);
  }
  std::vector<Lack> missing = wholeness.missing();
  if (missing.empty() || allowed == MissingParts::kAllow) return missing;
  const auto counts = wholeness.counts();
  if (counts.size() > 1) {
    return fail(ErrorKind::kBadInput, "merge",
                "these are parts of batches in " + std::to_string(counts[0]) + " and " +
                    std::to_string(counts[1]) + " parts, not all of them",
                "merge the parts of one batch, or what there is with --allow-missing");
  }
  return fail(ErrorKind::kBadInput, "merge", listed(told_to_user(missing)),
              "finish and name every part, or merge what there is with --allow-missing");
}

/// Leaves in the database how whole it is.
void note_merge(const Db& db, const std::vector<Lack>& missing) {
  Stmt(db,
       "INSERT INTO runs (command, started, ended, outcome, tool_version, options_sha256, options) "
       "SELECT 'merge', strftime('%Y-%m-%dT%H:%M:%SZ', 'now'), "
       "strftime('%Y-%m-%dT%H:%M:%SZ', 'now'), ?, ?, options_sha256, options FROM runs "
       "ORDER BY run DESC LIMIT 1")
      .bind(1, missing.empty() ? std::string("complete") : listed(told_to_table(missing)))
      .bind(2, followup::version())
      .run();
}

Expected<void> check_folder(const fs::path& out) {
  const fs::path folder = out.has_parent_path() ? out.parent_path() : fs::path(".");
  std::error_code ignored;
  if (fs::is_directory(folder, ignored)) return {};
  return fail(ErrorKind::kNotWritable, folder.string(), "there is no such folder",
              "make it, or choose another file with --out");
}

bool is_in_the_way(const fs::path& out) {
  std::error_code ignored;
  if (!fs::exists(out, ignored)) return false;
  const auto size = fs::file_size(out, ignored);
  return ignored || size > 0;  // an empty file holds nothing that could be lost
}

/// Whatever stands at `out` is replaced only when it is a registry.
Expected<void> check_place(const fs::path& out) {
  if (auto folder = check_folder(out); !folder || !is_in_the_way(out)) return folder;
  const auto old = Database::open(out);
  if (old) return {};
  return fail(
      ErrorKind::kNotWritable, out.string(),
      "there is such a file already, and no registry to be replaced (" + old.error().wrong + ")",
      "choose another file with --out, or move this one away");
}

/// The registry at `out` is replaced only by one that holds all of its hips.
Expected<void> check_nothing_is_lost(const Db& db, const fs::path& out) {
  if (!is_in_the_way(out)) return {};
  const Attached old(db, out);
  Stmt lost(
      db,
      "SELECT count(*), min(hip) FROM part.hips AS o WHERE NOT EXISTS (SELECT 1 FROM all_hips "
      "AS n WHERE n.hip = o.hip AND n.reader = o.reader)");
  if (!lost.step() || lost.integer(0) == 0) return {};
  const auto count = lost.integer(0);
  return fail(ErrorKind::kNotWritable, out.string(),
              "it holds " + std::to_string(count) + (count == 1 ? " hip" : " hips") +
                  " that no part has, " + lost.text(1) + (count == 1 ? "" : " among them"),
              "name it among the parts as well, or choose another file with --out");
}

Expected<Merged> fill(const std::vector<fs::path>& parts, const fs::path& file, const fs::path& out,
                      MissingParts allowed) {
  auto database = Database::open_or_make(file);
  if (!database) return tl::unexpected(database.error());
  const Db& db = database->db();
  list_hips(db, parts);
  const auto checked = check_hips(db);
  if (!checked) return tl::unexpected(checked.error());
  const auto missing = missing_of(parts, allowed);
  if (!missing) return tl::unexpected(missing.error());
  if (const auto kept = check_nothing_is_lost(db, out); !kept) return tl::unexpected(kept.error());
  for (std::size_t i = 0; i < parts.size(); ++i) copy_part(db, parts[i], i);
  note_merge(db, *missing);
  // One file without a log beside it: it can be copied, and stand on a share.
  db.exec("PRAGMA wal_checkpoint(TRUNCATE)");
  db.exec("PRAGMA journal_mode = DELETE");
  Stmt count(db, "SELECT count(*) FROM hips");
  const auto hips = count.step() ? static_cast<std::size_t>(count.integer(0)) : 0;
  return Merged{hips, parts.size(), told_to_user(*missing)};
}

}  // namespace

Expected<Merged> merge_databases(const std::vector<fs::path>& parts, const fs::path& out,
                                 MissingParts missing) {
  for (const fs::path& part : parts) {
    const auto opened = Database::open(part);
    if (!opened) return tl::unexpected(opened.error());
  }
  if (const auto place = check_place(out); !place) return tl::unexpected(place.error());
  const fs::path beside = out.string() + ".part-" + std::to_string(getpid());
  remove_database(beside);
  try {
    auto merged = fill(parts, beside, out, missing);
    if (!merged) {
      remove_database(beside);
      return merged;
    }
    for (const char* suffix : {"-wal", "-shm"}) fs::remove(out.string() + suffix);
    fs::rename(beside, out);
    return merged;
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
