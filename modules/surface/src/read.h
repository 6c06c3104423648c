#pragma once

#include <cstddef>
#include <span>
#include <string>

#include "tidemark/surface/mesh.h"

namespace tidemark::surface {

/// More than any stem needs; a hostile header cannot ask for more. House choice.
inline constexpr std::size_t kMostTriangles = 2000000;

/// What is wrong with a file, as a clause: "the file ends after 12 of 40 triangles".
template <class T>
using Parsed = tl::expected<T, std::string>;

[[nodiscard]] Parsed<Mesh> parse_stl(std::span<const std::byte> bytes);
[[nodiscard]] Parsed<Mesh> parse_obj(std::span<const std::byte> bytes);
[[nodiscard]] Parsed<Mesh> parse_ply(std::span<const std::byte> bytes);
/// By VTK.
[[nodiscard]] Parsed<Mesh> parse_vtp(std::span<const std::byte> bytes);

/// The surface with about `triangles` of its triangles, by VTK's quadric decimation.
[[nodiscard]] Mesh thinned(const Mesh& mesh, std::size_t triangles);

}  // namespace tidemark::surface
