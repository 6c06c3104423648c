#pragma once

#include <optional>
#include <vector>

#include "tidemark/core/units.h"
#include "tidemark/migration/depths.h"
#include "tidemark/migration/measured_film.h"

namespace tidemark::migration {

/// What a film from the side shows of the stem in its femur. Depths are counted from the shaft's
/// axis, behind it +, mm.
struct SideView {
  Measured<Millimetres> stem_depth;  ///< of the stem's reference point
  Measured<Degrees> lean;            ///< of the stem's axis against the shaft's, tip behind +
  std::optional<Measured<Millimetres>> lesser_trochanter;
};

/// Reads the depths off a film from the side. The level of the stem's reference point is carried
/// over from the frontal film as its distance from the tip; the head stands before the stem as seen
/// from the tube by the stem's offset, so that lengths at the stem's depth are larger by offset
/// over source distance than the head's scale says (derived, cone beam).
///
/// @param side    film from the side, the front of the femur at -x, its back at +x
/// @param frontal a frontal film of the same stem
/// @return absent when the film from the side does not show the shaft's axis.
[[nodiscard]] std::optional<SideView> side_view(const MeasuredFilm& side,
                                                const MeasuredFilm& frontal);

/// What a film says whose front and back may be taken for each other: its own word, and the same to
/// the other side, each with its probability; their mean and what they scatter about it, +-x with p
/// and 1 - p: x (1 - 2p) and u^2 + 4 p (1 - p) x^2 (derived). At even odds the trochanter is not
/// told: what was taken for it may be none.
/// @param wrong  probability that they are, 0 to 0.5
[[nodiscard]] SideView in_doubt(const SideView& seen, double wrong);

/// What several films from the side say together: means weighted by their information (JCGM 100),
/// wider where they contradict each other, with what the femur's bow leaves open on all of them.
/// @pre not empty
[[nodiscard]] SideView combined(const std::vector<SideView>& views);

/// The depths of this hip's features before its frontal films are compared: those of people,
/// counted from where the stem was seen instead of from where stems usually are.
[[nodiscard]] Depths depths_of_hip(const SideView& seen);

}  // namespace tidemark::migration
