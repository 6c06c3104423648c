#pragma once

#include <algorithm>
#include <atomic>
#include <thread>
#include <vector>

namespace tidemark::phantom {

/// Calls work(i) once for each i in [0, count). Which thread does which is free, so work(i) may
/// write only what belongs to i; then the outcome does not depend on the number of threads.
template <class Work>
void parallel_for(int count, unsigned threads, const Work& work) {
  std::atomic<int> next{0};
  const auto run = [&] {
    for (int i = next++; i < count; i = next++) work(i);
  };
  std::vector<std::jthread> others;
  for (unsigned t = 1; t < std::max(1U, threads); ++t) others.emplace_back(run);
  run();
}

}  // namespace tidemark::phantom
