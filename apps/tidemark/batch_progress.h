#pragma once

#include <chrono>
#include <cstddef>

#include "tidemark/registry/batch.h"

namespace tidemark::app {

/// Shows a batch: on a terminal a bar that is drawn again and again, else a line for each hip.
/// Everything goes to standard error.
class BatchProgress {
 public:
  BatchProgress();
  void operator()(const registry::BatchCounts& counts, const registry::HipDone* done);
  /// Reading of headers, before hips are known.
  void headers(std::size_t done, std::size_t all);
  /// Takes the bar away.
  void clear() const;

 private:
  bool terminal_;
  std::chrono::steady_clock::time_point start_;
  std::chrono::steady_clock::time_point drawn_;
};

/// "412 of 1000 hips  [=====     ]  2.1 hips/s  4 min 40 s left  390 measured, 12 partly ...".
/// @param width of the terminal in characters
[[nodiscard]] std::string bar_of(const registry::BatchCounts& counts, double seconds, int width);

/// "4 min 40 s".
[[nodiscard]] std::string duration_text(double seconds);

}  // namespace tidemark::app
