#include "tidemark/phantom/mesh.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <unordered_map>

namespace tidemark::phantom {
namespace {

const Vec3& corner(const TriangleMesh& mesh, const std::array<int, 3>& triangle, std::size_t i) {
  return mesh.points[static_cast<std::size_t>(triangle[i])];
}

}  // namespace

double signed_volume(const TriangleMesh& mesh) {
  double six_volumes = 0.0;
  for (const auto& t : mesh.triangles) {
    six_volumes += corner(mesh, t, 0).dot(corner(mesh, t, 1).cross(corner(mesh, t, 2)));
  }
  return six_volumes / 6.0;
}

bool is_closed(const TriangleMesh& mesh) {
  std::unordered_map<std::uint64_t, int> balance;  // of an edge's two directions
  std::unordered_map<std::uint64_t, int> uses;
  for (const auto& t : mesh.triangles) {
    for (std::size_t i = 0; i < 3; ++i) {
      const auto a = static_cast<std::uint64_t>(t[i]);
      const auto b = static_cast<std::uint64_t>(t[(i + 1) % 3]);
      const std::uint64_t key = std::min(a, b) << 32U | std::max(a, b);
      balance[key] += a < b ? 1 : -1;
      ++uses[key];
    }
  }
  return !mesh.triangles.empty() &&
         std::all_of(uses.begin(), uses.end(), [](const auto& edge) { return edge.second == 2; }) &&
         std::all_of(balance.begin(), balance.end(),
                     [](const auto& edge) { return edge.second == 0; });
}

TriangleMesh turned_inside_out(TriangleMesh mesh) {
  for (auto& t : mesh.triangles) std::swap(t[1], t[2]);
  return mesh;
}

TriangleMesh mapped(TriangleMesh mesh, const Eigen::Matrix3d& linear, const Vec3& offset) {
  for (Vec3& p : mesh.points) p = linear * p + offset;
  return linear.determinant() < 0.0 ? turned_inside_out(std::move(mesh)) : mesh;
}

TriangleMesh moved(TriangleMesh mesh, const Rigid3& b_from_a) {
  return mapped(std::move(mesh), b_from_a.rotation, b_from_a.translation);
}

void append(TriangleMesh& mesh, const TriangleMesh& other) {
  const int shift = static_cast<int>(mesh.points.size());
  mesh.points.insert(mesh.points.end(), other.points.begin(), other.points.end());
  for (const auto& t : other.triangles) {
    mesh.triangles.push_back({t[0] + shift, t[1] + shift, t[2] + shift});
  }
}

TriangleMesh sphere_mesh(const Vec3& centre, double radius_mm, int segments) {
  std::vector<std::vector<Vec3>> rings;
  const int levels = segments / 2;
  for (int i = 0; i <= levels; ++i) {
    // Half a step from the poles, so that no ring is a point.
    const double polar = std::numbers::pi * (i + 0.5) / (levels + 1);
    std::vector<Vec3> ring;
    for (int j = 0; j < segments; ++j) {
      const double turn = 2.0 * std::numbers::pi * j / segments;
      ring.push_back(centre + radius_mm * Vec3(std::sin(polar) * std::cos(turn), -std::cos(polar),
                                               -std::sin(polar) * std::sin(turn)));
    }
    rings.push_back(std::move(ring));
  }
  TriangleMesh mesh = swept_mesh(rings);
  // The fans close at the rings' means; lift them to the poles.
  mesh.points[mesh.points.size() - 2] = centre - Vec3(0, radius_mm, 0);
  mesh.points[mesh.points.size() - 1] = centre + Vec3(0, radius_mm, 0);
  return mesh;
}

TriangleMesh swept_mesh(std::span<const std::vector<Vec3>> rings) {
  TriangleMesh mesh;
  const int n = static_cast<int>(rings.front().size());
  for (const auto& ring : rings) mesh.points.insert(mesh.points.end(), ring.begin(), ring.end());
  const int last = (static_cast<int>(rings.size()) - 1) * n;
  for (int base = 0; base < last; base += n) {
    for (int j = 0; j < n; ++j) {
      const int a = base + j;
      const int b = base + (j + 1) % n;
      mesh.triangles.push_back({a, b, b + n});
      mesh.triangles.push_back({a, b + n, a + n});
    }
  }
  const auto mean = [](const std::vector<Vec3>& ring) {
    Vec3 sum = Vec3::Zero();
    for (const Vec3& p : ring) sum += p;
    return Vec3(sum / static_cast<double>(ring.size()));
  };
  const int first_cap = static_cast<int>(mesh.points.size());
  mesh.points.push_back(mean(rings.front()));
  mesh.points.push_back(mean(rings.back()));
  for (int j = 0; j < n; ++j) {
    mesh.triangles.push_back({first_cap, (j + 1) % n, j});
    mesh.triangles.push_back({first_cap + 1, last + j, last + (j + 1) % n});
  }
  return mesh;
}

TriangleMesh bar_mesh(std::span<const Vec3> chain, double radius_mm, int segments) {
  std::vector<std::vector<Vec3>> rings;
  Vec3 side = Vec3::Zero();
  for (std::size_t i = 0; i < chain.size(); ++i) {
    const Vec3 along =
        (chain[std::min(i + 1, chain.size() - 1)] - chain[i > 0 ? i - 1 : 0]).normalized();
    if (i == 0) side = along.unitOrthogonal();
    side = (side - along * along.dot(side)).normalized();
    const Vec3 up = along.cross(side);
    std::vector<Vec3> ring;
    for (int j = 0; j < segments; ++j) {
      const double turn = 2.0 * std::numbers::pi * j / segments;
      ring.push_back(chain[i] + radius_mm * (std::cos(turn) * side + std::sin(turn) * up));
    }
    rings.push_back(std::move(ring));
  }
  return swept_mesh(rings);
}

}  // namespace tidemark::phantom
