#include "output_folder.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cerrno>
#include <optional>
#include <string>
#include <system_error>
#include <utility>

#include "history_files.h"
#include "tidemark/core/files.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

namespace fs = std::filesystem;

constexpr const char* kLockFile = ".tidemark-lock";
constexpr const char* kElsewhere = "choose another folder with --out, or move it away";

bool is_there(const fs::path& file) {
  std::error_code ignored;
  return fs::exists(fs::symlink_status(file, ignored));
}

bool is_name_of_ours(std::string_view name) {
  constexpr std::array<std::string_view, 6> kNames{
      "measurements.csv", "zones.csv", "report.html", "report.pdf", kEarlierResultFile, kStepsFile};
  return is_picture_name(name) || std::find(kNames.begin(), kNames.end(), name) != kNames.end();
}

/// The first file, by name, that is called as one of ours; nothing when there is none.
std::optional<std::string> named_as_ours(const fs::path& folder) {
  std::error_code error;
  std::optional<std::string> first;
  for (fs::directory_iterator item(folder, error), end; !error && item != end;
       item.increment(error)) {
    std::string name = item->path().filename().string();
    std::error_code ignored;
    if (!is_name_of_ours(name) || fs::is_directory(item->symlink_status(ignored))) continue;
    if (!first || name < *first) first = std::move(name);
  }
  return first;
}

bool is_result_of_ours(const fs::path& file) {
  std::error_code ignored;
  if (!fs::is_regular_file(file, ignored)) return false;
  const auto text = read_text(file);
  return text && text->find("\"tidemark/result/") != std::string::npos;
}

/// Whether the open file is still the one of this name: who held it before removes it at the end.
bool is_still(int file, const fs::path& path) {
  struct stat opened {};
  struct stat named {};
  return fstat(file, &opened) == 0 && stat(path.c_str(), &named) == 0 &&
         opened.st_dev == named.st_dev && opened.st_ino == named.st_ino;
}

}  // namespace

bool is_picture_name(std::string_view name) {
  constexpr std::string_view kEnd = ".png";
  if (!name.ends_with(kEnd)) return false;
  name.remove_suffix(kEnd.size());
  const auto dash = name.find('-');
  if (dash == std::string_view::npos) return false;
  constexpr std::array<std::string_view, 4> kKinds{"overlay", "pair", "zones", "seat"};
  if (std::find(kKinds.begin(), kKinds.end(), name.substr(0, dash)) == kKinds.end()) return false;
  const std::string_view number = name.substr(dash + 1);
  return number.size() >= 2 && std::all_of(number.begin(), number.end(),
                                           [](unsigned char c) { return std::isdigit(c) != 0; });
}

Expected<void> check_owner(const fs::path& folder) {
  const fs::path result = folder / kResultFile;
  if (is_there(result)) {
    if (is_result_of_ours(result)) return {};
    return fail(ErrorKind::kNotWritable, result.string(),
                "this is no result of Tidemark and would be overwritten", kElsewhere);
  }
  if (holds_earlier_output(folder)) return {};
  const auto other = named_as_ours(folder);
  if (!other) return {};
  return fail(ErrorKind::kNotWritable, (folder / *other).string(),
              "this is there already, without a result of Tidemark, and would be overwritten",
              kElsewhere);
}

bool holds_earlier_output(const fs::path& folder) {
  return is_there(folder / kLastResultFile) || is_there(folder / kLockFile);
}

Expected<OutputLock> OutputLock::take(const fs::path& folder) {
  const fs::path path = folder / kLockFile;
  for (;;) {
    OutputLock lock(folder, open(path.c_str(), O_CREAT | O_RDWR | O_CLOEXEC, 0644));
    if (lock.file_ < 0) {
      return fail(ErrorKind::kNotWritable, folder.string(), "no file can be written here",
                  "choose another folder with --out or change its permissions");
    }
    // A file system without locks holds nobody up: there two runs are not told apart.
    if (flock(lock.file_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      close(std::exchange(lock.file_, -1));  // the file is the other one's
      return fail(ErrorKind::kNotWritable, folder.string(),
                  "another run is writing into this folder",
                  "wait for it, or choose another folder with --out");
    }
    if (is_still(lock.file_, path)) return lock;
    close(std::exchange(lock.file_, -1));
  }
}

OutputLock::OutputLock(OutputLock&& other) noexcept
    : folder_(std::move(other.folder_)), file_(std::exchange(other.file_, -1)) {}

OutputLock::~OutputLock() {
  if (file_ < 0) return;
  // Left behind where files of ours stand without a result, to say to the next run whose they are.
  if (is_there(folder_ / kResultFile) || !named_as_ours(folder_)) {
    std::error_code ignored;
    fs::remove(folder_ / kLockFile, ignored);
  }
  close(file_);
}

}  // namespace tidemark::followup
