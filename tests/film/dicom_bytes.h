#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "scratch.h"
#include "tidemark/core/raster.h"

namespace tidemark::film::test {

/// Little-endian bytes of 16-bit words.
inline std::string words(const std::vector<std::uint16_t>& values) {
  std::string out;
  for (const std::uint16_t v : values) {
    out += static_cast<char>(v & 0xFFU);
    out += static_cast<char>(v >> 8U);
  }
  return out;
}

inline std::string long_word(std::uint32_t v) {
  return words({static_cast<std::uint16_t>(v & 0xFFFFU), static_cast<std::uint16_t>(v >> 16U)});
}

/// A DICOM object written byte by byte (PS3.5, explicit VR, little endian), without any library:
/// it can say things no library would write.
class DicomBytes {
 public:
  using Tag = std::uint32_t;  ///< 0xGGGGEEEE

  DicomBytes& set(Tag tag, const std::string& vr, std::string value) {
    if (value.size() % 2 != 0) value += vr == "UI" || vr == "OB" ? '\0' : ' ';
    elements_[tag] = {vr, std::move(value)};
    return *this;
  }
  DicomBytes& us(Tag tag, std::uint16_t value) { return set(tag, "US", words({value})); }
  DicomBytes& drop(Tag tag) {
    elements_.erase(tag);
    return *this;
  }
  /// A sequence of one item.
  DicomBytes& item(Tag tag, const DicomBytes& content) {
    const std::string inner = content.dataset();
    return set(
        tag, "SQ",
        words({0xFFFE, 0xE000}) + long_word(static_cast<std::uint32_t>(inner.size())) + inner);
  }

  [[nodiscard]] std::string dataset() const {
    std::string out;
    for (const auto& [tag, element] : elements_) out += header(tag, element) + element.second;
    return out;
  }
  /// Preamble, file meta (this transfer syntax) and data set.
  [[nodiscard]] std::string file(const std::string& syntax = "1.2.840.10008.1.2.1") const {
    DicomBytes meta;
    meta.set(0x00020001, "OB", std::string("\0\1", 2));
    meta.set(0x00020002, "UI", "1.2.840.10008.5.1.4.1.1.1.1");
    meta.set(0x00020003, "UI", "1.2.3.4");
    meta.set(0x00020010, "UI", syntax);
    const std::string rest = meta.dataset();
    DicomBytes length;
    length.set(0x00020000, "UL", long_word(static_cast<std::uint32_t>(rest.size())));
    return std::string(128, '\0') + "DICM" + length.dataset() + rest + dataset();
  }

 private:
  using Element = std::pair<std::string, std::string>;  // VR, value

  static std::string header(Tag tag, const Element& element) {
    std::string out =
        words({static_cast<std::uint16_t>(tag >> 16U), static_cast<std::uint16_t>(tag & 0xFFFFU)}) +
        element.first;
    const auto length = static_cast<std::uint32_t>(element.second.size());
    const bool wide = element.first == "OB" || element.first == "OW" || element.first == "SQ" ||
                      element.first == "UN" || element.first == "UT";
    return out + (wide ? std::string(2, '\0') + long_word(length)
                       : words({static_cast<std::uint16_t>(length)}));
  }

  std::map<Tag, Element> elements_;
};

/// A plain digital radiograph of 16-bit pixels, upright (L\F), without any spacing.
inline DicomBytes film_of(const RasterOf<std::uint16_t>& pixels) {
  DicomBytes film;
  film.set(0x00080060, "CS", "DX")
      .set(0x00200020, "CS", "L\\F")
      .us(0x00280002, 1)
      .set(0x00280004, "CS", "MONOCHROME2")
      .us(0x00280010, static_cast<std::uint16_t>(pixels.height))
      .us(0x00280011, static_cast<std::uint16_t>(pixels.width))
      .us(0x00280100, 16)
      .us(0x00280101, 12)
      .us(0x00280102, 11)
      .us(0x00280103, 0)
      .set(0x7FE00010, "OW", words(pixels.values));
  return film;
}

/// An image without any symmetry: v(x, y) = 16 x + 3 y + 1.
inline RasterOf<std::uint16_t> wedge(int width, int height) {
  RasterOf<std::uint16_t> image(width, height);
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) image.at(x, y) = static_cast<std::uint16_t>(16 * x + 3 * y + 1);
  }
  return image;
}

/// A file in a folder of its own that goes away with it.
class TempFile {
 public:
  explicit TempFile(const std::string& content, const std::string& name = "film.dcm")
      : folder_(root()), path_(folder_ / name) {
    std::ofstream(path_, std::ios::binary) << content;
  }
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  static std::filesystem::path root() {
    // Memory where there is some: thousands of small files are written one after the other.
    const std::filesystem::path memory = "/dev/shm";
    return std::filesystem::exists(memory) ? memory : std::filesystem::temp_directory_path();
  }

  tidemark::test::Scratch folder_;
  std::filesystem::path path_;
};

}  // namespace tidemark::film::test
