#pragma once

#include <string>

#include "tidemark/assessment/judge.h"
#include "tidemark/followup/series.h"
#include "tidemark/lucency/lucency.h"

namespace tidemark::view {

// How the window spells what results hold as codes.

[[nodiscard]] std::string words_of(lucency::State state);         ///< "no line"
[[nodiscard]] std::string words_of(followup::Opinion opinion);    ///< "disagrees"
[[nodiscard]] std::string words_of(assessment::Verdict verdict);  ///< "above the limit"
/// Whether a line grew: "did not grow".
[[nodiscard]] std::string growth_of(lucency::Answer progressive);

}  // namespace tidemark::view
