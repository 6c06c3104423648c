#pragma once

#include <cstddef>
#include <mutex>

#include "tidemark/followup/measure.h"
#include "tidemark/followup/steps.h"

namespace tidemark::followup {

/// Counts finished steps and tells the caller, one call at a time.
class Meter {
 public:
  Meter(const Options& options, std::size_t all) : options_(options), all_(all) {}
  void step() {
    if (!options_.progress) return;
    const std::lock_guard lock(mutex_);
    options_.progress(++done_, all_);
  }

 private:
  const Options& options_;
  std::size_t all_;
  std::size_t done_ = 0;
  std::mutex mutex_;
};

/// What each phase needs.
struct Run {
  const Options& options;
  const Steps& steps;
  int threads;
  Meter& meter;
};

}  // namespace tidemark::followup
