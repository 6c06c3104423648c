#pragma once

#include "tidemark/assessment/assess.h"
#include "tidemark/followup/measure.h"

namespace tidemark::followup {

/// What of a result is judged, with what the sheet says of the stem.
[[nodiscard]] assessment::HipEvidence evidence_of(const StemFacts& stem, const Result& result);

/// The result judged by the criteria of the options, else by those for its stem.
[[nodiscard]] assessment::Assessment judged(const StemFacts& stem, const Result& result,
                                            const Options& options);

}  // namespace tidemark::followup
