#pragma once

#include <Eigen/Core>
#include <array>
#include <filesystem>
#include <vector>

#include "tidemark/core/expected.h"

namespace tidemark::surface {

/// A point or direction in space, mm.
using Vec3 = Eigen::Vector3d;

/// A surface of triangles, corners counter-clockwise as seen from outside; mm.
struct Mesh {
  std::vector<Vec3> points;
  std::vector<std::array<int, 3>> triangles;
};

/// Reads the surface of a stem: STL (text or binary), OBJ, PLY (text or binary) or VTP, by the
/// file's suffix. Units are millimetres; where the file's axes point does not matter, nor which way
/// its triangles face. Points at one place are made one, each shell is turned to face outwards, and
/// more than 60,000 triangles are thinned out to that.
///
/// @return kBadInput, one sentence: no such file, unknown suffix, damaged, larger than 256 MB or
///         2,000,000 triangles, not closed (1 edge in 100 is open, or holes make 0.3 %), or not
///         between 60 and 500 mm long; where it would be in metres, centimetres or inches, the
///         sentence says so.
[[nodiscard]] Expected<Mesh> read_mesh(const std::filesystem::path& file);

/// The same mesh with points nearer than `apart_mm` made one; triangles without area, and such as
/// stand there already, facing either way, are left out.
[[nodiscard]] Mesh welded(const Mesh& mesh, double apart_mm);

/// The same mesh with every shell facing outwards, whichever way its triangles faced.
[[nodiscard]] Mesh facing_outwards(Mesh mesh);

/// Share of the edges that do not join exactly two triangles.
[[nodiscard]] double open_share(const Mesh& mesh);

/// Area of the holes of a surface that faces outwards over its own: the sum of all triangles' areas
/// as vectors, which is nought for a closed surface (divergence theorem).
[[nodiscard]] double hole_share(const Mesh& mesh);

/// Volume inside, mm^3; negative when the triangles face inwards (divergence theorem).
[[nodiscard]] double signed_volume(const Mesh& mesh);

/// The mesh under p -> linear p + offset, still facing outwards when the map mirrors.
[[nodiscard]] Mesh mapped(Mesh mesh, const Eigen::Matrix3d& linear, const Vec3& offset);

}  // namespace tidemark::surface
