#pragma once

#include <cstddef>
#include <filesystem>
#include <vector>

#include "tidemark/core/expected.h"

namespace tidemark::registry {

/// What a merge has put together.
struct Merged {
  std::size_t hips = 0;
  std::size_t databases = 0;
};

/// Puts the hips of several databases, e.g. of shards, into a new one, in the order of their names.
/// A hip that stands in two of them with the same numbers is taken once. `out` is written beside
/// its place and takes it in one step; one that is there is replaced.
/// @return kBadInput when a part is no registry's database, or two parts hold one hip with
/// different
///         numbers, or measured with different options; kNotWritable.
[[nodiscard]] Expected<Merged> merge_databases(const std::vector<std::filesystem::path>& parts,
                                               const std::filesystem::path& out);

}  // namespace tidemark::registry
