#pragma once

#include <vector>

#include "tidemark/followup/measure.h"

namespace tidemark::followup {

/// Whether there are frontal films and none serves as the reference, so that nothing is compared
/// (flag `no_reference_film`).
[[nodiscard]] bool lacks_reference(const Result& result);

/// Flag of a lateral film that may show another hip: no comparison uses its depths.
inline constexpr const char* kSideViewNotUsed = "side_view_not_used";

/// Whether the comparisons use what this film shows of depth and lean.
[[nodiscard]] bool uses_side_view(const FilmResult& film);

/// A flag of one film that speaks against the comparisons it stands in.
struct FilmDoubt {
  std::size_t film = 0;  ///< index in Result::films
  Flag flag;
};

/// Flags of the two films of a comparison by which one of them may not show this hip, this view or
/// this scale; then those of the lateral films whose depths it uses, and that a lateral film was
/// left out (kSideViewNotUsed). The comparison's own flags (ComparisonResult::flags) are not among
/// them.
[[nodiscard]] std::vector<FilmDoubt> film_doubts(const Result& result,
                                                 const ComparisonResult& pair);

}  // namespace tidemark::followup
