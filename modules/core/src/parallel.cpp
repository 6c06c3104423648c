#include "tidemark/core/parallel.h"

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <exception>
#include <mutex>
#include <thread>
#include <utility>

namespace tidemark {
namespace {

/// Whether this thread is within a call of parallel_for that has other threads.
thread_local bool t_shared = false;

/// Says so for the time of one call.
class Shared {
 public:
  Shared() : before_(std::exchange(t_shared, true)) {}
  Shared(const Shared&) = delete;
  Shared& operator=(const Shared&) = delete;
  ~Shared() { t_shared = before_; }

 private:
  bool before_;
};

/// Keeps the exception of the lowest index. TBB would stop at the first one in time, which differs
/// from run to run.
class Calls {
 public:
  explicit Calls(const std::function<void(std::size_t)>& fn) : fn_(fn) {}

  void operator()(std::size_t i) {
    const Shared shared;
    try {
      fn_(i);
    } catch (...) {
      const std::scoped_lock lock(guard_);
      if (!failure_ || i < failed_index_) {
        failure_ = std::current_exception();
        failed_index_ = i;
      }
    }
  }

  void rethrow() const {
    if (failure_) std::rethrow_exception(failure_);
  }

 private:
  const std::function<void(std::size_t)>& fn_;
  std::mutex guard_;
  std::size_t failed_index_ = 0;
  std::exception_ptr failure_ = nullptr;
};

void in_this_arena(std::size_t n, Calls& calls) {
  tbb::parallel_for(
      tbb::blocked_range<std::size_t>(0, n, 1),
      [&](const tbb::blocked_range<std::size_t>& range) {
        for (std::size_t i = range.begin(); i < range.end(); ++i) calls(i);
      },
      tbb::simple_partitioner());
}

}  // namespace

void parallel_for(std::size_t n, int threads, const std::function<void(std::size_t)>& fn) {
  if (threads <= 1) {
    for (std::size_t i = 0; i < n; ++i) fn(i);
    return;
  }
  Calls calls(fn);
  tbb::task_arena arena(threads);
  arena.execute([&] { in_this_arena(n, calls); });
  calls.rethrow();
}

void parallel_within(std::size_t n, const std::function<void(std::size_t)>& fn) {
  if (!t_shared) return parallel_for(n, 1, fn);
  Calls calls(fn);
  tbb::this_task_arena::isolate([&] { in_this_arena(n, calls); });
  calls.rethrow();
}

int hardware_threads() {
  return std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

}  // namespace tidemark
