#include "tidemark/registry/batch.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cerrno>
#include <ctime>
#include <map>
#include <set>
#include <system_error>
#include <utility>

#include "process.h"
#include "record.h"
#include "seen.h"
#include "task.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "tidemark/followup/measure.h"
#include "tidemark/registry/database.h"

namespace tidemark::registry {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr std::chrono::milliseconds kTick{200};

/// A folder that no other batch writes into, as long as this lives.
class FolderLock {
 public:
  static Expected<FolderLock> take(const fs::path& folder) {
    FolderLock lock(open((folder / ".registry.lock").c_str(), O_CREAT | O_RDWR | O_CLOEXEC, 0644));
    if (lock.file_ < 0) {
      return fail(ErrorKind::kNotWritable, folder.filename().string(),
                  "no file can be written into this folder",
                  "choose another one with --out or change its permissions");
    }
    if (flock(lock.file_, LOCK_EX | LOCK_NB) != 0) {
      if (errno == EWOULDBLOCK) {
        return fail(ErrorKind::kNotWritable, folder.filename().string(),
                    "another batch is writing into this folder",
                    "wait for it, or choose another folder with --out");
      }
      const std::string why = std::generic_category().message(errno);
      return fail(ErrorKind::kNotWritable, folder.filename().string(),
                  "it cannot be locked against other batches (" + why + ")",
                  "choose a folder on a local disk with --out");
    }
    return lock;
  }
  FolderLock(FolderLock&& other) noexcept : file_(std::exchange(other.file_, -1)) {}
  FolderLock& operator=(FolderLock&&) = delete;
  FolderLock(const FolderLock&) = delete;
  FolderLock& operator=(const FolderLock&) = delete;
  ~FolderLock() {
    if (file_ >= 0) close(file_);
  }

 private:
  explicit FolderLock(int file) : file_(file) {}
  int file_;
};

std::string now_utc() {
  const std::time_t now = std::time(nullptr);
  std::tm parts{};
  gmtime_r(&now, &parts);
  std::array<char, 32> text{};
  return {text.data(), std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%SZ", &parts)};
}

bool lies_in(const fs::path& inner, const fs::path& outer) {
  std::error_code ignored;
  const fs::path relative =
      fs::weakly_canonical(inner, ignored).lexically_relative(fs::weakly_canonical(outer, ignored));
  return !relative.empty() && *relative.begin() != "..";
}

Expected<fs::path> prepared_folder(const Plan& plan, const fs::path& out) {
  if (plan.root_is_listed && lies_in(out, plan.root)) {
    return fail(ErrorKind::kUsage, out.string(), "this lies inside the folder of the films",
                "choose a folder outside of it with --out: the films' folder is only read");
  }
  std::error_code error;
  fs::create_directories(out, error);
  if (error || !fs::is_directory(out)) {
    return fail(ErrorKind::kNotWritable, out.string(), "cannot be made a folder",
                "choose another folder with --out or change its permissions");
  }
  return out;
}

/// Which folder the root is: another one in its place, e.g. an empty mount point, is not it.
std::optional<std::string> identity_of(const fs::path& root) {
  struct stat status {};
  if (stat(root.c_str(), &status) != 0) return {};
  return std::to_string(status.st_dev) + ":" + std::to_string(status.st_ino);
}

bool is_in_shard(const HipFacts& facts, const Shard& shard) {
  const std::string text = facts.hip + "\n" + facts.reader;
  const std::string hash = sha256_hex(text);
  const auto number = std::stoull(hash.substr(0, 15), nullptr, 16);
  return number % static_cast<unsigned long long>(shard.count) + 1 ==
         static_cast<unsigned long long>(shard.index);
}

json options_json(const TaskOptions& options) {
  json out{{"accept_pixels", options.accept_pixels}, {"version", followup::version()}};
  if (!options.criteria) return out;
  out["criteria"] = options.criteria->id;
  out["criteria_sha256"] = options.criteria->sha256;
  return out;
}

/// Says what hip and options a kept folder was measured from; there as long as it is up to date.
constexpr const char* kKeptFile = "kept.sha256";
constexpr std::size_t kNameDigits = 8;

std::string kept_text(const std::string& input_sha256, const std::string& options_sha256) {
  return "input " + input_sha256 + "\noptions " + options_sha256 + "\n";
}

/// File names for hips' folders: what the file system may not like is replaced. A name that is not
/// the hip's own gets a part of its hash, after a character that no hip's own name has here: two
/// hips never share a folder.
std::string folder_name(const HipFacts& facts) {
  std::string name = facts.hip + (facts.reader.empty() ? "" : "@" + facts.reader);
  const std::string stated = name;
  for (char& c : name) {
    const bool plain = std::isalnum(static_cast<unsigned char>(c)) != 0 ||
                       std::string_view("-_.@").find(c) != std::string_view::npos;
    if (!plain) c = '_';
  }
  if (name.front() == '.') name.front() = '_';
  if (name == stated && name.find('@') == std::string::npos) return name;
  const std::string whole = facts.hip + "\n" + facts.reader;
  return name + "~" + sha256_hex(whole).substr(0, kNameDigits);
}

/// One run of a batch.
class Batch {
 public:
  Batch(const Plan& plan, const BatchOptions& options, const TaskOptions& measure,
        const BatchObserver& observer, const Db& db)
      : plan_(plan),
        options_(options),
        measure_(measure),
        observer_(observer),
        db_(db),
        seen_(db),
        workers_(options.worker, {options.seconds_per_hip, options.memory_mib}),
        options_text_(options_json(measure).dump()),
        options_sha256_(sha256_hex(options_text_)),
        root_(identity_of(plan.root)) {}

  Expected<BatchCounts> run() {
    begin();
    Expected<void> went = loop();
    if (went && !counts_.stopped) finish_rows();
    end(went ? (counts_.stopped ? "stopped" : "complete") : went.error().sentence());
    if (!went) return tl::unexpected(went.error());
    return counts_;
  }

 private:
  struct Pending {
    std::optional<followup::Series> series;
    std::optional<Error> error;
    std::vector<std::optional<std::string>> stamps;
    /// Of the stem, from before the worker reads it: one that is replaced meanwhile is seen by the
    /// next run.
    std::optional<std::string> surface;
  };

  void begin();
  void end(const std::string& outcome);
  void finish_rows();
  [[nodiscard]] Expected<void> loop();
  [[nodiscard]] Expected<void> take_next();
  [[nodiscard]] Pending pending_of(const HipJob& job) const;
  [[nodiscard]] JobContents contents_of(const Pending& pending,
                                        std::vector<std::string> films) const;
  [[nodiscard]] bool is_known(const HipJob& job, const Pending& pending);
  [[nodiscard]] Expected<void> finished(const Finished& worker);
  [[nodiscard]] Expected<void> put(Record record);
  [[nodiscard]] fs::path folder_of(const HipJob& job) const;
  [[nodiscard]] bool is_kept(const HipJob& job, const std::string& input_sha256) const;
  void forget_kept(const HipJob& job) const;
  [[nodiscard]] Expected<void> mark_kept(const HipJob& job, const std::string& input_sha256) const;
  void tell(const HipDone* done) {
    if (observer_) observer_(counts_, done);
  }

  const Plan& plan_;
  const BatchOptions& options_;
  const TaskOptions& measure_;
  const BatchObserver& observer_;
  const Db& db_;
  SeenFiles seen_;
  Workers workers_;
  std::string options_text_;
  std::string options_sha256_;
  std::optional<std::string> root_;
  std::int64_t run_ = 0;
  std::vector<const HipJob*> jobs_;  ///< of this shard
  std::size_t next_ = 0;
  std::map<std::size_t, Pending> pending_;  ///< at work, by place in jobs_
  BatchCounts counts_;
};

void Batch::begin() {
  for (const HipJob& job : plan_.jobs) {
    if (is_in_shard(job.facts, options_.shard)) jobs_.push_back(&job);
  }
  counts_.planned = jobs_.size();
  Transaction all(db_);
  Stmt(db_,
       "INSERT INTO runs (command, started, tool_version, options_sha256, options, shard, shards, "
       "jobs) VALUES ('batch', ?, ?, ?, ?, ?, ?, ?)")
      .bind(1, now_utc())
      .bind(2, followup::version())
      .bind(3, options_sha256_)
      .bind(4, options_text_)
      .bind(5, options_.shard.index)
      .bind(6, options_.shard.count)
      .bind(7, options_.jobs)
      .run();
  run_ = sqlite3_last_insert_rowid(db_.get());
  if (plan_.is_heap) write_set_aside(db_, plan_.set_aside);
  all.commit();
}

void Batch::end(const std::string& outcome) {
  try {
    Stmt(db_, "UPDATE runs SET ended = ?, outcome = ? WHERE run = ?")
        .bind(1, now_utc())
        .bind(2, outcome)
        .bind(3, run_)
        .run();
    db_.exec("PRAGMA wal_checkpoint(TRUNCATE)");
  } catch (const SqliteError&) {  // NOLINT(bugprone-empty-catch)
    // On a full disk this cannot be noted either; the rows are safe in the log.
  }
}

void Batch::finish_rows() {
  std::set<std::pair<std::string, std::string>> planned;
  for (const HipJob& job : plan_.jobs) planned.emplace(job.facts.hip, job.facts.reader);
  std::vector<std::pair<std::string, std::string>> gone;
  Stmt rows(db_, "SELECT hip, reader, status FROM hips");
  while (rows.step()) {
    const bool known = planned.count({rows.text(0), rows.text(1)}) > 0;
    if (!known) gone.emplace_back(rows.text(0), rows.text(1));
    if (known && rows.text(2) != code_of(HipStatus::kMeasured)) ++counts_.not_whole;
  }
  counts_.not_in_input = gone.size();
  if (!options_.prune) return;
  Transaction all(db_);
  for (const auto& hip : gone) {
    remove_hip(db_, hip.first, hip.second);
  }
  all.commit();
  counts_.pruned = gone.size();
  counts_.not_in_input = 0;
}

fs::path Batch::folder_of(const HipJob& job) const {
  if (!options_.keep_hips) return {};
  return fs::absolute(options_.out / *options_.keep_hips / folder_name(job.facts));
}

/// Whether the hip's folder holds this hip as it is now.
bool Batch::is_kept(const HipJob& job, const std::string& input_sha256) const {
  const fs::path folder = folder_of(job);
  std::error_code ignored;
  const auto marked = read_file(folder / kKeptFile);
  if (!marked || !fs::exists(folder / "result.json", ignored)) return false;
  const std::string text(reinterpret_cast<const char*>(marked->data()), marked->size());
  return text == kept_text(input_sha256, options_sha256_);
}

/// Before a hip is measured anew: a run that dies must not leave a folder that passes for current.
void Batch::forget_kept(const HipJob& job) const {
  std::error_code ignored;
  if (options_.keep_hips) fs::remove(folder_of(job) / kKeptFile, ignored);
}

Expected<void> Batch::mark_kept(const HipJob& job, const std::string& input_sha256) const {
  if (!options_.keep_hips) return {};
  return write_file_atomically(folder_of(job) / kKeptFile,
                               std::string_view(kept_text(input_sha256, options_sha256_)));
}

/// The hip's series, or why there is none, and what its files are.
Batch::Pending Batch::pending_of(const HipJob& job) const {
  Pending pending;
  auto series = series_of(job);
  if (!series) {
    pending.error = series.error();
    return pending;
  }
  pending.series = std::move(*series);
  for (const auto& film : pending.series->films) pending.stamps.push_back(stamp_of(film.path));
  const auto& stem = pending.series->stem;
  if (stem.surface) pending.surface = seen_.hash_of(stem.surface_path);
  return pending;
}

/// What the hip is made of, for input_hash().
JobContents Batch::contents_of(const Pending& pending, std::vector<std::string> films) const {
  JobContents out;
  if (pending.series) {
    out.sheet = pending.series->sheet_sha256;
    out.not_listed = pending.series->not_listed.size();
  }
  out.surface = pending.surface;
  out.films = std::move(films);
  if (pending.error) out.error = pending.error->sentence();
  return out;
}

/// Whether the database holds this hip as it is now.
bool Batch::is_known(const HipJob& job, const Pending& pending) {
  Stmt row(db_,
           "SELECT input_sha256, options_sha256, status FROM hips WHERE hip = ? AND reader = ?");
  row.bind(1, job.facts.hip).bind(2, job.facts.reader);
  if (!row.step() || row.text(1) != options_sha256_) return false;
  const std::string status = row.text(2);
  if (status == code_of(HipStatus::kFailed) && options_.retry_failed) return false;
  const std::string known = row.text(0);
  row.reset();
  std::vector<std::string> films;
  if (pending.series) {
    for (const auto& film : pending.series->films) films.push_back(seen_.hash_of(film.path));
  }
  if (input_hash(job, contents_of(pending, std::move(films))) != known) return false;
  const bool has_folder = status != code_of(HipStatus::kFailed) && pending.series;
  return !options_.keep_hips || !has_folder || is_kept(job, known);
}

/// Starts the next hip that is not known, if there is one; records those without a worker's help.
Expected<void> Batch::take_next() {
  const std::size_t place = next_++;
  const HipJob& job = *jobs_[place];
  Pending pending = pending_of(job);
  if (pending.error && identity_of(plan_.root) != root_) {
    return fail(ErrorKind::kBadInput, plan_.root.filename().string(), "the input has disappeared",
                "bring it back and start again with the same command: what is done is kept");
  }
  if (is_known(job, pending)) {
    ++counts_.unchanged;
    tell(nullptr);
    return {};
  }
  forget_kept(job);
  if (pending.error) {
    Record record;
    record.job = job;
    record.status = HipStatus::kRefused;
    record.reason = pending.error->sentence();
    record.input_sha256 = input_hash(job, contents_of(pending, {}));
    return put(std::move(record));
  }
  pending_[place] = std::move(pending);
  workers_.start(place, measure_task(job, measure_, folder_of(job)));
  return {};
}

/// Why a worker gave no result.
std::string why_failed(const Finished& worker, const Answer& answer) {
  if (worker.ending == Ending::kTimedOut) {
    return "it took longer than the time that a hip may take; see --timeout";
  }
  if (worker.ending == Ending::kTooMuchOutput) return "its worker wrote without end";
  if (answer.error) return answer.error->sentence();
  if (!worker.by_signal && worker.code == kNoProgram) {
    return "its worker could not be started; give it more memory with --memory";
  }
  return "its worker ended by " + end_of(worker);
}

/// What the worker said; an error when that is no whole answer.
Answer told_by(const Finished& worker, std::size_t films) {
  Answer answer;
  if (worker.ending != Ending::kDone) return answer;
  try {
    answer = answer_of(worker.output);
  } catch (const json::exception&) {
    answer.error = Error{ErrorKind::kBadInput, "worker", "gave no whole answer", ""};
  }
  if (answer.result.is_object() && answer.films.size() != films) {
    answer = {};
    answer.error = Error{ErrorKind::kBadInput, "folder", "it changed while it was measured",
                         "start again with --retry-failed"};
  }
  return answer;
}

Expected<void> Batch::finished(const Finished& worker) {
  const HipJob& job = *jobs_[worker.id];
  Pending pending = std::move(pending_[worker.id]);
  pending_.erase(worker.id);
  if (identity_of(plan_.root) != root_) {
    return fail(ErrorKind::kBadInput, plan_.root.filename().string(), "the input has disappeared",
                "bring it back and start again with the same command: what is done is kept");
  }
  Record record;
  record.job = job;
  record.seconds = worker.seconds;
  record.peak_kib = worker.peak_kib;
  const auto& films = pending.series->films;
  record.answer = told_by(worker, films.size());
  if (record.answer.error && record.answer.error->kind == ErrorKind::kNotWritable) {
    return tl::unexpected(*record.answer.error);
  }
  const bool has_result = record.answer.result.is_object();
  std::vector<std::string> hashes = record.answer.films;
  if (has_result) {
    const Judged verdict = judged(record.answer.result);
    record.status = verdict.status;
    record.reason = verdict.reason;
    for (std::size_t i = 0; i < films.size(); ++i) {
      if (pending.stamps[i] && hashes[i].size() == 64) {
        seen_.put(films[i].path, {*pending.stamps[i], hashes[i]});
      }
    }
  } else {
    record.status = HipStatus::kFailed;
    record.reason = why_failed(worker, record.answer);
    for (const auto& film : films) hashes.push_back(seen_.hash_of(film.path));
  }
  record.input_sha256 = input_hash(job, contents_of(pending, std::move(hashes)));
  record.series = std::move(pending.series);
  const std::string input_sha256 = record.input_sha256;
  const auto recorded = put(std::move(record));
  return recorded && has_result ? mark_kept(job, input_sha256) : recorded;
}

Expected<void> Batch::put(Record record) {
  record.options_sha256 = options_sha256_;
  record.tool_version = followup::version();
  Transaction all(db_);
  write_record(db_, record, run_);
  all.commit();
  std::size_t* count = record.status == HipStatus::kMeasured  ? &counts_.measured
                       : record.status == HipStatus::kPartly  ? &counts_.partly
                       : record.status == HipStatus::kRefused ? &counts_.refused
                                                              : &counts_.failed;
  ++*count;
  const HipDone done{record.job.facts.hip, record.status, record.reason, record.seconds};
  tell(&done);
  return {};
}

Expected<void> Batch::loop() {
  while (next_ < jobs_.size() || workers_.running() > 0) {
    if (options_.stop && options_.stop()) {
      counts_.stopped = true;
      return {};
    }
    const auto jobs = static_cast<std::size_t>(options_.jobs);
    if (next_ < jobs_.size() && workers_.running() < jobs) {
      const auto taken = take_next();
      if (!taken) return tl::unexpected(taken.error());
      if (workers_.running() < jobs && next_ < jobs_.size()) continue;
    }
    if (workers_.running() == 0) continue;
    for (const Finished& worker : workers_.wait(kTick)) {
      const auto recorded = finished(worker);
      if (!recorded) return tl::unexpected(recorded.error());
    }
    tell(nullptr);
  }
  return {};
}

}  // namespace

std::string code_of(HipStatus status) {
  switch (status) {
    case HipStatus::kMeasured:
      return "measured";
    case HipStatus::kPartly:
      return "partly";
    case HipStatus::kRefused:
      return "refused";
    case HipStatus::kFailed:
      break;
  }
  return "failed";
}

Expected<BatchCounts> run_batch(const Plan& plan, const BatchOptions& options,
                                const BatchObserver& observer) {
  const auto measure = task_options(options.measure);
  if (!measure) return tl::unexpected(measure.error());
  const auto folder = prepared_folder(plan, options.out);
  if (!folder) return tl::unexpected(folder.error());
  const auto lock = FolderLock::take(*folder);
  if (!lock) return tl::unexpected(lock.error());
  const fs::path file = *folder / kDatabaseFile;
  auto database = Database::open_or_make(file);
  if (!database) return tl::unexpected(database.error());
  try {
    return Batch(plan, options, *measure, observer, database->db()).run();
  } catch (const SqliteError& error) {
    return tl::unexpected(error_of(error, kDatabaseFile));
  } catch (const std::system_error& error) {
    return fail(ErrorKind::kNotWritable, "batch",
                std::string("the system gives no process or memory (") + error.what() + ")",
                "lower --jobs and start again with the same command: what is done is kept");
  }
}

}  // namespace tidemark::registry
