#pragma once

#include <algorithm>
#include <ctime>
#include <utility>
#include <vector>

namespace tidemark::bench {

/// Processor time of the calling thread since it was made, seconds: on a busy machine wall time
/// measures the neighbours. Only for work that stays on one thread.
class Stopwatch {
 public:
  [[nodiscard]] double seconds() const { return now() - start_; }

 private:
  static double now() {
    timespec time{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
  }
  double start_ = now();
};

/// Median; 0 without values.
[[nodiscard]] inline double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace tidemark::bench
