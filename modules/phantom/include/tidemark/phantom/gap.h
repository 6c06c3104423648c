#pragma once

#include <optional>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"

namespace tidemark::phantom {

/// The border along which a lucent line lies.
enum class GapInterface { kStemBone, kStemCement, kCementBone };

/// A lucent line: a membrane of soft tissue between stem (or cement) and what lay against it. It
/// keeps to its own side of the stem; but on a frontal film without any of zones 8 to 14 the lines
/// of a flank reach round to the middle of the front and of the back.
struct Gap {
  /// 1, 2, 3 down the lateral flank, 4 about the tip, 5, 6, 7 up the medial one; 8, 9, 10 down the
  /// front, 11 about the tip, 12, 13, 14 up the back. 4 and 11 are the same round end, cut to parts
  /// in the plane of either view.
  int zone = 1;
  GapInterface interface = GapInterface::kStemBone;
  Millimetres width{1.0};
  /// Where it begins and ends, as parts of the zone of the stem as seated at surgery, from its
  /// proximal border down (zone 4: along the outline from lateral to medial; zone 11: from front to
  /// back). There the line has half its width; it tapers over 2 mm.
  double from = 0.0;
  double to = 1.0;
  std::optional<Millimetres> rim;  ///< thickness of the dense bone beyond it, if any
};

/// Cancellous bone pressed together beside a stem (or its cement) while it was driven in.
struct Compaction {
  Millimetres thickness{2.0};
  double share = 0.45;     ///< of solid bone, mean along the stem
  double swing = 0.1;      ///< by which the share goes up and down along the femur
  Millimetres wave{40.0};  ///< over which it does
  double phase_rad = 0.0;  ///< of that wave at the level of the lesser trochanter
  double reach = 0.95;     ///< how far down, as a part of the way from entry to tip
};

/// One line of one zone as a film shows it.
struct LineTruth {
  GapInterface interface = GapInterface::kStemBone;
  Millimetres width;
  Millimetres start;  ///< from the metal to where the line begins: the cement between, or 0
  Millimetres from;   ///< from the zone's proximal border along the stem axis, on the film
  Millimetres to;
  double fraction = 0.0;  ///< of the zone's length
  std::optional<Millimetres> rim;
};

struct ZoneTruth {
  int zone = 0;
  Millimetres length;
  double compacted = 0.0;  ///< share of its length beside which compacted bone lies
  std::vector<LineTruth> lines;
};

/// The lines of one film. Zones: borders perpendicular to the stem axis at the entry level, one
/// and two thirds of the way to the tip, and at the tip; zone 4 is the round end of the stem within
/// 45 degrees of its axis. Source of the division: Gruen, McNeice, Amstutz, Clin Orthop Relat Res
/// 141 (1979) 17-27 (thirds: from memory; zone 4: house choice). A lateral film has 8 to 14 in
/// their place, front for lateral and back for medial, at the same levels of the stem.
struct LucencyTruth {
  /// Where the stem's medial outline enters the bone; on a lateral film the back's at that level.
  Vec2 entry_px = Vec2::Zero();
  std::vector<ZoneTruth> zones;  ///< seven, in the order of their numbers
};

}  // namespace tidemark::phantom
