#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "sqlite.h"

namespace tidemark::registry {

/// Size, inode and times of a file; absent when it cannot be looked at.
[[nodiscard]] std::optional<std::string> stamp_of(const std::filesystem::path& file);

/// A file as it was when it was last read.
struct SeenFile {
  std::string stamp;
  std::string sha256;
};

/// Files read before, by a salted hash of their path (table seen_files).
class SeenFiles {
 public:
  explicit SeenFiles(const Db& db);
  [[nodiscard]] std::optional<SeenFile> find(const std::filesystem::path& file) const;
  void put(const std::filesystem::path& file, const SeenFile& seen) const;
  /// content_hash() of a file: from the table when its stamp is the same, else read.
  [[nodiscard]] std::string hash_of(const std::filesystem::path& file) const;

 private:
  [[nodiscard]] std::string key_of(const std::filesystem::path& file) const;

  const Db& db_;
  std::string salt_;
};

}  // namespace tidemark::registry
