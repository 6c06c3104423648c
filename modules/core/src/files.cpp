#include "tidemark/core/files.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstdio>
#include <random>
#include <string>
#include <system_error>
#include <utility>

namespace tidemark {
namespace {

namespace fs = std::filesystem;

/// An open file descriptor that closes itself.
class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  Descriptor(Descriptor&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Descriptor& operator=(Descriptor&&) = delete;
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  [[nodiscard]] bool valid() const { return fd_ >= 0; }
  [[nodiscard]] int get() const { return fd_; }
  /// Closing can report a write error that came late (network file systems).
  [[nodiscard]] bool close() { return ::close(std::exchange(fd_, -1)) == 0; }

 private:
  int fd_;
};

std::string reason(int error_number) { return std::generic_category().message(error_number); }

tl::unexpected<Error> unreadable(const fs::path& file, std::string wrong, std::string remedy) {
  return fail(ErrorKind::kBadInput, file.filename().string(), std::move(wrong), std::move(remedy));
}

tl::unexpected<Error> unwritable(const fs::path& file, int error_number) {
  return fail(ErrorKind::kNotWritable, file.string(),
              "cannot be written (" + reason(error_number) + ")",
              "choose a folder that exists, is writable and has space");
}

/// read(2) until `buffer` is full or the file ends; bytes read, or the error number.
tl::expected<std::size_t, int> read_up_to(int fd, std::span<std::byte> buffer) {
  std::size_t done = 0;
  while (done < buffer.size()) {
    const ssize_t n = ::read(fd, buffer.data() + done, buffer.size() - done);
    if (n == 0) break;
    if (n < 0 && errno != EINTR) return tl::unexpected(errno);
    if (n > 0) done += static_cast<std::size_t>(n);
  }
  return done;
}

/// 0, or the error number.
int write_all(int fd, std::span<const std::byte> bytes) {
  while (!bytes.empty()) {
    const ssize_t n = ::write(fd, bytes.data(), bytes.size());
    if (n < 0 && errno != EINTR) return errno;
    if (n > 0) bytes = bytes.subspan(static_cast<std::size_t>(n));
  }
  return 0;
}

/// A name beside the target that no other writer uses, and none that was killed has left: in a
/// container every run has the same process number, and on a share two machines may have it.
fs::path temporary_beside(const fs::path& file) {
  static const unsigned mark = std::random_device()();
  static std::atomic<unsigned> counter{0};
  fs::path name = ".";
  name += file.filename();
  name += "." + std::to_string(::getpid()) + "-" + std::to_string(mark) + "-" +
          std::to_string(counter++) + ".tmp";
  return file.parent_path() / name;
}

/// Writes and flushes a new file; 0, or the error number. On error the file is gone again.
int write_new_file(const fs::path& file, std::span<const std::byte> bytes) {
  constexpr mode_t kPlainFile = 0666;  // the user's umask takes its bits away
  Descriptor out(::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, kPlainFile));
  if (!out.valid()) return errno;
  int error_number = write_all(out.get(), bytes);
  if (error_number == 0 && ::fsync(out.get()) != 0) error_number = errno;
  if (!out.close() && error_number == 0) error_number = errno;
  if (error_number != 0) ::unlink(file.c_str());
  return error_number;
}

/// Makes the rename last through a power cut. Best effort: some file systems refuse it.
void flush_folder(const fs::path& file) {
  const fs::path folder = file.has_parent_path() ? file.parent_path() : fs::path(".");
  const Descriptor handle(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (handle.valid()) ::fsync(handle.get());
}

}  // namespace

Expected<std::vector<std::byte>> read_file(const fs::path& file, std::size_t max_bytes) {
  // O_NONBLOCK: opening a pipe that nobody writes to would wait for ever.
  const Descriptor in(::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
  if (!in.valid()) {
    return unreadable(file, "cannot be opened (" + reason(errno) + ")",
                      "check the name and that you may read it");
  }
  struct stat facts {};
  if (::fstat(in.get(), &facts) != 0) {
    return unreadable(file, "cannot be read (" + reason(errno) + ")", "copy it to a local disk");
  }
  if (!S_ISREG(facts.st_mode)) {
    return unreadable(file, S_ISDIR(facts.st_mode) ? "is a folder, not a file" : "is not a file",
                      "name a file");
  }
  const auto size = static_cast<std::size_t>(facts.st_size);
  if (size > max_bytes) {
    return unreadable(file,
                      "too large (" + std::to_string(size) + " bytes; the limit is " +
                          std::to_string(max_bytes) + ")",
                      "export it as one single film");
  }
  std::vector<std::byte> bytes(size + 1);  // one more, to notice a file that grows
  const auto count = read_up_to(in.get(), bytes);
  if (!count) {
    return unreadable(file, "cannot be read (" + reason(count.error()) + ")",
                      "copy it to a local disk");
  }
  if (*count != size) {
    return unreadable(file, "changed while it was read", "wait until it is written and try again");
  }
  bytes.resize(size);
  return bytes;
}

Expected<std::string> read_text(const fs::path& file, std::size_t max_bytes) {
  const auto bytes = read_file(file, max_bytes);
  if (!bytes) return tl::unexpected(bytes.error());
  return std::string(reinterpret_cast<const char*>(bytes->data()), bytes->size());  // NOLINT
}

Expected<void> write_file_atomically(const fs::path& file, std::span<const std::byte> bytes) {
  if (!file.has_filename()) return unwritable(file, EISDIR);
  constexpr int kTries = 100;  // each has another name
  fs::path temporary;
  int failed = EEXIST;
  for (int i = 0; i < kTries && failed == EEXIST; ++i) {
    temporary = temporary_beside(file);
    failed = write_new_file(temporary, bytes);
  }
  if (failed != 0) return unwritable(file, failed);
  if (std::rename(temporary.c_str(), file.c_str()) != 0) {
    const int error_number = errno;
    ::unlink(temporary.c_str());
    return unwritable(file, error_number);
  }
  flush_folder(file);
  return {};
}

Expected<void> write_file_atomically(const fs::path& file, std::string_view text) {
  return write_file_atomically(file, std::as_bytes(std::span(text)));
}

}  // namespace tidemark
