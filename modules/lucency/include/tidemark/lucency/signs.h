#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"
#include "tidemark/lucency/lucency.h"
#include "tidemark/lucency/lysis.h"

namespace tidemark::lucency {

// What else a reviewer of loosening looks at beside the stem. Definitions and their sources:
// docs/lucency.md, "Other signs".

/// Thickness of the cortex at one place of the stem.
struct CortexPlace {
  Millimetres at;         ///< from the level of the stem's tip along its axis, distal +
  Millimetres thickness;  ///< across the cortex
};

/// The cortex beside the stem in one zone of a flank.
struct CortexSign {
  int zone = 0;
  std::optional<Measured<Millimetres>> thickness;  ///< median over the zone
  double seen = 0.0;                ///< share of the zone in which both edges stand out
  std::string reason;               ///< one sentence when there is no thickness
  std::vector<CortexPlace> places;  ///< every 5 mm, where both edges stand out
};

/// How high the medial bone reaches.
struct CalcarSign {
  /// Level of the cut neck on the medial flank above that of the lesser trochanter's most prominent
  /// point, along the stem axis. Its u holds what an unknown flexion of the leg does to it.
  std::optional<Measured<Millimetres>> height;
  /// The same level above that of the stem's tip: what changes of the calcar are read from.
  std::optional<Measured<Millimetres>> above_tip;
  /// What a motion of the stem does to above_tip: where the flank stands there, medial of the axis;
  /// how fast it runs medially on the way distally; and how oblique the cut is.
  Millimetres medial;
  double flank_slope = 0.0;
  CutSlope cut_slope = {0.0, 0.0};
  std::string reason;  ///< one sentence when either is absent
};

/// A shelf of bone across the canal beyond the tip.
struct PedestalSign {
  Answer present = Answer::kCannotTell;
  std::optional<Millimetres> below_tip;  ///< its middle, when present
  std::string reason;                    ///< one sentence when it cannot be told
};

/// The other signs on one film.
struct FilmSigns {
  std::vector<CortexSign> cortex;  ///< of the zones of both flanks, by number
  CalcarSign calcar;
  PedestalSign pedestal;
};

/// What the other signs became since the reference film.
struct SignChanges {
  struct Cortex {
    int zone = 0;
    std::optional<Measured<Millimetres>> change;  ///< thicker is positive
    std::string reason;                           ///< one sentence when absent
  };
  std::vector<Cortex> cortex;
  std::optional<Measured<Millimetres>> calcar;  ///< higher is positive, resorption negative
  std::string calcar_reason;
  Answer new_pedestal = Answer::kCannotTell;
  std::vector<ZoneLysis> lysis;  ///< by zone; filled by who has laid the bone on itself (lysis.h)
};

/// How the stem moved in the bone, against its axis on the reference film.
struct StemShift {
  Measured<Millimetres> subsidence_at_tip;  ///< distal positive
  Measured<Millimetres> medial = {};        ///< medial positive, of a place on the axis
  Millimetres medial_above_tip = {};        ///< how far above the tip that place lies
  Measured<Degrees> tilt = {};              ///< varus positive
};

/// Reads cortical thickness, calcar height and pedestal. Uncertainties hold nothing of the scale's.
/// @param plan  of the same film
/// @param scale in the plane of the stem
[[nodiscard]] FilmSigns read_signs(const film::FilmImage& hip_view, const anatomy::Implant& implant,
                                   const anatomy::Femur& femur, const ZonePlan& plan,
                                   MillimetresPerPixel scale,
                                   const std::optional<Fixation>& fixation);

/// Change of the signs between two films of one stem.
/// @param shift of the stem relative to the bone; without it the change of the calcar's height is
///        absent, because the level is seen against the stem
/// @param length_ratio_u relative standard uncertainty of lengths along the stem on the one film
///        against the other: of the ratio of their scales, and of what unlike poses foreshorten
[[nodiscard]] SignChanges compare_signs(const FilmSigns& reference, const FilmSigns& follow_up,
                                        const std::optional<StemShift>& shift,
                                        double length_ratio_u = 0.0);

/// The same signs with what the scale's own uncertainty (relative) adds to lengths on one film.
[[nodiscard]] FilmSigns with_scale_u(FilmSigns signs, double relative_u);

}  // namespace tidemark::lucency
