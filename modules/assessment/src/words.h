#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <string_view>

namespace tidemark::assessment {

/// The words of an enumeration as files have them, in the order of its values.
template <class Enum, std::size_t N>
struct Words {
  std::array<std::string_view, N> of;

  [[nodiscard]] std::string operator[](Enum value) const {
    return std::string(of.at(static_cast<std::size_t>(value)));
  }
  [[nodiscard]] std::array<std::string, N> texts() const {
    std::array<std::string, N> out;
    for (std::size_t i = 0; i < N; ++i) out.at(i) = std::string(of.at(i));
    return out;
  }
};

}  // namespace tidemark::assessment
