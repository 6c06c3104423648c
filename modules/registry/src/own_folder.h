#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"

namespace tidemark::registry {

/// Files of fixed names in a folder that the user chose, and the one of them by which a later run
/// knows the others as its own.
struct OwnFiles {
  std::filesystem::path folder;
  std::string seal;                ///< JSON that is written last
  std::string key, begins;         ///< what tells the seal: a text that begins so
  std::vector<std::string> names;  ///< of all files, the seal's too, as paths below the folder
};

/// Makes the folder ready: a file by one of these names that nothing shows to be ours is never
/// replaced, for `hips.csv` or `criteria.csv` may well be the user's. Ours it is beside a seal of
/// ours, or beside the mark of a run that was cut short, which stands there until finish_own.
/// @return whether files of an earlier run may be there; kNotWritable.
[[nodiscard]] Expected<bool> begin_own(const OwnFiles& files);

/// Takes the mark away, once all files are written.
[[nodiscard]] Expected<void> finish_own(const OwnFiles& files);

}  // namespace tidemark::registry
