#pragma once

#include <vector>

#include "tidemark/followup/measure.h"

namespace tidemark::followup {

/// Whether there are frontal films and none serves as the reference, so that nothing is compared
/// (flag `no_reference_film`).
[[nodiscard]] bool lacks_reference(const Result& result);

/// A flag of one film that speaks against the comparisons it stands in.
struct FilmDoubt {
  std::size_t film = 0;  ///< index in Result::films
  Flag flag;
};

/// Flags of the two films of a comparison by which one of them may not show this hip, this view or
/// this scale. The comparison's own flags (ComparisonResult::flags) are not among them.
[[nodiscard]] std::vector<FilmDoubt> film_doubts(const Result& result,
                                                 const ComparisonResult& pair);

}  // namespace tidemark::followup
