#include "process.h"

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <csignal>
#include <cstring>
#include <system_error>
#include <utility>

namespace tidemark::registry {
namespace {

constexpr std::size_t kMostOutput = std::size_t{64} << 20U;
constexpr std::size_t kMebi = std::size_t{1} << 20U;
constexpr int kMomentUs = 1000;
constexpr int kMomentsToEnd = 2000;

#if defined(__SANITIZE_ADDRESS__)
constexpr bool kBoundAddressSpace = false;  // its shadow needs terabytes of it
#else
constexpr bool kBoundAddressSpace = true;
#endif

[[noreturn]] void give_up(const char* what) {
  throw std::system_error(errno, std::generic_category(), what);
}

/// A file without a name that holds the text, read from its start: a pipe could block.
int file_with(const std::string& text) {
  const int file = memfd_create("job", MFD_CLOEXEC);
  if (file < 0) give_up("memfd_create");
  for (std::size_t done = 0; done < text.size();) {
    const ssize_t n = write(file, text.data() + done, text.size() - done);
    if (n < 0) {
      close(file);
      give_up("write");
    }
    done += static_cast<std::size_t>(n);
  }
  lseek(file, 0, SEEK_SET);
  return file;
}

void set_limit(int which, rlim_t value) {
  const rlimit limit{value, value};
  setrlimit(static_cast<__rlimit_resource_t>(which), &limit);
}

/// In the child. Only functions that are safe between fork and exec.
[[noreturn]] void become(char* const* arguments, int input, int output, const Limits& limits,
                         pid_t parent) {
  setpgid(0, 0);
  prctl(PR_SET_PDEATHSIG, SIGKILL);
  if (getppid() != parent) _exit(kNoProgram);  // it died before that was set
  set_limit(RLIMIT_CORE, 0);
  set_limit(RLIMIT_CPU, static_cast<rlim_t>(2.0 * limits.seconds) + 1);
  if (kBoundAddressSpace) set_limit(RLIMIT_AS, limits.address_space_mib * kMebi);
  const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
  if (dup2(input, STDIN_FILENO) < 0 || dup2(output, STDOUT_FILENO) < 0 ||
      dup2(nowhere, STDERR_FILENO) < 0) {
    _exit(kNoProgram);
  }
  sigset_t none;
  sigemptyset(&none);
  sigprocmask(SIG_SETMASK, &none, nullptr);
  for (const int signal : {SIGINT, SIGTERM, SIGHUP, SIGPIPE}) std::signal(signal, SIG_DFL);
  execv(arguments[0], arguments);
  _exit(kNoProgram);
}

double seconds_since(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

}  // namespace

Workers::Workers(std::vector<std::string> command, Limits limits)
    : command_(std::move(command)), limits_(limits) {}

Workers::~Workers() {
  for (const Running& worker : running_) kill(-worker.pid, SIGKILL);
  for (const Running& worker : running_) {
    kill(worker.pid, SIGKILL);  // it may not have its own group yet
    waitpid(worker.pid, nullptr, 0);
    close(worker.output);
  }
}

void Workers::start(std::size_t id, const std::string& input) {
  std::vector<char*> arguments;
  for (std::string& word : command_) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  const int job = file_with(input);
  std::array<int, 2> ends{};
  if (pipe2(ends.data(), O_CLOEXEC) != 0) {
    close(job);
    give_up("pipe");
  }
  const pid_t parent = getpid();
  const pid_t pid = fork();
  if (pid == 0) become(arguments.data(), job, ends[1], limits_, parent);
  const int why = errno;
  close(job);
  close(ends[1]);
  if (pid < 0) {
    close(ends[0]);
    errno = why;
    give_up("fork");
  }
  setpgid(pid, pid);  // whichever of the two comes first
  fcntl(ends[0], F_SETFL, O_NONBLOCK);
  running_.push_back({id, pid, ends[0], {}, std::chrono::steady_clock::now(), false, false});
}

bool Workers::drain(Running& worker) const {
  std::array<char, 65536> block{};
  for (;;) {
    const ssize_t n = read(worker.output, block.data(), block.size());
    if (n == 0) return true;
    if (n < 0) return errno != EAGAIN && errno != EINTR;
    worker.text.append(block.data(), static_cast<std::size_t>(n));
    if (worker.text.size() > kMostOutput) {
      worker.too_much = true;
      return true;
    }
  }
}

Finished Workers::reap(const Running& worker) const {
  Finished out;
  out.id = worker.id;
  int status = 0;
  rusage usage{};
  if (worker.late || worker.too_much) kill(-worker.pid, SIGKILL);
  // One that has closed its output but lives on is given a moment to end.
  for (int i = 0; wait4(worker.pid, &status, WNOHANG, &usage) == 0; ++i) {
    if (i == kMomentsToEnd) kill(-worker.pid, SIGKILL);
    usleep(kMomentUs);
  }
  kill(-worker.pid, SIGKILL);  // whatever it started goes with it
  close(worker.output);
  out.seconds = seconds_since(worker.started);
  out.peak_kib = usage.ru_maxrss;
  out.by_signal = WIFSIGNALED(status);
  out.code = out.by_signal ? WTERMSIG(status) : WEXITSTATUS(status);
  if (worker.too_much) {
    out.ending = Ending::kTooMuchOutput;
  } else if (worker.late || (out.by_signal && out.code == SIGXCPU)) {
    out.ending = Ending::kTimedOut;
  } else if (!out.by_signal && out.code == 0) {
    out.ending = Ending::kDone;
    out.output = worker.text;
  }
  return out;
}

std::vector<Finished> Workers::wait(std::chrono::milliseconds at_most) {
  std::vector<pollfd> watched;
  watched.reserve(running_.size());
  for (const Running& worker : running_) watched.push_back({worker.output, POLLIN, 0});
  double left = static_cast<double>(at_most.count());
  for (const Running& worker : running_) {
    left = std::min(left, 1000.0 * (limits_.seconds - seconds_since(worker.started)));
  }
  poll(watched.data(), watched.size(), static_cast<int>(std::max(left, 0.0)) + 1);
  std::vector<Finished> ended;
  std::vector<Running> still;
  for (std::size_t i = 0; i < running_.size(); ++i) {
    Running& worker = running_[i];
    const bool over = watched[i].revents != 0 && drain(worker);
    worker.late = !over && seconds_since(worker.started) > limits_.seconds;
    if (over || worker.late) {
      ended.push_back(reap(worker));
    } else {
      still.push_back(std::move(worker));
    }
  }
  running_ = std::move(still);
  return ended;
}

std::string end_of(const Finished& worker) {
  if (!worker.by_signal) return "exit code " + std::to_string(worker.code);
  return "signal " + std::to_string(worker.code) + " (" + strsignal(worker.code) + ")";
}

}  // namespace tidemark::registry
