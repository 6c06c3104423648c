#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "sheet.h"
#include "tidemark/core/expected.h"
#include "tidemark/registry/plan.h"

namespace tidemark::registry {

/// What sorting needs of one file. `patient_id` and `issuer` identify a person: compared and keyed,
/// never kept.
struct HeapFile {
  std::filesystem::path path;
  std::string error;   ///< why there is no header; empty when there is one
  std::string sha256;  ///< of the bytes; empty when they cannot be read
  std::string modality;
  bool has_pixels = false;
  std::optional<Side> side;
  std::optional<View> view;
  std::optional<Date> date;
  std::string body_part;
  std::string time;
  std::string object_uid;
  std::string patient_id;
  std::string issuer;
};

/// Reads the headers of files in worker processes; a file that crashes its worker has an error.
/// The order is that of `files`.
/// @return kBadInput when `options.stop` said so.
[[nodiscard]] Expected<std::vector<HeapFile>> read_headers(
    const std::vector<std::filesystem::path>& files, const PlanOptions& options);

/// Sorts files by patient, side and date into hips; what is no frontal radiograph of a hip is set
/// aside with the reason. A pure function.
/// @param sheet facts by patient_id and side, of all lines that match; hips that it does not name
///              keep a pseudonym
/// @param root  folder of the heap: with a key, files without bytes are called by their path below
/// it
[[nodiscard]] Plan sort_heap(std::vector<HeapFile> files, const std::optional<Sheet>& sheet,
                             const std::optional<PseudonymKey>& key,
                             const std::filesystem::path& root = {});

}  // namespace tidemark::registry
