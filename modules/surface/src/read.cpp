#include "read.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "tidemark/core/files.h"

namespace tidemark::surface {
namespace {

constexpr std::size_t kMostBytes = std::size_t{256} << 20U;
constexpr std::size_t kEnough = 60000;  ///< triangles; 1 mm apart on any stem. House choice
constexpr double kShortest = 60.0;      ///< mm, of a stem with its neck. House choice
constexpr double kLongest = 500.0;
constexpr double kMostOpen = 0.01;
constexpr double kLargestHole = 0.003;  ///< of the surface; a neck's end is ten times as large
constexpr double kSamePoint = 1e-4;     ///< mm; single precision at 500 mm is 3e-5

std::string suffix_of(const std::filesystem::path& file) {
  std::string suffix = file.extension().string();
  std::transform(suffix.begin(), suffix.end(), suffix.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return suffix;
}

/// Whether indices and coordinates can be used.
bool is_sound(const Mesh& mesh) {
  const int n = static_cast<int>(mesh.points.size());
  return std::all_of(
             mesh.points.begin(), mesh.points.end(),
             [](const Vec3& p) { return p.allFinite() && p.cwiseAbs().maxCoeff() < 1e6; }) &&
         std::all_of(mesh.triangles.begin(), mesh.triangles.end(), [&](const auto& t) {
           return std::all_of(t.begin(), t.end(), [&](int i) { return i >= 0 && i < n; });
         });
}

double longest_side(const Mesh& mesh) {
  Vec3 low = mesh.points.front();
  Vec3 high = low;
  for (const Vec3& p : mesh.points) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  return (high - low).maxCoeff();
}

/// What is wrong with a surface whose length is that of a stem in another unit than millimetres;
/// null where it is in none.
const char* wrong_unit(double longest) {
  const auto fits = [longest](double mm) {
    return longest >= kShortest / mm && longest <= kLongest / mm;
  };
  const bool centimetres = fits(10.0);
  const bool inches = fits(25.4);
  if (fits(1000.0)) return "its size fits a stem only in metres";
  if (centimetres && inches) return "its size fits a stem only in centimetres or inches";
  if (centimetres) return "its size fits a stem only in centimetres";
  return inches ? "its size fits a stem only in inches" : nullptr;
}

Parsed<Mesh> parse(const std::string& suffix, std::span<const std::byte> bytes) {
  if (suffix == ".stl") return parse_stl(bytes);
  if (suffix == ".obj") return parse_obj(bytes);
  if (suffix == ".ply") return parse_ply(bytes);
  return parse_vtp(bytes);
}

}  // namespace

Expected<Mesh> read_mesh(const std::filesystem::path& file) {
  const std::string name = file.filename().string();
  const auto refuse = [&](std::string wrong, const char* remedy) {
    return fail(ErrorKind::kBadInput, name, std::move(wrong), remedy);
  };
  const std::string suffix = suffix_of(file);
  if (suffix != ".stl" && suffix != ".obj" && suffix != ".ply" && suffix != ".vtp") {
    return refuse("unknown kind of surface", "give the stem's surface as .stl, .ply, .obj or .vtp");
  }
  const auto bytes = read_file(file, kMostBytes);
  if (!bytes) return tl::unexpected(bytes.error());
  auto parsed = parse(suffix, *bytes);
  if (!parsed) return refuse(parsed.error(), "export the surface again");
  if (parsed->triangles.empty() || !is_sound(*parsed)) {
    return refuse("there is no usable triangle in it", "export the surface again");
  }
  const double longest = longest_side(*parsed);
  if (!(longest >= kShortest && longest <= kLongest)) {
    if (const char* other = wrong_unit(longest)) {
      return refuse(other, "write the surface in millimetres");
    }
    return refuse("it is not as long as a stem in any unit",
                  "check that the file holds the stem alone, in millimetres");
  }
  Mesh mesh = welded(*parsed, kSamePoint);
  if (mesh.triangles.empty() || open_share(mesh) > kMostOpen) {
    return refuse("the surface is not closed", "fill its holes first");
  }
  if (mesh.triangles.size() > kEnough) mesh = thinned(mesh, kEnough);
  mesh = facing_outwards(std::move(mesh));
  if (hole_share(mesh) > kLargestHole) {
    return refuse("the surface is not closed", "fill its holes first");
  }
  return mesh;
}

}  // namespace tidemark::surface
