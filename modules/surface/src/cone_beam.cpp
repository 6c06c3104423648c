#include "tidemark/surface/cone_beam.h"

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <cstdint>
#include <unordered_map>

namespace tidemark::surface {
namespace {

/// The head's centre from the foot of the perpendicular, mm in the plane of the head's centre.
Vec2 head_from_foot(const StemPose& pose, const ConeBeam& beam) {
  return (pose.head_mm - beam.centre_mm) / beam.magnified;
}

}  // namespace

Vec2 head_off_beam(const StemPose& pose, const ConeBeam& beam) {
  return Eigen::Rotation2Dd(-pose.in_plane_rad) * head_from_foot(pose, beam);
}

Eigen::Matrix3d rotation_of(const StemPose& pose) {
  return (Eigen::AngleAxisd(pose.in_plane_rad, Vec3::UnitZ()) *
          Eigen::AngleAxisd(-pose.flexion_rad, Vec3::UnitX()) *
          Eigen::AngleAxisd(pose.version_rad, Vec3::UnitY()))
      .toRotationMatrix();
}

Vec2 shadow_of(const Vec3& p_in_stem, const Vec3& head_in_stem, const StemPose& pose,
               const ConeBeam& beam) {
  const Vec3 from_head = rotation_of(pose) * (p_in_stem - head_in_stem);
  const double m = beam.magnified * beam.source_mm / (beam.source_mm + from_head.z());
  return beam.centre_mm + m * (head_from_foot(pose, beam) + from_head.head<2>());
}

Rim::Rim(const Mesh& mesh) : points_(mesh.points) {
  std::unordered_map<std::uint64_t, std::size_t> known;
  known.reserve(2 * mesh.triangles.size());
  for (std::size_t i = 0; i < mesh.triangles.size(); ++i) {
    const auto& t = mesh.triangles[i];
    const Vec3& a = points_[static_cast<std::size_t>(t[0])];
    const Vec3& b = points_[static_cast<std::size_t>(t[1])];
    const Vec3& c = points_[static_cast<std::size_t>(t[2])];
    const Vec3 normal = (b - a).cross(c - a).normalized();
    normals_.push_back(normal);
    levels_.push_back(normal.dot(a));
    middles_.emplace_back((a + b + c) / 3.0);
    for (std::size_t k = 0; k < 3; ++k) {
      const int from = t[k];
      const int to = t[(k + 1) % 3];
      const auto key = static_cast<std::uint64_t>(std::min(from, to)) << 32U |
                       static_cast<std::uint64_t>(std::max(from, to));
      const auto [place, fresh] = known.try_emplace(key, edges_.size());
      if (fresh) {
        edges_.push_back({from, to, static_cast<int>(i), -1});
      } else if (edges_[place->second].right < 0) {
        edges_[place->second].right = static_cast<int>(i);
      } else {  // a third triangle: one more edge of its own, open
        edges_.push_back({from, to, static_cast<int>(i), -1});
      }
    }
  }
}

std::vector<RimEdge> Rim::seen(const Vec3& head_in_stem, const StemPose& pose,
                               const ConeBeam& beam) const {
  const Eigen::Matrix3d turn = rotation_of(pose);
  const Vec2 foot = head_from_foot(pose, beam);
  const Vec3 source = head_in_stem + turn.transpose() * Vec3(-foot.x(), -foot.y(), -beam.source_mm);
  std::vector<char> faces(normals_.size());
  for (std::size_t i = 0; i < normals_.size(); ++i) {
    faces[i] = static_cast<char>(normals_[i].dot(source) > levels_[i]);
  }
  const auto shadow = [&](const Vec3& p) -> Vec2 {
    const Vec3 from_head = turn * (p - head_in_stem);
    const double m = beam.magnified * beam.source_mm / (beam.source_mm + from_head.z());
    return beam.centre_mm + m * (foot + from_head.head<2>());
  };
  std::vector<RimEdge> out;
  for (const Edge& e : edges_) {
    const auto left = static_cast<std::size_t>(e.left);
    if (e.right >= 0 && faces[left] == faces[static_cast<std::size_t>(e.right)]) continue;
    RimEdge rim;
    rim.a = points_[static_cast<std::size_t>(e.a)];
    rim.b = points_[static_cast<std::size_t>(e.b)];
    rim.a_mm = shadow(rim.a);
    rim.b_mm = shadow(rim.b);
    const Vec2 along = rim.b_mm - rim.a_mm;
    const double length = along.norm();
    if (!(length > 1e-9)) continue;
    rim.outward = Vec2(along.y(), -along.x()) / length;
    // The triangle that faces the source lies on the metal's side of the edge's shadow.
    const std::size_t facing =
        faces[left] || e.right < 0 ? left : static_cast<std::size_t>(e.right);
    if (rim.outward.dot(shadow(middles_[facing]) - rim.a_mm) > 0.0) rim.outward = -rim.outward;
    out.push_back(rim);
  }
  return out;
}

}  // namespace tidemark::surface
