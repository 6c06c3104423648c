#include "tidemark/surface/mesh.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <set>
#include <unordered_map>
#include <utility>

namespace tidemark::surface {
namespace {

using Triangle = std::array<int, 3>;

const Vec3& corner(const Mesh& mesh, const Triangle& t, std::size_t i) {
  return mesh.points[static_cast<std::size_t>(t[i])];
}

double six_volumes(const Mesh& mesh, const Triangle& t) {
  return corner(mesh, t, 0).dot(corner(mesh, t, 1).cross(corner(mesh, t, 2)));
}

std::uint64_t key_of(int a, int b) {
  const auto low = static_cast<std::uint64_t>(std::min(a, b));
  return low << 32U | static_cast<std::uint64_t>(std::max(a, b));
}

/// Places of a grid, so that near points are found without looking at all.
struct Cell {
  std::int64_t x, y, z;
  friend bool operator==(const Cell&, const Cell&) = default;
};

struct CellHash {
  std::size_t operator()(const Cell& c) const {
    std::uint64_t h = 1469598103934665603ULL;  // FNV-1a, from memory
    for (const std::int64_t v : {c.x, c.y, c.z}) {
      h = (h ^ static_cast<std::uint64_t>(v)) * 1099511628211ULL;
    }
    return static_cast<std::size_t>(h);
  }
};

/// The two triangles of each edge and whether they run it the same way.
struct Joint {
  std::array<std::size_t, 2> triangles{};
  std::array<bool, 2> rising{};  ///< whether the triangle runs from the lower index to the higher
  int uses = 0;
};

std::unordered_map<std::uint64_t, Joint> joints_of(const Mesh& mesh) {
  std::unordered_map<std::uint64_t, Joint> joints;
  joints.reserve(2 * mesh.triangles.size());
  for (std::size_t i = 0; i < mesh.triangles.size(); ++i) {
    const Triangle& t = mesh.triangles[i];
    for (std::size_t k = 0; k < 3; ++k) {
      const int a = t[k];
      const int b = t[(k + 1) % 3];
      Joint& joint = joints[key_of(a, b)];
      if (joint.uses < 2) {
        joint.triangles[static_cast<std::size_t>(joint.uses)] = i;
        joint.rising[static_cast<std::size_t>(joint.uses)] = a < b;
      }
      ++joint.uses;
    }
  }
  return joints;
}

/// Neighbours of each triangle over its edges; `same` where both face the same side.
struct Neighbour {
  std::size_t triangle;
  bool same;
};

std::vector<std::vector<Neighbour>> neighbours_of(const Mesh& mesh) {
  std::vector<std::vector<Neighbour>> out(mesh.triangles.size());
  for (const auto& [key, joint] : joints_of(mesh)) {
    if (joint.uses != 2) continue;
    const bool same = joint.rising[0] != joint.rising[1];
    out[joint.triangles[0]].push_back({joint.triangles[1], same});
    out[joint.triangles[1]].push_back({joint.triangles[0], same});
  }
  return out;
}

}  // namespace

Mesh welded(const Mesh& mesh, double apart_mm) {
  Mesh out;
  std::unordered_map<Cell, int, CellHash> places;
  std::vector<int> new_index;
  new_index.reserve(mesh.points.size());
  for (const Vec3& p : mesh.points) {
    const Vec3 q = p / (2.0 * apart_mm);
    // Of the eight cells that a point near a corner may share with another, one may be taken.
    std::optional<int> found;
    for (int corner_of = 0; corner_of < 8 && !found; ++corner_of) {
      const Vec3 step(corner_of & 1 ? 0.5 : -0.5, corner_of & 2 ? 0.5 : -0.5,
                      corner_of & 4 ? 0.5 : -0.5);
      const Vec3 at = (q + step).array().floor();
      const auto known =
          places.find({static_cast<std::int64_t>(at.x()), static_cast<std::int64_t>(at.y()),
                       static_cast<std::int64_t>(at.z())});
      if (known == places.end()) continue;
      const Vec3& other = out.points[static_cast<std::size_t>(known->second)];
      if ((other - p).norm() <= apart_mm) found = known->second;
    }
    if (!found) {
      found = static_cast<int>(out.points.size());
      out.points.push_back(p);
      const Vec3 at = q.array().floor();
      places[{static_cast<std::int64_t>(at.x()), static_cast<std::int64_t>(at.y()),
              static_cast<std::int64_t>(at.z())}] = *found;
    }
    new_index.push_back(*found);
  }
  std::set<Triangle> known;  // by their corners, whichever way they face
  for (const Triangle& t : mesh.triangles) {
    const Triangle n{new_index[static_cast<std::size_t>(t[0])],
                     new_index[static_cast<std::size_t>(t[1])],
                     new_index[static_cast<std::size_t>(t[2])]};
    if (n[0] == n[1] || n[1] == n[2] || n[2] == n[0]) continue;
    Triangle sorted = n;
    std::sort(sorted.begin(), sorted.end());
    if (known.insert(sorted).second) out.triangles.push_back(n);
  }
  return out;
}

Mesh facing_outwards(Mesh mesh) {
  const auto neighbours = neighbours_of(mesh);
  std::vector<char> seen(mesh.triangles.size(), 0);
  for (std::size_t start = 0; start < mesh.triangles.size(); ++start) {
    if (seen[start]) continue;
    std::vector<std::size_t> shell{start};
    seen[start] = 1;
    for (std::size_t at = 0; at < shell.size(); ++at) {
      const bool turned = seen[shell[at]] == 2;
      for (const Neighbour& n : neighbours[shell[at]]) {
        if (seen[n.triangle]) continue;
        const bool turn = turned == n.same;
        seen[n.triangle] = turn ? 2 : 1;
        shell.push_back(n.triangle);
      }
    }
    double volume = 0.0;
    for (const std::size_t i : shell) {
      if (seen[i] == 2) std::swap(mesh.triangles[i][1], mesh.triangles[i][2]);
      volume += six_volumes(mesh, mesh.triangles[i]);
    }
    if (volume >= 0.0) continue;
    for (const std::size_t i : shell) std::swap(mesh.triangles[i][1], mesh.triangles[i][2]);
  }
  return mesh;
}

double open_share(const Mesh& mesh) {
  const auto joints = joints_of(mesh);
  if (joints.empty()) return 1.0;
  const auto open = std::count_if(joints.begin(), joints.end(),
                                  [](const auto& joint) { return joint.second.uses != 2; });
  return static_cast<double>(open) / static_cast<double>(joints.size());
}

double hole_share(const Mesh& mesh) {
  Vec3 sum = Vec3::Zero();
  double all = 0.0;
  for (const Triangle& t : mesh.triangles) {
    const Vec3& a = corner(mesh, t, 0);
    const Vec3 area = 0.5 * (corner(mesh, t, 1) - a).cross(corner(mesh, t, 2) - a);
    sum += area;
    all += area.norm();
  }
  return all > 0.0 ? sum.norm() / all : 1.0;
}

double signed_volume(const Mesh& mesh) {
  double sum = 0.0;
  for (const Triangle& t : mesh.triangles) sum += six_volumes(mesh, t);
  return sum / 6.0;
}

Mesh mapped(Mesh mesh, const Eigen::Matrix3d& linear, const Vec3& offset) {
  for (Vec3& p : mesh.points) p = linear * p + offset;
  if (linear.determinant() < 0.0) {
    for (Triangle& t : mesh.triangles) std::swap(t[1], t[2]);
  }
  return mesh;
}

}  // namespace tidemark::surface
