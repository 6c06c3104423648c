#pragma once

#include "tidemark/assessment/assess.h"
#include "tidemark/followup/measure.h"

namespace tidemark::followup {

/// Says of a series which has, or may have, a film earlier than the one that the sheet names as the
/// reference that the latter does not count as taken right after the operation. Not where surgery
/// is dated: then that counts.
void flag_broken_promise(Result& result);

/// What of a result is judged, with what the sheet says of the stem.
[[nodiscard]] assessment::HipEvidence evidence_of(const StemFacts& stem, const Result& result);

/// The result judged by the criteria of the options, else by those for its stem.
[[nodiscard]] assessment::Assessment judged(const StemFacts& stem, const Result& result,
                                            const Options& options);

}  // namespace tidemark::followup
