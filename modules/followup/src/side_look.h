#pragma once

#include <optional>

#include "see.h"
#include "working.h"

namespace tidemark::followup {

/// A measured film from the front or from behind.
struct FrontalFilm {
  const HipFilm& hip;
  View view;
  /// What tells the level of the lesser trochanter: a frontal film of the same day, if one shows
  /// it.
  const HipFilm& level;
  Millimetres sunk;  ///< what the stem may have sunk by between that film and the one from the side
};

/// A film from the side with what was found on it, seen with the femur's back at +x.
struct FromSide {
  HipFilm hip;
  std::optional<migration::SideView> view;  ///< absent when the shaft's axis is not seen
  /// Where the frontal film shows the lesser trochanter; only its level counts.
  std::optional<anatomy::Landmark> lesser_level;
  double head_behind_mm = 0.0;  ///< head's centre from the stem's axis
};

/// @param mirrored  how the upright film is turned over so that the femur's back lies at +x
/// @param frontal   another film of the same stem: sizes, and levels along it
[[nodiscard]] Expected<FromSide> look_from_side(const Working& film, Side mirrored,
                                                const FrontalFilm& frontal, const Steps& steps);

}  // namespace tidemark::followup
