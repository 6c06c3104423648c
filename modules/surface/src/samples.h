#pragma once

#include <vector>

#include "tidemark/surface/mesh.h"

namespace tidemark::surface {

/// A triangle as a point of the surface.
struct Sample {
  Vec3 at = Vec3::Zero();  ///< its middle
  Vec3 normal = Vec3::UnitX();
  double area = 0.0;  ///< mm^2
};

[[nodiscard]] std::vector<Sample> samples_of(const Mesh& mesh);

/// A straight line in space.
struct Line3 {
  Vec3 point = Vec3::Zero();
  Vec3 direction = Vec3::UnitY();  ///< length 1
};

}  // namespace tidemark::surface
