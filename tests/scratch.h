#pragma once

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <system_error>

namespace tidemark::test {

/// A new, empty folder for one test, removed with all that is in it when the object goes. Its name
/// is drawn at random, so tests that run at the same time do not meet.
class Scratch {
 public:
  /// @param root where it is made; the system's temporary folder unless said otherwise.
  explicit Scratch(const std::filesystem::path& root = std::filesystem::temp_directory_path()) {
    std::string pattern = (root / "tidemark-XXXXXX").string();
    if (::mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder");
    path_ = pattern;
  }
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  ~Scratch() {
    std::error_code ignored;  // a destructor must not throw; the test's own checks have run
    std::filesystem::remove_all(path_, ignored);
  }

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  /// A place in the folder.
  [[nodiscard]] std::filesystem::path operator/(const std::string& name) const {
    return path_ / name;
  }

 private:
  std::filesystem::path path_;
};

}  // namespace tidemark::test
