#pragma once

#include <vector>

#include "side_look.h"

namespace tidemark::followup {

/// A film from the side, and which way it faces.
struct FacedFilm {
  FromSide seen;
  SideFacing facing;
  std::vector<Flag> flags;  ///< what tells the way it faces, where that is open to doubt
};

/// The film with the femur's back at +x: as the sheet says, else its header, else the bone and the
/// head. Where header and bone contradict each other, or nothing tells, the odds are even.
/// @return what keeps the film from being measured either way
[[nodiscard]] Expected<FacedFilm> look_with_back_known(const Working& film,
                                                       const FrontalFilm& frontal,
                                                       const Steps& steps);

/// Why what became of the lines between two films from the side is not told: their fronts and backs
/// may not be the same. Nothing where they are.
[[nodiscard]] std::optional<std::string> facings_in_doubt(const SideFacing& a, const SideFacing& b);

}  // namespace tidemark::followup
