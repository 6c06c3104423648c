#pragma once

#include <algorithm>
#include <string_view>
#include <vector>

#include "tidemark/core/flag.h"

namespace tidemark::followup {

/// Whether one of the flags has this id.
[[nodiscard]] inline bool has_flag(const std::vector<Flag>& flags, std::string_view id) {
  return std::any_of(flags.begin(), flags.end(), [id](const Flag& flag) { return flag.id == id; });
}

}  // namespace tidemark::followup
