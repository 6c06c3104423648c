#pragma once

#include <optional>
#include <vector>

#include "tidemark/anatomy/implant.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"

namespace tidemark::lucency {

/// Which flank of the stem a zone lies on.
enum class Flank { kLateral, kTip, kMedial };

/// One zone of the stem on an AP film: a stretch of its outline, and of the bone beside it.
///
/// Numbers run down the lateral flank and up the medial one: 1, 2, 3 lateral proximal to distal, 4
/// about the tip, 5, 6, 7 medial distal to proximal. Source: Gruen, McNeice, Amstutz, Clin Orthop
/// Relat Res 141 (1979) 17-27 (thirds: from memory).
struct Zone {
  int number = 0;             ///< 1 to 7 (8 to 14 on a lateral film, anterior for lateral)
  Flank flank = Flank::kTip;  ///< on a lateral film kLateral stands for anterior, kMedial posterior
  Millimetres from;  ///< along the stem axis, distal +, from the level where the stem enters bone
  Millimetres to;    ///< as `from`; to - from is the zone's length
  /// The stem's outline inside the zone, px of the hip view, in the order of increasing distance
  /// along the stem axis (zone 4: from lateral to medial).
  Polyline interface_px;
};

/// A border between zones: the line perpendicular to the stem axis, px of the hip view, from
/// beyond the lateral to beyond the medial flank.
struct ZoneBorder {
  Vec2 lateral_px = Vec2::Zero();
  Vec2 medial_px = Vec2::Zero();
  Source source = Source::kFound;  ///< kGiven: a hand placed it
};

/// Borders that a hand placed in place of the thirds, px of the hip view; only their level along
/// the stem axis counts.
struct InnerBorders {
  std::optional<Vec2> second_px;  ///< between zones 1 and 2, 6 and 7 (8 and 9, 13 and 14)
  std::optional<Vec2> third_px;   ///< between zones 2 and 3, 5 and 6 (9 and 10, 12 and 13)
};

/// How oblique the border of the cut neck runs beside the medial flank: distally per way medially,
/// against the stem axis. What is not seen is some 45 degrees, give or take (house choice).
struct CutSlope {
  double value = 0.8;
  double u = 0.4;
};

/// The level at which the stem enters the bone, seen on the film.
struct Entry {
  Vec2 px = Vec2::Zero();  ///< on the medial flank of the stem's outline, px of the hip view
  Millimetres u;           ///< along the stem axis
  Source source = Source::kFound;
  CutSlope slope = {};
};

/// Looks along the medial flank for the place where bone begins beside the metal: the border of
/// the cut neck (calcar), a step to brighter over the first 5 mm outside of the metal along a
/// straight line that may be oblique to the stem.
/// @return absent when no step stands out, or two do and lie apart.
/// House choice; the resection level as proximal border of zones 1 and 7 is common practice.
[[nodiscard]] std::optional<Entry> find_entry(const film::FilmImage& hip_view,
                                              const anatomy::Implant& implant,
                                              MillimetresPerPixel scale);

/// The division of one film. Borders are perpendicular to the stem axis: where the stem enters the
/// bone (the medial resection level; without one the level is marked as assumed), one third and two
/// thirds of the way to the tip, the tip, and 10 mm beyond it. The tip zone is what lies beyond the
/// tip, over the width of the canal; its interface is the end of the outline that faces distally
/// (within 45 degrees of the axis).
struct ZonePlan {
  std::vector<Zone> zones;          ///< seven, in the order of their numbers
  std::vector<ZoneBorder> borders;  ///< five, proximal first
  Line2 axis_px;                    ///< stem axis, origin at the entry level, direction distal
  Source entry = Source::kFound;
  bool entry_assumed =
      false;                ///< no resection level was seen: 9 mm below the shoulder's level stands
  Millimetres entry_u;      ///< standard uncertainty of the entry level along the axis
  CutSlope cut_slope;       ///< of the border at the entry level
  std::vector<Flag> flags;  ///< e.g. zones shorter than 15 mm, a border that a hand misplaced
};

/// Divides the outline of a stem into its zones.
/// @param view  kAp and kPa give 1 to 7, kLateral 8 to 14
/// @param entry where the stem enters the bone; without it, 9 mm below the level of the shoulder is
/// assumed
/// @param inner borders by hand in place of the thirds. One that is not 3 mm at least below its
/// upper and above its lower neighbour is left aside (flag `zone_border_misplaced`).
/// @return kBadInput when the scale is not positive; kCannotTell when the outline does not reach
///         from the entry level to the tip.
[[nodiscard]] Expected<ZonePlan> divide(const anatomy::Implant& implant, MillimetresPerPixel scale,
                                        View view, const std::optional<Entry>& entry,
                                        const InnerBorders& inner = {});

}  // namespace tidemark::lucency
