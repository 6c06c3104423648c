#pragma once

#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/usual_pose.h"
#include "tidemark/surface/mesh.h"

namespace tidemark::surface {

/// How a stem lies before the detector, on the hip view: x medial, y distal, z away from the tube,
/// parallel to the detector. Turned by `version` about its axis first, then by `flexion`, then in
/// the plane of the film, about the centre of its head. Signs as migration::PoseModel counts them.
struct StemPose {
  double in_plane_rad = 0.0;    ///< tip lateral +
  double flexion_rad = 0.0;     ///< tip towards the tube +
  double version_rad = 0.0;     ///< neck towards the tube +: anteversion less internal rotation
  Vec2 head_mm = Vec2::Zero();  ///< where the head's centre is projected, film mm
};

/// A point source before a flat detector. Film mm: pixels of the hip view times one nominal scale.
struct ConeBeam {
  double source_mm = kSourceToHipMm;  ///< from the source to the plane of the head's centre
  Vec2 centre_mm = Vec2::Zero();      ///< foot of the perpendicular from the source, film mm
  double magnified = 1.0;             ///< film mm per mm in the plane of the head's centre
};

/// The head's centre from the central ray, mm in its plane, along the stem's axes on the film:
/// (medial, distal).
[[nodiscard]] Vec2 head_off_beam(const StemPose& pose, const ConeBeam& beam);

/// Film from stem: a rotation matrix.
[[nodiscard]] Eigen::Matrix3d rotation_of(const StemPose& pose);

/// Shadow of a point of the stem frame, film mm. With S the source's distance and (x, y, z) the
/// point from the foot of the perpendicular in the plane of the head's centre, its shadow lies at
/// magnified S (x, y) / (S + z): similar triangles, M = SID / (SID - OFD).
[[nodiscard]] Vec2 shadow_of(const Vec3& p_in_stem, const Vec3& head_in_stem, const StemPose& pose,
                             const ConeBeam& beam);

/// A piece of the line in which rays graze the surface.
struct RimEdge {
  Vec3 a, b;        ///< stem frame
  Vec2 a_mm, b_mm;  ///< their shadows, film mm
  Vec2 outward;     ///< normal of the shadow, away from the metal's, length 1
};

/// Edges of a mesh between triangles that face the source and such as do not; also all open edges.
/// Built once for a mesh, asked for many poses.
class Rim {
 public:
  explicit Rim(const Mesh& mesh);
  [[nodiscard]] std::vector<RimEdge> seen(const Vec3& head_in_stem, const StemPose& pose,
                                          const ConeBeam& beam) const;

 private:
  struct Edge {
    int a, b;
    int left, right;  ///< triangles; right is -1 on an open edge
  };
  std::vector<Vec3> points_;
  std::vector<Vec3> normals_;
  std::vector<double> levels_;  ///< normal . point of each triangle
  std::vector<Vec3> middles_;
  std::vector<Edge> edges_;
};

}  // namespace tidemark::surface
