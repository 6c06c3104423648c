#pragma once

#include <optional>

#include "tidemark/core/expected.h"
#include "tidemark/surface/mesh.h"

namespace tidemark::surface {

/// A ball that is part of the surface.
struct Ball {
  Vec3 centre = Vec3::Zero();
  double radius_mm = 0.0;
};

/// The line on which a head can sit: the axis of the neck's cone, and where the metal ends on it.
struct NeckLine {
  Vec3 end = Vec3::Zero();
  Vec3 direction = Vec3::UnitX();  ///< towards the head, length 1
};

/// A stem's surface in the stem's own frame, that of a right hip: x medial (to the side of the
/// neck), y distal along the axis of the straight distal part, z = x cross y, posterior in a right
/// stem. Origin on the axis at the level of the shoulder.
struct StemModel {
  Mesh mesh;
  std::optional<Ball> ball;
  std::optional<NeckLine> neck;  ///< absent when no round neck was found
  Vec3 tip = Vec3::Zero();       ///< most distal point
  Vec3 shoulder = Vec3::Zero();  ///< lateral corner: farthest half way between lateral and proximal
  /// How far front and back differ, root mean square over the length of the middle of each section
  /// from the plane of neck and axis. A stem below 0.3 mm looks the same on either hip.
  double front_back_mm = 0.0;
};

/// Finds the stem's frame in a surface whose own frame is unknown: the axis through the middles of
/// the sections of that half which is straight, the neck on the other end, by its side (derived;
/// tried on the stems of two simulators). Front and back are told from a right stem; see mirrored.
/// @return kBadInput when the surface does not look like a stem: no straight slender half, or
///         nothing that stands off to one side at the other end.
[[nodiscard]] Expected<StemModel> find_stem(const Mesh& mesh);

/// Front for back: a left stem on the mirrored film of a left hip, where it looks like a right one.
[[nodiscard]] StemModel mirrored(StemModel stem);

}  // namespace tidemark::surface
