#pragma once

#include <cstddef>
#include <functional>
#include <string_view>
#include <vector>

namespace tidemark::alignment {

/// 64 bits that tell one content from another within one process.
template <class T>
[[nodiscard]] std::size_t hash_of(const std::vector<T>& values) {
  const auto* bytes = reinterpret_cast<const char*>(values.data());
  return std::hash<std::string_view>{}(std::string_view(bytes, values.size() * sizeof(T)));
}

}  // namespace tidemark::alignment
