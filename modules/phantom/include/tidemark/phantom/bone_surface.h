#pragma once

#include "tidemark/core/expected.h"
#include "tidemark/core/hip.h"
#include "tidemark/phantom/mesh.h"

namespace tidemark::phantom {

/// What is found on the outer surface of a femur. Patient axes (x left, y posterior, z superior),
/// mm.
struct FemurLandmarks {
  Vec3 head_centre = Vec3::Zero();
  double head_radius_mm = 0.0;
  Vec3 lesser_trochanter = Vec3::Zero();  ///< farthest from the shaft, medially and posteriorly
  Vec3 shaft_point = Vec3::Zero();
  Vec3 shaft_way = Vec3::UnitZ();  ///< proximal, length 1; 20 to 90 mm below the lesser trochanter
};

/// Finds head, lesser trochanter and shaft axis on a closed surface that stands roughly upright.
/// Good to 1 to 2 mm, enough to lay a frame; the truth of a film is computed from the frame.
/// @return kCannotTell when there is no ball at the medial upper end or no shaft below it.
[[nodiscard]] Expected<FemurLandmarks> find_femur_landmarks(const TriangleMesh& lps, Side side);

}  // namespace tidemark::phantom
