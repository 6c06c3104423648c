#include "grid.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

#include "parallel.h"

namespace tidemark::phantom {
namespace {

/// Squared distance from p to a triangle. Source: closest point by the seven regions of a
/// triangle (Ericson, Real-Time Collision Detection, 2005, 5.1.5; from memory).
double squared_distance(const Vec3& p, const Vec3& a, const Vec3& b, const Vec3& c) {
  const Vec3 ab = b - a;
  const Vec3 ac = c - a;
  const Vec3 ap = p - a;
  const double d1 = ab.dot(ap);
  const double d2 = ac.dot(ap);
  if (d1 <= 0 && d2 <= 0) return ap.squaredNorm();
  const Vec3 bp = p - b;
  const double d3 = ab.dot(bp);
  const double d4 = ac.dot(bp);
  if (d3 >= 0 && d4 <= d3) return bp.squaredNorm();
  const double vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) return (ap - d1 / (d1 - d3) * ab).squaredNorm();
  const Vec3 cp = p - c;
  const double d5 = ab.dot(cp);
  const double d6 = ac.dot(cp);
  if (d6 >= 0 && d5 <= d6) return cp.squaredNorm();
  const double vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) return (ap - d2 / (d2 - d6) * ac).squaredNorm();
  const double va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) {
    const double w = (d4 - d3) / ((d4 - d3) + (d5 - d6));
    return (bp - w * (c - b)).squaredNorm();
  }
  const double total = va + vb + vc;
  return (ap - vb / total * ab - vc / total * ac).squaredNorm();
}

ScalarGrid empty_grid(const Box& box, double step_mm) {
  ScalarGrid grid;
  grid.origin = box.low;
  grid.step_mm = step_mm;
  std::size_t nodes = 1;
  for (int axis = 0; axis < 3; ++axis) {
    const int n = static_cast<int>(std::ceil((box.high[axis] - box.low[axis]) / step_mm)) + 1;
    grid.size[static_cast<std::size_t>(axis)] = n;
    nodes *= static_cast<std::size_t>(n);
  }
  grid.values.resize(nodes);
  return grid;
}

bool on_border(const ScalarGrid& grid, int i, int j, int k) {
  return i == 0 || j == 0 || k == 0 || i == grid.size[0] - 1 || j == grid.size[1] - 1 ||
         k == grid.size[2] - 1;
}

/// Where the line (x, y) through the nodes meets the surface, and which way (+1 in, -1 out).
struct Crossing {
  double z;
  int way;
};

/// Crossings of each node line along z, in rows.
using Crossings = std::vector<std::vector<Crossing>>;

/// Those with one triangle, in units of the grid. Lines are shifted by a hair, so that none meets
/// an edge.
void add_crossings(const std::array<Vec3, 3>& q, const ScalarGrid& grid, Crossings& lines) {
  const Eigen::Vector2d hair(1.37e-6, 2.11e-6);
  const int nx = grid.size[0];
  const int ny = grid.size[1];
  const double area =
      (q[1] - q[0]).head<2>().x() * (q[2] - q[0]).y() - (q[1] - q[0]).y() * (q[2] - q[0]).x();
  if (area == 0.0) return;
  const auto [x0, x1] = std::minmax({q[0].x(), q[1].x(), q[2].x()});
  const auto [y0, y1] = std::minmax({q[0].y(), q[1].y(), q[2].y()});
  for (int j = std::max(0, static_cast<int>(y0)); j <= std::min(ny - 1, static_cast<int>(y1) + 1);
       ++j) {
    for (int i = std::max(0, static_cast<int>(x0)); i <= std::min(nx - 1, static_cast<int>(x1) + 1);
         ++i) {
      const double px = i + hair.x();
      const double py = j + hair.y();
      std::array<double, 3> w{};
      for (std::size_t c = 0; c < 3; ++c) {
        const Vec3& a = q[(c + 1) % 3];
        const Vec3& b = q[(c + 2) % 3];
        w[c] = ((b.x() - a.x()) * (py - a.y()) - (b.y() - a.y()) * (px - a.x())) / area;
      }
      if (w[0] < 0 || w[1] < 0 || w[2] < 0) continue;
      lines[static_cast<std::size_t>(j) * static_cast<std::size_t>(nx) +
            static_cast<std::size_t>(i)]
          .push_back({w[0] * q[0].z() + w[1] * q[1].z() + w[2] * q[2].z(), area > 0 ? -1 : 1});
    }
  }
}

/// Crossings of every node line with the surface, by height.
Crossings line_crossings(const TriangleMesh& mesh, const ScalarGrid& grid) {
  Crossings lines(static_cast<std::size_t>(grid.size[0]) * static_cast<std::size_t>(grid.size[1]));
  for (const auto& t : mesh.triangles) {
    std::array<Vec3, 3> q;
    for (std::size_t c = 0; c < 3; ++c) {
      q[c] = (mesh.points[static_cast<std::size_t>(t[c])] - grid.origin) / grid.step_mm;
    }
    add_crossings(q, grid, lines);
  }
  for (auto& line : lines) {
    std::sort(line.begin(), line.end(),
              [](const Crossing& a, const Crossing& b) { return a.z < b.z; });
  }
  return lines;
}

/// Makes the nodes inside the surface negative.
void apply_signs(const TriangleMesh& mesh, ScalarGrid& grid) {
  const auto lines = line_crossings(mesh, grid);
  for (int j = 0; j < grid.size[1]; ++j) {
    for (int i = 0; i < grid.size[0]; ++i) {
      const auto& line =
          lines[static_cast<std::size_t>(j) * static_cast<std::size_t>(grid.size[0]) +
                static_cast<std::size_t>(i)];
      std::size_t next = 0;
      int depth = 0;
      for (int k = 0; k < grid.size[2]; ++k) {
        while (next < line.size() && line[next].z <= k) depth += line[next++].way;
        if (depth > 0) grid.values[grid.index(i, j, k)] *= -1.0F;
      }
    }
  }
}

/// Lowers the nodes of slab k to the distance to one triangle.
void lower_slab(ScalarGrid& grid, int k, const std::array<Vec3, 3>& q, double reach_mm) {
  Box box{q[0].cwiseMin(q[1]).cwiseMin(q[2]), q[0].cwiseMax(q[1]).cwiseMax(q[2])};
  std::array<int, 2> low{};
  std::array<int, 2> high{};
  for (int axis = 0; axis < 2; ++axis) {
    const auto a = static_cast<std::size_t>(axis);
    low[a] = std::max(
        0, static_cast<int>((box.low[axis] - reach_mm - grid.origin[axis]) / grid.step_mm));
    high[a] = std::min(
        grid.size[a] - 1,
        static_cast<int>((box.high[axis] + reach_mm - grid.origin[axis]) / grid.step_mm) + 1);
  }
  const Vec3 centre = (q[0] + q[1] + q[2]) / 3.0;
  const double radius =
      1e-4 + std::sqrt(std::max({(q[0] - centre).squaredNorm(), (q[1] - centre).squaredNorm(),
                                 (q[2] - centre).squaredNorm()}));
  for (int j = low[1]; j <= high[1]; ++j) {
    for (int i = low[0]; i <= high[0]; ++i) {
      float& value = grid.values[grid.index(i, j, k)];
      const double beyond = double{value} + radius;  // farther than that it is not the nearest
      if ((grid.node(i, j, k) - centre).squaredNorm() > beyond * beyond) continue;
      const double d2 = squared_distance(grid.node(i, j, k), q[0], q[1], q[2]);
      if (d2 < double{value} * value) value = static_cast<float>(std::sqrt(d2));
    }
  }
}

}  // namespace

ScalarGrid make_grid(const Box& box, double step_mm,
                     const std::function<double(const Vec3&)>& value, unsigned threads) {
  return changed_grid(
      empty_grid(box, step_mm), [&](const Vec3& p, double) { return value(p); }, threads);
}

ScalarGrid changed_grid(const ScalarGrid& grid,
                        const std::function<double(const Vec3&, double)>& change,
                        unsigned threads) {
  ScalarGrid result = grid;
  for_each_index(grid.size[2], threads, [&](int k) {
    for (int j = 0; j < grid.size[1]; ++j) {
      for (int i = 0; i < grid.size[0]; ++i) {
        float& value = result.values[grid.index(i, j, k)];
        value = static_cast<float>(change(grid.node(i, j, k), value));
        if (on_border(grid, i, j, k)) value = std::max(value, static_cast<float>(grid.step_mm));
      }
    }
  });
  return result;
}

double value_at(const ScalarGrid& grid, const Vec3& p) {
  std::array<int, 3> base{};
  Vec3 part;
  for (int axis = 0; axis < 3; ++axis) {
    const auto a = static_cast<std::size_t>(axis);
    const double at =
        std::clamp((p[axis] - grid.origin[axis]) / grid.step_mm, 0.0, grid.size[a] - 1.0);
    base[a] = std::min(static_cast<int>(at), grid.size[a] - 2);
    part[axis] = at - base[a];
  }
  double sum = 0.0;
  for (int corner = 0; corner < 8; ++corner) {
    const int i = corner & 1;
    const int j = corner >> 1 & 1;
    const int k = corner >> 2;
    const double weight = (i != 0 ? part.x() : 1.0 - part.x()) *
                          (j != 0 ? part.y() : 1.0 - part.y()) *
                          (k != 0 ? part.z() : 1.0 - part.z());
    sum += weight * double{grid.values[grid.index(base[0] + i, base[1] + j, base[2] + k)]};
  }
  return sum;
}

Box box_of(const TriangleMesh& mesh) {
  Box box{Vec3::Constant(std::numeric_limits<double>::max()),
          Vec3::Constant(std::numeric_limits<double>::lowest())};
  for (const Vec3& p : mesh.points) {
    box.low = box.low.cwiseMin(p);
    box.high = box.high.cwiseMax(p);
  }
  return box;
}

ScalarGrid distance_grid(const TriangleMesh& mesh, const Box& box, double step_mm, double reach_mm,
                         unsigned threads) {
  ScalarGrid grid = empty_grid(box, step_mm);
  std::fill(grid.values.begin(), grid.values.end(), static_cast<float>(reach_mm));
  for_each_index(grid.size[2], threads, [&](int k) {
    const double z = grid.origin.z() + grid.step_mm * k;
    for (const auto& t : mesh.triangles) {
      const std::array<Vec3, 3> q{mesh.points[static_cast<std::size_t>(t[0])],
                                  mesh.points[static_cast<std::size_t>(t[1])],
                                  mesh.points[static_cast<std::size_t>(t[2])]};
      const auto [z0, z1] = std::minmax({q[0].z(), q[1].z(), q[2].z()});
      if (z >= z0 - reach_mm && z <= z1 + reach_mm) lower_slab(grid, k, q, reach_mm);
    }
  });
  apply_signs(mesh, grid);
  return grid;
}

double ellipsoid(const Vec3& p, const Vec3& r) {
  const double k0 = p.cwiseQuotient(r).norm();
  const double k1 = p.cwiseQuotient(r.cwiseProduct(r)).norm();
  return k1 > 0.0 ? k0 * (k0 - 1.0) / k1 : -r.minCoeff();
}

double bar(const Vec3& p, const Vec3& a, const Vec3& b, double ra, double rb) {
  const double t = std::clamp((p - a).dot(b - a) / (b - a).squaredNorm(), 0.0, 1.0);
  return (p - a - t * (b - a)).norm() - (ra + t * (rb - ra));
}

double smooth_union(double a, double b, double blend_mm) {
  const double h = std::max(blend_mm - std::abs(a - b), 0.0) / blend_mm;
  return std::min(a, b) - h * h * blend_mm / 4.0;
}

}  // namespace tidemark::phantom
