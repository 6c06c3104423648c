// Readers of STL, OBJ and PLY. Each looks at the length of the file before it makes room.
#include <algorithm>
#include <array>
#include <bit>
#include <charconv>
#include <cstdint>
#include <cstring>
#include <optional>
#include <string_view>
#include <vector>

#include "read.h"

namespace tidemark::surface {
namespace {

static_assert(std::endian::native == std::endian::little, "binary surfaces are read as they lie");

using Bytes = std::span<const std::byte>;

tl::unexpected<std::string> wrong(const char* what) { return tl::unexpected(std::string(what)); }

std::string_view text_of(Bytes bytes) {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

template <class T>
T value_at(Bytes bytes, std::size_t at) {
  T value;
  std::memcpy(&value, bytes.data() + at, sizeof value);
  return value;
}

/// Words of a text, line by line.
class Words {
 public:
  explicit Words(std::string_view text) : text_(text) {}

  /// The next word, on whatever line; empty at the end.
  std::string_view next() {
    while (at_ < text_.size() && is_space(text_[at_])) ++at_;
    const std::size_t from = at_;
    while (at_ < text_.size() && !is_space(text_[at_])) ++at_;
    return text_.substr(from, at_ - from);
  }
  /// The next line, without its end; absent at the end of the text.
  std::optional<std::string_view> line() {
    if (at_ >= text_.size()) return std::nullopt;
    const std::size_t end = std::min(text_.find('\n', at_), text_.size());
    std::string_view out = text_.substr(at_, end - at_);
    at_ = std::min(end + 1, text_.size());
    if (!out.empty() && out.back() == '\r') out.remove_suffix(1);
    return out;
  }
  [[nodiscard]] std::size_t place() const { return at_; }

 private:
  static bool is_space(char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; }
  std::string_view text_;
  std::size_t at_ = 0;
};

template <class T>
std::optional<T> number(std::string_view word) {
  if (!word.empty() && word.front() == '+') word.remove_prefix(1);
  T value{};
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value);
  if (error != std::errc() || end != word.data() + word.size()) return std::nullopt;
  return value;
}

std::optional<Vec3> three_numbers(Words& words) {
  Vec3 p;
  for (int k = 0; k < 3; ++k) {
    const auto value = number<double>(words.next());
    if (!value) return std::nullopt;
    p(k) = *value;
  }
  return p;
}

/// A polygon as a fan of triangles.
void add_fan(const std::vector<int>& corners, Mesh& mesh) {
  for (std::size_t i = 1; i + 1 < corners.size(); ++i) {
    mesh.triangles.push_back({corners[0], corners[i], corners[i + 1]});
  }
}

Parsed<Mesh> parse_binary_stl(Bytes bytes, std::size_t count) {
  constexpr std::size_t kHeader = 84;
  constexpr std::size_t kRecord = 50;
  Mesh mesh;
  mesh.points.reserve(3 * count);
  for (std::size_t i = 0; i < count; ++i) {
    const std::size_t at = kHeader + kRecord * i + 12;  // behind the normal
    const int first = static_cast<int>(mesh.points.size());
    for (std::size_t k = 0; k < 3; ++k) {
      mesh.points.emplace_back(value_at<float>(bytes, at + 12 * k),
                               value_at<float>(bytes, at + 12 * k + 4),
                               value_at<float>(bytes, at + 12 * k + 8));
    }
    mesh.triangles.push_back({first, first + 1, first + 2});
  }
  return mesh;
}

Parsed<Mesh> parse_text_stl(std::string_view text) {
  Words words(text);
  Mesh mesh;
  for (auto word = words.next(); !word.empty(); word = words.next()) {
    if (word != "vertex") continue;
    const auto p = three_numbers(words);
    if (!p) return wrong("a corner of a triangle is no three numbers");
    mesh.points.push_back(*p);
    if (mesh.points.size() > 3 * kMostTriangles) return wrong("it holds too many triangles");
  }
  if (mesh.points.size() % 3 != 0) return wrong("its last triangle is not whole");
  for (int i = 0; i < static_cast<int>(mesh.points.size()); i += 3) {
    mesh.triangles.push_back({i, i + 1, i + 2});
  }
  return mesh;
}

/// One property of a PLY element.
struct Property {
  std::string name;
  int bytes = 0;        ///< of a value
  char kind = 'f';      ///< f floating, u unsigned, i signed
  int count_bytes = 0;  ///< of a list's count; 0: no list
  char count_kind = 'u';
};

struct Element {
  std::string name;
  std::size_t count = 0;
  std::vector<Property> properties;
};

struct PlyHeader {
  bool binary = false;
  std::vector<Element> elements;
  std::size_t end = 0;
};

/// Size and kind of a PLY type; size 0 when there is no such type.
std::pair<int, char> type_of(std::string_view word) {
  static const std::array<std::pair<std::string_view, std::pair<int, char>>, 16> kTypes{{
      {"char", {1, 'i'}},
      {"uchar", {1, 'u'}},
      {"short", {2, 'i'}},
      {"ushort", {2, 'u'}},
      {"int", {4, 'i'}},
      {"uint", {4, 'u'}},
      {"float", {4, 'f'}},
      {"double", {8, 'f'}},
      {"int8", {1, 'i'}},
      {"uint8", {1, 'u'}},
      {"int16", {2, 'i'}},
      {"uint16", {2, 'u'}},
      {"int32", {4, 'i'}},
      {"uint32", {4, 'u'}},
      {"float32", {4, 'f'}},
      {"float64", {8, 'f'}},
  }};
  for (const auto& [name, type] : kTypes) {
    if (name == word) return type;
  }
  return {0, 'f'};
}

std::optional<Property> property_of(Words& words) {
  Property out;
  auto word = words.next();
  if (word == "list") {
    std::tie(out.count_bytes, out.count_kind) = type_of(words.next());
    if (out.count_bytes == 0 || out.count_kind == 'f') return std::nullopt;
    word = words.next();
  }
  std::tie(out.bytes, out.kind) = type_of(word);
  out.name = words.next();
  if (out.bytes == 0) return std::nullopt;
  return out;
}

Parsed<PlyHeader> header_of(std::string_view text) {
  PlyHeader header;
  Words lines(text);
  const auto first = lines.line();
  if (!first || *first != "ply") return wrong("this is no PLY file");
  while (const auto line = lines.line()) {
    Words words(*line);
    const auto word = words.next();
    if (word == "end_header") {
      header.end = lines.place();
      return header;
    }
    if (word == "format") {
      const auto format = words.next();
      header.binary = format == "binary_little_endian";
      if (!header.binary && format != "ascii") return wrong("its byte order is not read");
    } else if (word == "element") {
      Element element{std::string(words.next()), 0, {}};
      const auto count = number<std::size_t>(words.next());
      if (!count || *count > 2 * kMostTriangles) return wrong("it holds too many triangles");
      element.count = *count;
      header.elements.push_back(std::move(element));
    } else if (word == "property") {
      const auto property = property_of(words);
      if (!property || header.elements.empty()) return wrong("its header is damaged");
      header.elements.back().properties.push_back(*property);
    }
  }
  return wrong("its header does not end");
}

/// Values of a PLY body, text or binary.
class PlyBody {
 public:
  PlyBody(Bytes bytes, bool binary) : bytes_(bytes), binary_(binary), words_(text_of(bytes)) {}

  std::optional<double> next(int size, char kind) {
    if (!binary_) return number<double>(words_.next());
    const auto n = static_cast<std::size_t>(size);
    if (at_ + n > bytes_.size()) return std::nullopt;
    const std::size_t at = at_;
    at_ += n;
    if (kind == 'f') {
      return size == 4 ? static_cast<double>(value_at<float>(bytes_, at))
                       : value_at<double>(bytes_, at);
    }
    if (size == 1) {
      return kind == 'u' ? value_at<std::uint8_t>(bytes_, at) : value_at<std::int8_t>(bytes_, at);
    }
    if (size == 2) {
      return kind == 'u' ? value_at<std::uint16_t>(bytes_, at) : value_at<std::int16_t>(bytes_, at);
    }
    return kind == 'u' ? value_at<std::uint32_t>(bytes_, at) : value_at<std::int32_t>(bytes_, at);
  }

 private:
  Bytes bytes_;
  bool binary_;
  Words words_;
  std::size_t at_ = 0;
};

/// One row of an element into the mesh; false when the file ends in it or it makes no sense.
bool take_row(const Element& element, PlyBody& body, Mesh& mesh) {
  Vec3 p = Vec3::Zero();
  std::vector<int> corners;
  for (const Property& property : element.properties) {
    if (property.count_bytes == 0) {
      const auto value = body.next(property.bytes, property.kind);
      if (!value) return false;
      if (property.name.size() == 1 && property.name[0] >= 'x' && property.name[0] <= 'z') {
        p(property.name[0] - 'x') = *value;
      }
      continue;
    }
    const auto count = body.next(property.count_bytes, property.count_kind);
    if (!count || !(*count >= 0.0 && *count <= 1000.0)) return false;
    for (int i = 0; i < static_cast<int>(*count); ++i) {
      const auto value = body.next(property.bytes, property.kind);
      if (!value) return false;
      const bool usable = *value >= 0.0 && *value < 2147483647.0;
      if (property.name.starts_with("vert"))
        corners.push_back(usable ? static_cast<int>(*value) : -1);
    }
  }
  if (element.name == "vertex") mesh.points.push_back(p);
  if (element.name == "face") add_fan(corners, mesh);
  return mesh.triangles.size() <= kMostTriangles;
}

/// The point that the word of an OBJ face names, from 0; absent when it is no number.
std::optional<int> obj_corner(std::string_view word, std::size_t points) {
  const auto index = number<int>(word.substr(0, word.find('/')));
  if (!index || *index == 0) return std::nullopt;
  return *index > 0 ? *index - 1 : static_cast<int>(points) + *index;
}

}  // namespace

Parsed<Mesh> parse_stl(Bytes bytes) {
  // A text file begins with "solid", but so do some binary ones: their length gives them away.
  if (bytes.size() >= 84) {
    const std::size_t count = value_at<std::uint32_t>(bytes, 80);
    const bool text = text_of(bytes).starts_with("solid");
    if (count > kMostTriangles && !text) return wrong("it holds too many triangles");
    if (count <= kMostTriangles && bytes.size() == 84 + 50 * count) {
      return parse_binary_stl(bytes, count);
    }
    if (!text) return wrong("its length does not fit the number of its triangles");
  }
  return parse_text_stl(text_of(bytes));
}

Parsed<Mesh> parse_obj(Bytes bytes) {
  Words lines(text_of(bytes));
  Mesh mesh;
  while (const auto line = lines.line()) {
    Words words(*line);
    const auto word = words.next();
    if (word == "v") {
      const auto p = three_numbers(words);
      if (!p) return wrong("a point is no three numbers");
      mesh.points.push_back(*p);
    } else if (word == "f") {
      std::vector<int> corners;
      for (auto corner = words.next(); !corner.empty(); corner = words.next()) {
        const auto index = obj_corner(corner, mesh.points.size());
        if (!index) return wrong("a corner of a face is no number");
        corners.push_back(*index);
      }
      add_fan(corners, mesh);
    }
    if (mesh.triangles.size() > kMostTriangles || mesh.points.size() > 2 * kMostTriangles) {
      return wrong("it holds too many triangles");
    }
  }
  return mesh;
}

Parsed<Mesh> parse_ply(Bytes bytes) {
  const auto header = header_of(text_of(bytes));
  if (!header) return tl::unexpected(header.error());
  PlyBody body(bytes.subspan(header->end), header->binary);
  Mesh mesh;
  for (const Element& element : header->elements) {
    if (element.properties.empty()) continue;
    for (std::size_t i = 0; i < element.count; ++i) {
      if (!take_row(element, body, mesh)) return wrong("the file ends too early or is damaged");
    }
  }
  return mesh;
}

}  // namespace tidemark::surface
