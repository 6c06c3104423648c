#pragma once

#include <array>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/phantom/space.h"

namespace tidemark::phantom {

/// A surface of triangles, corners counter-clockwise as seen from outside. Lengths in mm.
struct TriangleMesh {
  std::vector<Vec3> points;
  std::vector<std::array<int, 3>> triangles;
};

/// Volume inside a closed surface in mm3; negative when the triangles face inwards (divergence
/// theorem).
[[nodiscard]] double signed_volume(const TriangleMesh& mesh);

/// Whether every edge belongs to exactly two triangles that run it in opposite directions.
[[nodiscard]] bool is_closed(const TriangleMesh& mesh);

/// The same surface facing the other way.
[[nodiscard]] TriangleMesh turned_inside_out(TriangleMesh mesh);

/// The mesh under an affine map; keeps it facing outwards when the map mirrors.
[[nodiscard]] TriangleMesh mapped(TriangleMesh mesh, const Eigen::Matrix3d& linear,
                                  const Vec3& offset);

/// The mesh under a rigid motion.
[[nodiscard]] TriangleMesh moved(TriangleMesh mesh, const Rigid3& b_from_a);

/// Both surfaces in one mesh (no union is formed; they may overlap).
void append(TriangleMesh& mesh, const TriangleMesh& other);

/// A sphere, fine enough that the facets miss it by less than 1e-4 of its radius at 256 segments.
[[nodiscard]] TriangleMesh sphere_mesh(const Vec3& centre, double radius_mm, int segments);

/// The surface through closed rings of equally many points, first and last ring closed by a fan
/// about their mean. Rings run counter-clockwise seen from beyond the last ring.
[[nodiscard]] TriangleMesh swept_mesh(std::span<const std::vector<Vec3>> rings);

/// A round bar along a chain of points, its ends cut flat.
[[nodiscard]] TriangleMesh bar_mesh(std::span<const Vec3> chain, double radius_mm, int segments);

/// Reads a closed surface (.obj, .stl, .ply). A mesh whose extent is below 5 is taken to be in
/// metres; one that faces inwards is turned.
///
/// @param axes  where +x, +y and +z of the file point: three of L R A P S I, for example "LPS".
/// @return the mesh in patient axes (x left, y posterior, z superior), mm;
///         kBadInput when the file cannot be read, is not closed, or `axes` is no such code.
[[nodiscard]] Expected<TriangleMesh> read_surface(const std::filesystem::path& file,
                                                  const std::string& axes = "LPS");

}  // namespace tidemark::phantom
