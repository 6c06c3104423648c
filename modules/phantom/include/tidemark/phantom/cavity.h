#pragma once

#include <optional>

#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"
#include "tidemark/phantom/space.h"

namespace tidemark::phantom {

/// A focal loss of bone beside the stem: an ellipsoid of soft tissue in the bone, where it stays
/// when the stem moves. It displaces bone, neither metal nor cement, and ends where the bone does.
struct Cavity {
  /// 1, 2, 3 down the lateral flank, 5, 6, 7 up the medial one: of the stem as seated at surgery.
  int zone = 1;
  double level = 0.5;    ///< of its middle, as a part of the zone from its proximal border down
  double in_bone = 0.4;  ///< of its middle: 0 on the flank of the stem, 1 on the bone's surface
  Millimetres back;      ///< of its middle, + posterior of the stem's
  /// Half axes along x, y, z of the femur frame; 0 along x: not there yet.
  Vec3 half_axes_mm = Vec3::Zero();
  std::optional<Millimetres> rim;  ///< thickness of the dense bone about it, if any

  [[nodiscard]] bool there() const { return half_axes_mm.x() > 0.0; }
};

/// What a film shows of the bone that one cavity has taken since the first film: the darkening of
/// the unscattered beam's log exposure beside the metal.
struct CavityTruth {
  int zone = 1;
  Vec2 centre_px = Vec2::Zero();  ///< middle of its area at half depth
  double depth = 0.0;             ///< greatest darkening, natural logarithm of the exposure
  double depth_share = 0.0;       ///< the same over what all of the femur takes away there
  double area_mm2 = 0.0;          ///< where it is darker at all, in the plane of the stem
  double half_area_mm2 = 0.0;     ///< where it is darker by at least half of the depth
  bool rim = false;
};

}  // namespace tidemark::phantom
