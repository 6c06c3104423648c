#pragma once

#include <string>

#include "tidemark/lucency/lucency.h"

namespace tidemark::lucency {

// How results spell the findings of lucency (docs/result-format.md).

[[nodiscard]] std::string code_of(Interface interface);  ///< e.g. "stem_bone"
[[nodiscard]] std::string code_of(State state);          ///< e.g. "cannot_tell"
[[nodiscard]] std::string code_of(Answer answer);        ///< "yes", "no", "cannot_tell"
/// As people read it: "stem-bone".
[[nodiscard]] std::string words_of(Interface interface);

}  // namespace tidemark::lucency
