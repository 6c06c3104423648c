#pragma once

#include <vector>

#include "tidemark/followup/result.h"
#include "working.h"

namespace tidemark::followup {

/// Whether an earlier result can stand for what is not measured yet: it is of the same films in the
/// same order, compared in the same pairs.
[[nodiscard]] bool stands_for(const Result& before, const WorkingSeries& work,
                              const std::vector<ComparisonResult>& pairs);

/// `before` with what is new of one pair: the motion between its films, what was found on them but
/// for what stands beside the stem, and the judgement of the whole.
/// @param before  stands_for() `work`
[[nodiscard]] Result with_pair(const Result& before, const WorkingSeries& work,
                               const ComparisonResult& pair, const Options& options);

}  // namespace tidemark::followup
