#pragma once

#include <Eigen/Core>
#include <array>
#include <concepts>
#include <cstdint>
#include <cstring>
#include <optional>
#include <string>
#include <string_view>
#include <tuple>
#include <type_traits>
#include <utility>
#include <vector>

#include "tidemark/core/raster.h"
#include "tidemark/core/units.h"

// Values as bytes and back without loss, for steps.bin (docs/history.md). The bytes are those of
// this machine; what another program or machine wrote is not read.
namespace tidemark::followup::packed {

/// How many fields a struct has, for those that are packed field by field (packed_fields.h). A
/// number that is wrong, because a field was added, does not compile.
template <class T>
inline constexpr std::size_t kFields = 0;

template <class T>
concept Struct = kFields<std::remove_const_t<T>> >
0;

/// References to the N fields of a struct.
template <std::size_t N, class T>
auto fields_of(T& value) {  // NOLINT(readability-function-size)
  static_assert(N >= 2 && N <= 16, "add a branch");
  if constexpr (N == 2) {
    auto& [a, b] = value;
    return std::tie(a, b);
  } else if constexpr (N == 3) {
    auto& [a, b, c] = value;
    return std::tie(a, b, c);
  } else if constexpr (N == 4) {
    auto& [a, b, c, d] = value;
    return std::tie(a, b, c, d);
  } else if constexpr (N == 5) {
    auto& [a, b, c, d, e] = value;
    return std::tie(a, b, c, d, e);
  } else if constexpr (N == 6) {
    auto& [a, b, c, d, e, f] = value;
    return std::tie(a, b, c, d, e, f);
  } else if constexpr (N == 7) {
    auto& [a, b, c, d, e, f, g] = value;
    return std::tie(a, b, c, d, e, f, g);
  } else if constexpr (N == 8) {
    auto& [a, b, c, d, e, f, g, h] = value;
    return std::tie(a, b, c, d, e, f, g, h);
  } else if constexpr (N == 9) {
    auto& [a, b, c, d, e, f, g, h, i] = value;
    return std::tie(a, b, c, d, e, f, g, h, i);
  } else if constexpr (N == 10) {
    auto& [a, b, c, d, e, f, g, h, i, j] = value;
    return std::tie(a, b, c, d, e, f, g, h, i, j);
  } else if constexpr (N == 11) {
    auto& [a, b, c, d, e, f, g, h, i, j, k] = value;
    return std::tie(a, b, c, d, e, f, g, h, i, j, k);
  } else if constexpr (N == 12) {
    auto& [a, b, c, d, e, f, g, h, i, j, k, l] = value;
    return std::tie(a, b, c, d, e, f, g, h, i, j, k, l);
  } else if constexpr (N == 13) {
    auto& [a, b, c, d, e, f, g, h, i, j, k, l, m] = value;
    return std::tie(a, b, c, d, e, f, g, h, i, j, k, l, m);
  } else if constexpr (N == 14) {
    auto& [a, b, c, d, e, f, g, h, i, j, k, l, m, n] = value;
    return std::tie(a, b, c, d, e, f, g, h, i, j, k, l, m, n);
  } else if constexpr (N == 15) {
    auto& [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o] = value;
    return std::tie(a, b, c, d, e, f, g, h, i, j, k, l, m, n, o);
  } else if constexpr (N == 16) {
    auto& [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p] = value;
    return std::tie(a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p);
  }
}

template <class T>
concept Plain = std::is_arithmetic_v<T> || std::is_enum_v<T>;

/// Largest film, in pixels, whose mask is read back. House choice: kMaxFileBytes at 16 bits.
inline constexpr std::uint64_t kMostPixels = std::uint64_t{1} << 28U;

/// Appends values to a text of bytes.
class Packer {
 public:
  template <Plain T>
  void operator()(const T& value) {
    bytes_.append(reinterpret_cast<const char*>(&value), sizeof value);  // NOLINT
  }
  void operator()(const std::string& text) {
    (*this)(std::uint64_t{text.size()});
    bytes_ += text;
  }
  template <class T>
  void operator()(const std::optional<T>& value) {
    (*this)(value.has_value());
    if (value) (*this)(*value);
  }
  template <class T>
  void operator()(const std::vector<T>& values) {
    (*this)(std::uint64_t{values.size()});
    for (const T& value : values) (*this)(value);
  }
  template <class T, std::size_t N>
  void operator()(const std::array<T, N>& values) {
    for (const T& value : values) (*this)(value);
  }
  template <class T, int R, int C>
  void operator()(const Eigen::Matrix<T, R, C>& matrix) {
    static_assert(R > 0 && C > 0, "only matrices of fixed size");
    for (int i = 0; i < R * C; ++i) (*this)(matrix.data()[i]);  // NOLINT
  }
  template <class Unit>
  void operator()(const Quantity<Unit>& quantity) {
    (*this)(quantity.value);
  }
  template <class Q>
  void operator()(const Measured<Q>& measured) {
    (*this)(measured.value);
    (*this)(measured.u);
    (*this)(measured.u95);
  }
  /// Runs of equal values: a mask of millions of pixels has some thousand.
  void operator()(const Mask& mask);
  template <Struct T>
  void operator()(const T& value) {
    std::apply([this](const auto&... field) { ((*this)(field), ...); },
               fields_of<kFields<T>>(value));
  }

  [[nodiscard]] std::string take() { return std::move(bytes_); }

 private:
  std::string bytes_;
};

/// Reads them back in the same order. After a fault (the bytes end, a length is impossible) values
/// stay as they are and `good()` is false.
class Unpacker {
 public:
  explicit Unpacker(std::string_view bytes) : left_(bytes) {}

  template <Plain T>
  void operator()(T& value) {
    if (!good_ || left_.size() < sizeof value) return fail();
    std::memcpy(&value, left_.data(), sizeof value);
    left_.remove_prefix(sizeof value);
  }
  void operator()(std::string& text) {
    const std::size_t size = length();
    if (!good_) return;
    text = left_.substr(0, size);
    left_.remove_prefix(size);
  }
  template <class T>
  void operator()(std::optional<T>& value) {
    value.reset();
    bool has = false;
    (*this)(has);
    if (good_ && has) (*this)(value.emplace());
  }
  template <class T>
  void operator()(std::vector<T>& values) {
    values.clear();
    // No element is empty, so that a length beyond the bytes that are left is a fault, and no
    // length makes more be allocated than the bytes bear.
    const std::size_t size = length();
    for (std::size_t i = 0; good_ && i < size; ++i) (*this)(values.emplace_back());
  }
  template <class T, std::size_t N>
  void operator()(std::array<T, N>& values) {
    for (T& value : values) (*this)(value);
  }
  template <class T, int R, int C>
  void operator()(Eigen::Matrix<T, R, C>& matrix) {
    for (int i = 0; i < R * C; ++i) (*this)(matrix.data()[i]);  // NOLINT
  }
  template <class Unit>
  void operator()(Quantity<Unit>& quantity) {
    (*this)(quantity.value);
  }
  template <class Q>
  void operator()(Measured<Q>& measured) {
    (*this)(measured.value);
    (*this)(measured.u);
    (*this)(measured.u95);
  }
  void operator()(Mask& mask);
  template <Struct T>
  void operator()(T& value) {
    std::apply([this](auto&... field) { ((*this)(field), ...); }, fields_of<kFields<T>>(value));
  }

  [[nodiscard]] bool good() const { return good_; }
  /// Whether all was read and nothing is left.
  [[nodiscard]] bool done() const { return good_ && left_.empty(); }

 private:
  void fail() { good_ = false; }
  /// A length that the bytes that are left can bear.
  std::size_t length() {
    std::uint64_t size = 0;
    (*this)(size);
    if (good_ && size > left_.size()) fail();
    return good_ ? static_cast<std::size_t>(size) : 0;
  }

  std::string_view left_;
  bool good_ = true;
};

}  // namespace tidemark::followup::packed
