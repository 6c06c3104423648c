#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/plan.h"

namespace tidemark::registry {

/// What the numbers of a batch depend on beside the input.
struct MeasureOptions {
  std::optional<std::string>
      criteria;                ///< a built-in set or a file; absent: by the stem's fixation
  bool accept_pixels = false;  ///< measure in pixels where nothing gives a scale
};

/// Part `index` of `count`, counted from 1. A hip's part follows from its name alone.
struct Shard {
  int index = 1;
  int count = 1;
};

/// How a batch runs.
struct BatchOptions {
  std::filesystem::path out;  ///< folder of the database
  MeasureOptions measure;
  Shard shard;
  int jobs = 1;                          ///< workers at a time, one thread each
  double seconds_per_hip = 300.0;        ///< a worker that takes longer is stopped
  std::size_t memory_mib = 4096;         ///< address space of a worker
  bool retry_failed = false;             ///< measure hips again whose worker crashed or hung
  bool prune = false;                    ///< drop rows of hips that the input no longer has
  std::optional<std::string> keep_hips;  ///< folder in `out` that takes a folder for each hip
  std::vector<std::string> worker;       ///< program and arguments of a worker
  std::function<bool()> stop;            ///< asked several times a second; may be empty
};

/// How a hip ended. The words are those of the table.
enum class HipStatus { kMeasured, kPartly, kRefused, kFailed };
[[nodiscard]] std::string code_of(HipStatus status);

/// One hip that was just recorded.
struct HipDone {
  std::string hip;
  HipStatus status = HipStatus::kFailed;
  std::string reason;  ///< one sentence when not all was measured
  double seconds = 0.0;
};

/// Counts so far.
struct BatchCounts {
  std::size_t planned = 0;    ///< hips of this shard
  std::size_t unchanged = 0;  ///< measured by an earlier run, not again
  std::size_t measured = 0;
  std::size_t partly = 0;
  std::size_t refused = 0;
  std::size_t failed = 0;
  std::size_t pruned = 0;
  std::size_t not_in_input = 0;  ///< rows in the database that the input does not have
  std::size_t not_whole = 0;     ///< of all rows of this shard, those that are not `measured`
  bool stopped = false;          ///< `stop` said so

  [[nodiscard]] std::size_t done() const {
    return unchanged + measured + partly + refused + failed;
  }
};

/// Called in the process that runs the batch: after each hip, and several times a second with
/// nothing. May be empty.
using BatchObserver = std::function<void(const BatchCounts&, const HipDone*)>;

/// Measures every hip of the plan that the database of `options.out` does not hold already with the
/// same input, the same options and the same version of the program; each in a process of its own,
/// bounded in time and memory. A hip whose worker crashes, hangs or runs out of memory is recorded
/// as failed. Each hip is one transaction, so that a batch that is killed at any moment goes on
/// where it was.
///
/// @return kNotWritable when the database or a hip's folder cannot be written (disk full, read-only
///         target, another batch in the same folder): what was recorded stays; kBadInput when the
///         input's root disappears; kUsage when `out` lies inside the input.
[[nodiscard]] Expected<BatchCounts> run_batch(const Plan& plan, const BatchOptions& options,
                                              const BatchObserver& observer);

}  // namespace tidemark::registry
