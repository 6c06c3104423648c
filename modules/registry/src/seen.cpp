#include "seen.h"

#include <sys/stat.h>

#include <random>

#include "tidemark/core/hash.h"
#include "tidemark/registry/job.h"

namespace tidemark::registry {
namespace {

std::string new_salt() {
  std::random_device device;
  std::string salt;
  for (int i = 0; i < 4; ++i) salt += std::to_string(device()) + "-";
  return salt;
}

}  // namespace

std::optional<std::string> stamp_of(const std::filesystem::path& file) {
  struct stat status {};
  if (stat(file.c_str(), &status) != 0) return {};
  const auto time = [](const timespec& t) {
    return std::to_string(t.tv_sec) + "." + std::to_string(t.tv_nsec);
  };
  return std::to_string(status.st_size) + " " + std::to_string(status.st_ino) + " " +
         time(status.st_mtim) + " " + time(status.st_ctim);
}

SeenFiles::SeenFiles(const Db& db) : db_(db) {
  Stmt(db, "INSERT OR IGNORE INTO meta (key, value) VALUES ('salt', ?)").bind(1, new_salt()).run();
  Stmt salt(db, "SELECT value FROM meta WHERE key = 'salt'");
  if (salt.step()) salt_ = salt.text(0);
}

std::string SeenFiles::key_of(const std::filesystem::path& file) const {
  std::error_code ignored;
  const std::string text = salt_ + std::filesystem::absolute(file, ignored).string();
  return sha256_hex(text);
}

std::optional<SeenFile> SeenFiles::find(const std::filesystem::path& file) const {
  Stmt stmt(db_, "SELECT stamp, sha256 FROM seen_files WHERE path_sha256 = ?");
  stmt.bind(1, key_of(file));
  if (!stmt.step()) return {};
  return SeenFile{stmt.text(0), stmt.text(1)};
}

void SeenFiles::put(const std::filesystem::path& file, const SeenFile& seen) const {
  Stmt(db_,
       "INSERT INTO seen_files (path_sha256, stamp, sha256) VALUES (?1, ?2, ?3) "
       "ON CONFLICT DO UPDATE SET stamp = ?2, sha256 = ?3")
      .bind(1, key_of(file))
      .bind(2, seen.stamp)
      .bind(3, seen.sha256)
      .run();
}

std::string SeenFiles::hash_of(const std::filesystem::path& file) const {
  const auto stamp = stamp_of(file);
  const auto seen = find(file);
  if (stamp && seen && seen->stamp == *stamp) return seen->sha256;
  std::string hash = content_hash(file);
  if (stamp && hash.size() == 64) put(file, {*stamp, hash});
  return hash;
}

}  // namespace tidemark::registry
