#pragma once

#include <optional>
#include <vector>

#include "tidemark/anatomy/implant.h"
#include "tidemark/anatomy/landmark.h"

namespace tidemark::anatomy {

/// The proximal femur on one film, in px of the hip view. What is not seen is absent, and a flag
/// says why.
struct Femur {
  std::optional<FoundAxis>
      shaft_axis;              ///< mid-line of the outer cortices below the lesser trochanter
  Polyline lateral_cortex_px;  ///< outer edge, proximal to distal; may be empty
  Polyline medial_cortex_px;   ///< outer edge, proximal to distal; may be empty
  /// Outer edge beside the flare, from about the shoulder's level to 60 mm below the stem's
  /// reference point; may be empty
  Polyline lateral_outline_px;
  /// Outer edge round the lesser trochanter, from beside the neck's cut to the shaft; may be empty
  Polyline medial_outline_px;
  std::optional<Landmark> lesser_trochanter;   ///< most prominent medial point of its outline
  std::optional<Landmark> greater_trochanter;  ///< most proximal point of its outline
  Polyline lesser_trochanter_outline_px;
  Polyline greater_trochanter_outline_px;
  std::vector<Flag> flags;
};

struct FemurOptions {
  MillimetresPerPixel scale;  ///< in the plane of the stem
  GivenLandmarks given;
  /// Where the lesser trochanter lies by another film of the hip; only its level along the stem's
  /// axis counts, and u is of that. A hump farther than 12 mm off is not taken for it, and where
  /// none is seen the shaft's axis begins below this level.
  std::optional<Landmark> lesser_level;
};

/// Finds cortices, shaft axis and trochanters around a stem that was found before.
/// @return kBadInput when the scale is not positive. Whatever is not seen is left out instead.
[[nodiscard]] Expected<Femur> find_femur(const film::FilmImage& hip_view, const Implant& implant,
                                         const FemurOptions& options);

}  // namespace tidemark::anatomy
