#pragma once

#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"
#include "tidemark/phantom/space.h"

namespace tidemark::phantom {

/// A point source before a flat detector. The central ray runs along +z of the world frame.
struct Beam {
  Millimetres source_to_detector{1150.0};
  Millimetres hip_to_detector{180.0};  ///< from the centre of the cup, along z
  Vec2 centre_mm = Vec2::Zero();       ///< world (x, y) of the central ray
  Vec2 field_shift_mm = Vec2::Zero();  ///< centre of the detector from the foot of the central ray
  Degrees turn{0.0};  ///< of the detector about the central ray; + shows the patient turned
                      ///< anticlockwise
  Millimetres pixel_pitch{0.14};  ///< on the detector
  int columns = 2000;
  int rows = 2400;

  /// The tube's focal spot in the world frame.
  [[nodiscard]] Vec3 source() const;
  /// The middle of a pixel's place on the detector, world frame.
  [[nodiscard]] Vec3 on_detector(const Vec2& p_px) const;
  /// Pixel coordinates (column, row) of the shadow of a point of the world frame.
  [[nodiscard]] Vec2 project(const Vec3& p_in_world) const;
  /// Source-to-detector distance over the point's distance from the source along z.
  [[nodiscard]] double magnification(const Vec3& p_in_world) const;
};

}  // namespace tidemark::phantom
