#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <array>
#include <cstdint>
#include <cstring>
#include <string>

#include "model.h"
#include "random.h"
#include "tidemark/core/files.h"
#include "tidemark/phantom/write.h"

namespace tidemark::phantom {
namespace {

template <class T>
void put(std::string& bytes, T value) {
  std::array<char, sizeof(T)> raw{};
  std::memcpy(raw.data(), &value, sizeof(T));
  bytes.append(raw.data(), raw.size());
}

void put(std::string& bytes, const Vec3& p) {
  for (int k = 0; k < 3; ++k) put(bytes, static_cast<float>(p(k)));
}

}  // namespace

TriangleMesh stem_surface(const Model& model, const CaseSpec& spec) {
  CountedRandom random(mix({spec.seed, static_cast<std::uint64_t>(spec.number), 0x53}));
  const Eigen::Quaterniond turn(random.normal(0, 1), random.normal(0, 1), random.normal(0, 1),
                                random.normal(0, 1));
  const Vec3 shift(random.normal(0, 50), random.normal(0, 50), random.normal(0, 50));
  const Vec3 side(spec.side == Side::kLeft ? -1.0 : 1.0, 1.0, 1.0);
  return mapped(model.stem.mesh, turn.normalized().toRotationMatrix() * side.asDiagonal(), shift);
}

Expected<void> write_stl(const std::filesystem::path& file, const TriangleMesh& mesh) {
  std::string bytes(80, ' ');
  put(bytes, static_cast<std::uint32_t>(mesh.triangles.size()));
  for (const auto& t : mesh.triangles) {
    const Vec3& a = mesh.points[static_cast<std::size_t>(t[0])];
    const Vec3& b = mesh.points[static_cast<std::size_t>(t[1])];
    const Vec3& c = mesh.points[static_cast<std::size_t>(t[2])];
    put(bytes, Vec3((b - a).cross(c - a).normalized()));
    for (const Vec3* p : {&a, &b, &c}) put(bytes, *p);
    put(bytes, std::uint16_t{0});
  }
  return write_file_atomically(file, std::string_view(bytes));
}

}  // namespace tidemark::phantom
