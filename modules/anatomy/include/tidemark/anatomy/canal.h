#pragma once

#include <optional>
#include <vector>

#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/anatomy/profile.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"

namespace tidemark::anatomy {

/// Both edges of a cortex on a profile that runs from the soft parts inwards.
struct CortexEdges {
  double outer_mm = 0.0;  ///< on the profile
  double inner_mm = 0.0;
};

/// The steepest rise out of the soft parts between 1.5 mm before and 1 mm after the profile's
/// origin, and the steepest fall into the canal beyond the brightest place. Both stand where a
/// tube's projection is steepest, and blur moves both inwards alike.
/// @return absent when the canal is hardly darker than the cortex (less than a tenth of the step
///         from the soft parts, house choice), when the fall goes on to the end of the profile, or
///         when the edges lie less than 1 mm apart.
[[nodiscard]] std::optional<CortexEdges> cortex_edges(const Profile& profile);

/// How the inner border of a cortex was told.
enum class InnerBorder {
  kSeen,        ///< a step from cortex to canal
  kAtTheMetal,  ///< bright up to the metal: somewhere in the 1.5 mm beside it, which halo and blur
                ///< hide
  kNotSeen,
};

/// What a line across the femur meets on one side of the shaft axis. Distances outwards from the
/// axis, in the plane of the stem.
struct SectionSide {
  std::optional<Measured<Millimetres>> outer;  ///< outer border of the cortex
  std::optional<Measured<Millimetres>> inner;  ///< inner border of the cortex
  InnerBorder border = InnerBorder::kNotSeen;
  std::optional<Measured<Millimetres>> metal;  ///< the stem's outline; absent beyond its tip
};

/// A section across the femur, perpendicular to the shaft axis.
struct Section {
  Millimetres level;              ///< above the lesser trochanter's point along the shaft axis
  Vec2 centre_px = Vec2::Zero();  ///< on the shaft axis, px of the hip view
  SectionSide lateral;
  SectionSide medial;
};

/// The femur's section at one level, grey values averaged over 5 mm along the shaft.
/// @param level above the lesser trochanter's point, negative below
/// @return absent without shaft axis or lesser trochanter, or where the level is off the film.
[[nodiscard]] std::optional<Section> section_at(const film::FilmImage& hip_view,
                                                const Implant& implant, const Femur& femur,
                                                MillimetresPerPixel scale, Millimetres level);

/// Where the neck's axis, carried on, meets the lateral flank of the stem, and what lies beyond.
struct FlareSeat {
  Vec2 px = Vec2::Zero();   ///< on the flank, px of the hip view
  Vec2 out = Vec2::Zero();  ///< direction away from the metal, perpendicular to the flank
  std::optional<Measured<Millimetres>> gap;  ///< from the metal to the inner border of the cortex
  InnerBorder border = InnerBorder::kNotSeen;
};

/// @return absent when neck or lateral flank are not seen there.
[[nodiscard]] std::optional<FlareSeat> flare_seat(const film::FilmImage& hip_view,
                                                  const Implant& implant, const Femur& femur,
                                                  MillimetresPerPixel scale);

/// The femur's sections every 10 mm, and the stem's flare in it.
struct CanalReading {
  std::vector<Section> sections;  ///< from 20 mm above the lesser trochanter downwards, as far as
                                  ///< the film goes (at most 130 mm below)
  std::optional<FlareSeat> flare;
};
[[nodiscard]] CanalReading read_canal(const film::FilmImage& hip_view, const Implant& implant,
                                      const Femur& femur, MillimetresPerPixel scale);

}  // namespace tidemark::anatomy
