#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"

namespace tidemark::registry {

/// What a merge has put together.
struct Merged {
  std::size_t hips = 0;
  std::size_t databases = 0;
  std::vector<std::string> missing;  ///< what was not there, e.g. "part 2 of 3 is missing"
};

/// Whether a table that lacks hips is made.
enum class MissingParts { kRefuse, kAllow };

/// Puts the hips of several databases, e.g. of shards, into a new one, in the order of their names.
/// A hip that stands in two of them with the same numbers is taken once. `out` is written beside
/// its place and takes it in one step; a registry that is there is replaced when the parts have all
/// of its hips.
///
/// A database is whole when its last run was complete. Of a batch in N parts (`--shard`) each of
/// 1 to N must be there; databases of batches without parts may be any number beside them. What is
/// missing is noted in the table `runs` of `out`, so that it does not pass for whole later.
/// @return kBadInput when a part is no registry's database, a part is missing or was not finished
///         (with MissingParts::kRefuse), or two parts hold one hip with different numbers, or
///         measured with different options; kNotWritable, also when `out` is no registry or has
///         hips that no part has.
[[nodiscard]] Expected<Merged> merge_databases(const std::vector<std::filesystem::path>& parts,
                                               const std::filesystem::path& out,
                                               MissingParts missing = MissingParts::kRefuse);

}  // namespace tidemark::registry
