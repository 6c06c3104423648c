#include "tidemark/core/parallel.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <system_error>
#include <thread>
#include <vector>

namespace tidemark {
namespace {

/// What the threads share: the next index, and the exception of the lowest index so far.
/// Indices are handed out in rising order, so whatever lies below a throwing index has been begun
/// and will end: the lowest throwing index is always met.
struct Work {
  std::size_t n;
  const std::function<void(std::size_t)>& fn;
  std::atomic<std::size_t> next{0};
  std::atomic<bool> stop{false};
  std::mutex guard = {};
  std::size_t failed_index = 0;
  std::exception_ptr failure = nullptr;

  void run() {
    while (!stop.load()) {
      const std::size_t i = next.fetch_add(1);
      if (i >= n) return;
      try {
        fn(i);
      } catch (...) {
        const std::scoped_lock lock(guard);
        if (!failure || i < failed_index) {
          failure = std::current_exception();
          failed_index = i;
        }
        stop = true;
      }
    }
  }
};

}  // namespace

void parallel_for(std::size_t n, int threads, const std::function<void(std::size_t)>& fn) {
  Work work{.n = n, .fn = fn};
  {
    std::vector<std::jthread> others;
    const auto wanted = std::min(n, static_cast<std::size_t>(std::max(threads, 1)));
    try {
      for (std::size_t t = 1; t < wanted; ++t) others.emplace_back([&work] { work.run(); });
    } catch (const std::system_error&) {
      // The system gives no more threads: those that stand do the work.
    }
    work.run();
  }
  if (work.failure) std::rethrow_exception(work.failure);
}

int hardware_threads() {
  return std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

}  // namespace tidemark
