#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/assessment/criteria.h"
#include "tidemark/core/expected.h"
#include "tidemark/registry/batch.h"
#include "tidemark/registry/job.h"

namespace tidemark::registry {

/// A film that the worker has set aside: its place in the job and why.
struct EarlyFilm {
  std::string sha256;
  std::optional<std::string> date;
  std::string reason;
};

/// What a worker says of one hip.
// NOLINTNEXTLINE(bugprone-exception-escape): moving JSON throws nothing
struct Answer {
  nlohmann::json result;           ///< result.json; null when there is none
  std::optional<Error> error;      ///< why there is none
  std::vector<std::string> films;  ///< content_hash of every film of the job, in its order
  std::optional<std::string> sheet_sha256;
  std::vector<EarlyFilm> early;
  std::vector<std::size_t> kept;  ///< films of the job that are in the result, in its order
};

/// What the workers of a batch measure by, read once so that all of them do by the same.
struct TaskOptions {
  bool accept_pixels = false;
  std::optional<assessment::CriteriaSet> criteria;  ///< absent: by the stem's fixation
  std::string criteria_text;  ///< of the file they come from; empty when they are built in
};

/// @return kBadInput when the criteria cannot be read
[[nodiscard]] Expected<TaskOptions> task_options(const MeasureOptions& options);

/// The task of measuring one hip, and the answer to it.
[[nodiscard]] std::string measure_task(const HipJob& job, const TaskOptions& options,
                                       const std::filesystem::path& keep_in);
[[nodiscard]] Answer answer_of(const std::string& text);

/// The task of reading headers (heap.h).
[[nodiscard]] std::string header_task(const std::vector<std::filesystem::path>& files);

}  // namespace tidemark::registry
