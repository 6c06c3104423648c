#include "tidemark/phantom/beam.h"

#include <cmath>
#include <numbers>

namespace tidemark::phantom {

Vec3 Beam::source() const {
  return {centre_mm.x(), centre_mm.y(), hip_to_detector.value - source_to_detector.value};
}

Vec3 Beam::on_detector(const Vec2& p_px) const {
  const Vec2 middle(0.5 * (columns - 1), 0.5 * (rows - 1));
  const Rigid2 world_from_detector{turn.value * std::numbers::pi / 180.0, Vec2::Zero()};
  const Vec2 at = world_from_detector.apply(pixel_pitch.value * (p_px - middle));
  const Vec2 p = centre_mm + field_shift_mm + at;
  return {p.x(), p.y(), hip_to_detector.value};
}

Vec2 Beam::project(const Vec3& p_in_world) const {
  const Vec3 from = source();
  const Vec2 shadow = from.head<2>() + magnification(p_in_world) * (p_in_world - from).head<2>();
  const Rigid2 detector_from_world{-turn.value * std::numbers::pi / 180.0, Vec2::Zero()};
  const Vec2 at = detector_from_world.apply(shadow - centre_mm - field_shift_mm);
  return at / pixel_pitch.value + Vec2(0.5 * (columns - 1), 0.5 * (rows - 1));
}

double Beam::magnification(const Vec3& p_in_world) const {
  return source_to_detector.value / (p_in_world.z() - source().z());
}

}  // namespace tidemark::phantom
