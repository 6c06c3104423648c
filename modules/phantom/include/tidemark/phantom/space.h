#pragma once

#include <Eigen/Core>

namespace tidemark::phantom {

/// A point or direction in space, mm. Frames of the phantom (all right-handed, of a right hip; a
/// left hip is the mirror image of the finished film): x medial, y distal, z posterior, that is,
/// away from the tube. `world`: origin at the centre of the cup. `femur`: origin on the shaft axis
/// at the level of the lesser trochanter. `stem`: origin on the stem axis at the shoulder's level.
using Vec3 = Eigen::Vector3d;

/// b_from_a: p_in_b = rotation * p_in_a + translation.
struct Rigid3 {
  Eigen::Matrix3d rotation = Eigen::Matrix3d::Identity();
  Vec3 translation = Vec3::Zero();

  [[nodiscard]] Vec3 apply(const Vec3& p_in_a) const { return rotation * p_in_a + translation; }
  [[nodiscard]] Rigid3 after(const Rigid3& first) const {
    return {rotation * first.rotation, apply(first.translation)};
  }
  [[nodiscard]] Rigid3 inverse() const {
    return {rotation.transpose(), -(rotation.transpose() * translation)};
  }
};

}  // namespace tidemark::phantom
