#pragma once

#include <filesystem>
#include <string_view>

#include "tidemark/core/expected.h"

// Whose the files of an output folder are.
namespace tidemark::followup {

/// Whether a file is called as our pictures are, e.g. pair-01.png.
[[nodiscard]] bool is_picture_name(std::string_view name);

/// Refuses a folder whose result.json is another program's, and one that holds files by our names
/// but no trace of a run of ours: they would be overwritten.
[[nodiscard]] Expected<void> check_owner(const std::filesystem::path& folder);

}  // namespace tidemark::followup
