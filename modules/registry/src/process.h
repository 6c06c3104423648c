#pragma once

#include <poll.h>
#include <sys/types.h>

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

namespace tidemark::registry {

/// What a worker may use.
struct Limits {
  double seconds = 300.0;                ///< wall time; twice that of processor time
  std::size_t address_space_mib = 4096;  ///< of virtual memory
};

/// Exit code of a worker whose program could not be started, as a shell's.
inline constexpr int kNoProgram = 127;

/// How a worker ended.
enum class Ending { kDone, kCrashed, kTimedOut, kTooMuchOutput };

/// A worker that has ended.
struct Finished {
  std::size_t id = 0;  ///< as given to start()
  Ending ending = Ending::kCrashed;
  int code = 0;  ///< exit code, or the signal when kCrashed by one
  bool by_signal = false;
  std::string output;  ///< standard output, when kDone
  double seconds = 0.0;
  long peak_kib = 0;  ///< largest resident memory
};

/// Child processes at work, each in its own process group, bounded in time and memory, and killed
/// when this process dies, however it does (Linux, PR_SET_PDEATHSIG). For one thread: the one that
/// made the children must outlive them.
class Workers {
 public:
  /// @param command program and arguments of each worker
  Workers(std::vector<std::string> command, Limits limits);
  Workers(const Workers&) = delete;
  Workers& operator=(const Workers&) = delete;
  Workers(Workers&&) = delete;
  Workers& operator=(Workers&&) = delete;
  ~Workers();  ///< kills those at work

  /// Starts a worker that reads `input` on its standard input; its standard error is dropped.
  /// Throws std::system_error when the system gives no process.
  void start(std::size_t id, const std::string& input);
  [[nodiscard]] std::size_t running() const { return running_.size(); }
  /// Waits until a worker ends, at most so long, and gives those that have ended.
  [[nodiscard]] std::vector<Finished> wait(std::chrono::milliseconds at_most);

 private:
  struct Running {
    std::size_t id = 0;
    pid_t pid = 0;
    int output = -1;
    std::string text;
    std::chrono::steady_clock::time_point started;
    bool too_much = false;
    bool late = false;
  };

  [[nodiscard]] bool drain(Running& worker) const;
  [[nodiscard]] Finished reap(const Running& worker) const;

  std::vector<std::string> command_;
  Limits limits_;
  std::vector<Running> running_;
};

/// "signal 11 (Segmentation fault)" or "exit code 3".
[[nodiscard]] std::string end_of(const Finished& worker);

}  // namespace tidemark::registry
