#pragma once

#include <array>
#include <cstddef>
#include <functional>
#include <vector>

#include "tidemark/phantom/mesh.h"

namespace tidemark::phantom {

/// A number at each node of a regular grid, x fastest. For a solid: about the signed distance to
/// its surface in mm, negative inside.
struct ScalarGrid {
  Vec3 origin = Vec3::Zero();  ///< of node (0, 0, 0), mm
  double step_mm = 1.0;
  std::array<int, 3> size{};
  std::vector<float> values;

  [[nodiscard]] std::size_t index(int i, int j, int k) const {
    return (static_cast<std::size_t>(k) * static_cast<std::size_t>(size[1]) +
            static_cast<std::size_t>(j)) *
               static_cast<std::size_t>(size[0]) +
           static_cast<std::size_t>(i);
  }
  [[nodiscard]] Vec3 node(int i, int j, int k) const { return origin + step_mm * Vec3(i, j, k); }
};

struct Box {
  Vec3 low = Vec3::Zero();
  Vec3 high = Vec3::Zero();
};

/// The grid over a box with `value` at each node; the outermost nodes are made positive, so that
/// its contours are closed.
[[nodiscard]] ScalarGrid make_grid(const Box& box, double step_mm,
                                   const std::function<double(const Vec3&)>& value,
                                   unsigned threads);

/// The same grid with `change(p, value)` at each inner node.
[[nodiscard]] ScalarGrid changed_grid(const ScalarGrid& grid,
                                      const std::function<double(const Vec3&, double)>& change,
                                      unsigned threads);

/// The surface where the grid is zero, facing towards positive values.
[[nodiscard]] TriangleMesh contour(const ScalarGrid& grid);

/// Trilinear value at a point; the nearest border value outside.
[[nodiscard]] double value_at(const ScalarGrid& grid, const Vec3& p);

/// Box that holds all points of a mesh.
[[nodiscard]] Box box_of(const TriangleMesh& mesh);

/// Signed distance to a closed surface within `reach_mm`, cut off there, over a box.
[[nodiscard]] ScalarGrid distance_grid(const TriangleMesh& mesh, const Box& box, double step_mm,
                                       double reach_mm, unsigned threads);

/// About the distance to an ellipsoid round the origin with half-axes r, negative inside. Exact on
/// the surface; common practice.
[[nodiscard]] double ellipsoid(const Vec3& p, const Vec3& r);

/// Distance to a bar from a to b with round ends whose radius goes from ra to rb, negative inside.
[[nodiscard]] double bar(const Vec3& p, const Vec3& a, const Vec3& b, double ra, double rb);

/// Smooth union of two solids given by about-distances; `blend_mm` is the width of the fillet.
/// Source: polynomial smooth minimum, common practice in implicit modelling.
[[nodiscard]] double smooth_union(double a, double b, double blend_mm);

}  // namespace tidemark::phantom
