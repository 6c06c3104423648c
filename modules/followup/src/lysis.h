#pragma once

#include <optional>
#include <vector>

#include "tidemark/followup/steps.h"
#include "tidemark/lucency/lysis.h"
#include "tidemark/migration/migration.h"

namespace tidemark::followup {

/// Focal loss of bone between two films that were both looked at for lines, their bones laid on
/// each other as the migration has them; without one every zone is left open. ZoneLysis::middle_px
/// is in stored px of the follow-up film.
[[nodiscard]] std::vector<lucency::ZoneLysis> lysis_of(
    const HipFilm& reference, const HipFilm& follow_up,
    const std::optional<migration::Migration>& migration);

}  // namespace tidemark::followup
