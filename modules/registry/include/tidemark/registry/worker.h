#pragma once

#include <filesystem>
#include <functional>
#include <string>

#include "tidemark/core/expected.h"
#include "tidemark/followup/result.h"
#include "tidemark/followup/series.h"

namespace tidemark::registry {

/// Writes the folder of one hip: what `tidemark measure --out` would. Called in the worker.
using WriteHip = std::function<Expected<void>(const followup::Result&, const followup::Series&,
                                              const std::filesystem::path& folder)>;

/// What a worker process does: reads one task as JSON from `task`, carries it out on one thread,
/// and gives the answer as JSON. The task comes from run_batch() or read_headers(): a hip to be
/// measured, or files whose headers are to be read. Holds no identity but what the headers of a
/// heap say, which goes to the sorting process alone.
[[nodiscard]] std::string run_task(const std::string& task, const WriteHip& write_hip);

}  // namespace tidemark::registry
