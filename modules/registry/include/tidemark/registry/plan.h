#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/job.h"
#include "tidemark/registry/pseudonym.h"

namespace tidemark::registry {

/// A file that is not measured, and why.
struct SetAside {
  std::string item;    ///< hash of its bytes; else of a number, or by the key of its path
  std::string hip;     ///< that it would belong to; empty: not known
  std::string kind;    ///< lateral_view, other_body_part, copy ... (docs/registry.md)
  std::string reason;  ///< one sentence
  std::optional<std::string> date;
};

/// Where a hip or a file that was set aside comes from. For the user's own link list only: paths
/// may tell who the patient is.
struct Link {
  std::string hip;   ///< empty for a file that was set aside
  std::string what;  ///< film-NN, folder, or the kind of what was set aside
  std::filesystem::path path;
};

/// All hips of a batch, sorted by name.
struct Plan {
  std::filesystem::path root;  ///< the input; a batch ends when it disappears
  bool root_is_listed = true;  ///< what lies in the root is input: nothing may be written there
  std::vector<HipJob> jobs;
  bool is_heap = false;  ///< `set_aside` is all that the heap holds beside the jobs
  std::vector<SetAside> set_aside;
  std::vector<Link> links;
  std::vector<std::string> notes;  ///< sentences for the user; no identity
};

/// How a folder is read.
enum class Layout {
  kByItself,  ///< a heap when it holds films itself, else a folder of hips
  kFolders,   ///< each folder in it is a hip
  kHeap,      ///< every DICOM file below it, sorted by its header
};

/// How the input becomes hips.
struct PlanOptions {
  Layout layout = Layout::kByItself;
  std::optional<PseudonymKey> key;             ///< absent: hips without a name are numbered
  bool folder_names = false;                   ///< folders' names are codes: they name the hips
  std::optional<std::filesystem::path> sheet;  ///< of a heap: facts by patient_id and side
  std::optional<std::filesystem::path> films;  ///< where paths of a sheet begin; else beside it
  std::vector<std::string> worker;             ///< program that reads headers (run_task)
  int jobs = 1;
  std::function<void(std::size_t done, std::size_t all)> progress;  ///< of reading headers
  std::function<bool()> stop;  ///< asked while headers are read; may be empty
};

/// Reads the input: a CSV sheet, a folder of hips, or a heap of films (docs/registry.md). Nothing
/// is measured; of a heap the headers are read, in worker processes.
/// @return kBadInput when there is no such input, or a sheet whose header is faulty; a fault in one
///         row is the fault of its hip. A plan may hold no hip, with the links that say why:
///         check_hips().
[[nodiscard]] Expected<Plan> plan_of(const std::filesystem::path& input,
                                     const PlanOptions& options);

/// @return kBadInput when there is no hip in the plan of this input.
[[nodiscard]] Expected<void> check_hips(const Plan& plan, const std::filesystem::path& input);

}  // namespace tidemark::registry
