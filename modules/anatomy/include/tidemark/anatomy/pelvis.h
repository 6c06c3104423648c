#pragma once

#include <optional>
#include <string>

#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"

namespace tidemark::anatomy {

/// What an AP film of the pelvis shows of both sides, px of the hip view of the replaced hip that
/// is measured (lateral -x, medial +x, distal +y).
struct Pelvis {
  /// Axis of mirror symmetry of the pelvic ring, pointing distally. A line through any two mirror
  /// points, the teardrops for one, is perpendicular to it on a pelvis that is the same on both
  /// sides.
  Line2 axis_px;
  Degrees direction_u;
  /// Where the other femur looks as the mirror image of this one does about its lesser trochanter:
  /// u is that of the pair along the axis, not of either point alone.
  std::optional<Landmark> other_lesser_trochanter;
  std::string reason;  ///< one sentence, when it is not seen
};

/// Lays the mirror image of the pelvis over itself: edges as unit gradients, metal left out. The
/// direction of the axis comes from how blocks of the ring lie along the axis, each free across it,
/// since a pelvis that is turned about its long axis shifts near and far parts across only.
/// @return kCannotTell when the film shows one side only, or when nothing on it is clearly its own
///         mirror image; kBadInput when the scale is not positive.
[[nodiscard]] Expected<Pelvis> find_pelvis(const film::FilmImage& hip_view, const Implant& implant,
                                           const Femur& femur, MillimetresPerPixel scale);

}  // namespace tidemark::anatomy
