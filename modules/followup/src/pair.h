#pragma once

#include "tidemark/followup/steps.h"

namespace tidemark::followup {

/// Fills stem_ready and bone_ready.
[[nodiscard]] Expected<HipFilm> prepare(HipFilm film);

/// Migration of the stem between two prepared films of the same hip.
[[nodiscard]] Expected<migration::Migration> compare(const HipFilm& reference,
                                                     const HipFilm& follow_up);

/// What became of the lines of two films that were both looked at. Needs no alignment of the bone.
/// @return kCannotTell when the films do not show one hip (migration::doubts).
[[nodiscard]] Expected<std::vector<lucency::ZoneChange>> compare_lines(const HipFilm& reference,
                                                                       const HipFilm& follow_up);

}  // namespace tidemark::followup
