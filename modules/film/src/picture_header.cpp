#include "picture_header.h"

#include <array>
#include <cmath>
#include <cstring>
#include <vector>

#include "codestream.h"
#include "loaded.h"
#include "words.h"

namespace tidemark::film {
namespace {

constexpr const char* kSaveAgain = "save it again as PNG or TIFF";

tl::unexpected<Error> bad(const std::string& name, std::string wrong,
                          const char* remedy = kSaveAgain) {
  return fail(ErrorKind::kBadInput, name, std::move(wrong), remedy);
}

bool starts(std::span<const std::byte> bytes, const char* text, std::size_t n) {
  return bytes.size() >= n && std::memcmp(bytes.data(), text, n) == 0;
}

/// Whole numbers out of bytes, in either order, never beyond the end.
struct Reader {
  std::span<const std::byte> bytes;
  bool little = false;

  [[nodiscard]] std::optional<std::uint32_t> get(std::size_t at, std::size_t width) const {
    if (at > bytes.size() || width > bytes.size() - at) return std::nullopt;
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < width; ++i) {
      const std::size_t k = little ? width - 1 - i : i;
      value = value << 8U | std::to_integer<std::uint32_t>(bytes[at + k]);
    }
    return value;
  }
};

/// Height over width of pixels of which so many go across and down one length. Differences within
/// what writers round by count as none: pixels are then left as they are.
double pixel_shape(double per_length_across, double per_length_down) {
  constexpr double kRounded = 0.01;  // house choice
  if (!(per_length_across > 0.0) || !(per_length_down > 0.0)) return 1.0;
  const double shape = per_length_across / per_length_down;
  return std::abs(shape - 1.0) > kRounded ? shape : 1.0;
}

Expected<PictureHeader> sized(PictureHeader header, std::int64_t columns, std::int64_t rows,
                              const std::string& name) {
  if (auto size = check_size(columns, rows, name); !size) return tl::unexpected(size.error());
  header.columns = static_cast<int>(columns);
  header.rows = static_cast<int>(rows);
  return header;
}

/// The first directory of a TIFF (TIFF 6.0, section 2): values of entries that fit our needs.
class TiffDirectory {
 public:
  TiffDirectory(Reader reader, std::size_t at) : reader_(reader), at_(at) {}

  [[nodiscard]] std::optional<std::uint32_t> count() const { return reader_.get(at_, 2); }
  [[nodiscard]] std::optional<std::uint32_t> next() const {
    return reader_.get(at_ + 2 + 12 * std::size_t{count().value_or(0)}, 4);
  }

  /// All values of a tag of type SHORT or LONG; empty when the tag is absent or out of the file.
  [[nodiscard]] std::vector<std::uint32_t> values(std::uint32_t tag) const {
    std::vector<std::uint32_t> found;
    for (std::size_t i = 0; i < count().value_or(0); ++i) {
      const std::size_t entry = at_ + 2 + 12 * i;
      if (reader_.get(entry, 2) != tag) continue;
      const std::size_t width = reader_.get(entry + 2, 2) == 3U ? 2 : 4;
      const std::size_t n = reader_.get(entry + 4, 4).value_or(0);
      const std::size_t from =
          n * width <= 4 ? entry + 8 : reader_.get(entry + 8, 4).value_or(0xFFFFFFFFU);
      for (std::size_t k = 0; k < n; ++k) {
        const auto value = reader_.get(from + k * width, width);
        if (!value) return {};
        found.push_back(*value);
      }
      break;
    }
    return found;
  }
  /// The first value of a tag of type RATIONAL; 0 when the tag is absent, another or out of the
  /// file.
  [[nodiscard]] double rational(std::uint32_t tag) const {
    for (std::size_t i = 0; i < count().value_or(0); ++i) {
      const std::size_t entry = at_ + 2 + 12 * i;
      if (reader_.get(entry, 2) != tag || reader_.get(entry + 2, 2) != 5U) continue;
      const std::size_t from = reader_.get(entry + 8, 4).value_or(0xFFFFFFFFU);
      const double over = reader_.get(from + 4, 4).value_or(0);
      return over > 0.0 ? reader_.get(from, 4).value_or(0) / over : 0.0;
    }
    return 0.0;
  }
  [[nodiscard]] std::uint32_t value(std::uint32_t tag, std::uint32_t otherwise) const {
    const auto all = values(tag);
    return all.empty() ? otherwise : all.front();
  }

 private:
  Reader reader_;
  std::size_t at_;
};

/// How a picture asks to be turned before it is shown (TIFF 6.0, tag 274; Exif has the same tag):
/// 1 as it is stored, 2 to 8 turned or mirrored. Values beyond mean nothing.
std::uint32_t orientation_of(const TiffDirectory& directory) {
  const std::uint32_t stated = directory.value(274, 1);
  return stated >= 1 && stated <= 8 ? stated : 1;
}

/// Of the pixels, by XResolution and YResolution (TIFF 6.0, tags 282 and 283; Exif has the same).
double pixel_shape_of(const TiffDirectory& directory) {
  return pixel_shape(directory.rational(282), directory.rational(283));
}

/// Points are told in pixels as stored, and whoever put them on a sheet saw the picture turned.
tl::unexpected<Error> turned(const std::string& name, std::uint32_t orientation) {
  return bad(name,
             "a picture that asks to be turned or mirrored (orientation " +
                 std::to_string(orientation) + ")",
             "save it again the way it is to be seen");
}

/// The first directory in Exif data, whose content is a TIFF (Exif 2.3, 4.7.2: from memory).
TiffDirectory exif_directory(std::span<const std::byte> tiff) {
  const Reader reader{tiff, starts(tiff, "II", 2)};
  return {reader, reader.get(4, 4).value_or(0xFFFFFFFFU)};
}

/// PNG, third edition, 5.3 (chunks), 11.2.1 (IHDR) and 11.3.3.5 (eXIf: from memory).
Expected<PictureHeader> inspect_png(std::span<const std::byte> bytes, const std::string& name) {
  const Reader reader{bytes};
  PictureHeader header{.kind = PictureKind::kPng};
  const auto columns = reader.get(16, 4);
  const auto rows = reader.get(20, 4);
  const auto bits = reader.get(24, 1);
  if (!columns || !rows || !bits) return bad(name, cut_off(bytes.size()));
  header.bits = static_cast<int>(*bits);
  bool ended = false;
  for (std::size_t at = 8; !ended;) {
    const auto length = reader.get(at, 4);
    if (!length || at + 12 > bytes.size() || *length > bytes.size() - at - 12) {
      return bad(name, cut_off(bytes.size()));
    }
    const auto type = bytes.subspan(at + 4, 4);
    ended = starts(type, "IEND", 4);
    if (starts(type, "pHYs", 4)) {
      header.has_resolution = true;
      header.pixel_height_per_width =
          pixel_shape(reader.get(at + 8, 4).value_or(0), reader.get(at + 12, 4).value_or(0));
    }
    if (starts(type, "eXIf", 4)) {
      const auto way = orientation_of(exif_directory(bytes.subspan(at + 8, *length)));
      if (way != 1) return turned(name, way);
    }
    at += 12 + *length;
  }
  if (header.bits < 8) return bad(name, "too few grey levels", "save it with 8 or 16 bits a pixel");
  return sized(header, *columns, *rows, name);
}

/// The first directory in a JPEG's Exif segment (T.81, B.1); absent where there is none.
std::optional<TiffDirectory> exif_of(std::span<const std::byte> bytes) {
  const Reader reader{bytes};
  for (std::size_t at = 2; reader.get(at, 1) == 0xFFU;) {
    const auto marker = reader.get(at + 1, 1).value_or(0xDA);
    const std::size_t length = reader.get(at + 2, 2).value_or(0);
    if (marker == 0xDA || length < 2 || at + 2 + length > bytes.size()) break;
    const auto content = bytes.subspan(at + 4, length - 2);
    if (marker == 0xE1 && content.size() > 6 && starts(content, "Exif\0\0", 6)) {
      return exif_directory(content.subspan(6));
    }
    at += 2 + length;
  }
  return std::nullopt;
}

Expected<PictureHeader> inspect_jpeg_file(std::span<const std::byte> bytes,
                                          const std::string& name) {
  const auto frame = inspect_jpeg(bytes);
  if (!frame || !frame->is_whole) return bad(name, cut_off(bytes.size()));
  if (frame->bits != 8) {
    return bad(name, "a JPEG of " + std::to_string(frame->bits) + " bits, which is not supported");
  }
  if (frame->components != 1 && frame->components != 3) {
    return bad(name, "a colour picture", "save it as a greyscale picture");
  }
  PictureHeader header{.kind = PictureKind::kJpeg, .bits = 8};
  if (const auto exif = exif_of(bytes)) {
    if (const auto way = orientation_of(*exif); way != 1) return turned(name, way);
    header.pixel_height_per_width = pixel_shape_of(*exif);
  }
  // JFIF density: unit 1 or 2 states pixels per length, 0 their shape alone (T.871 10.1).
  if (bytes.size() > 17 && starts(bytes.subspan(6), "JFIF", 4)) {
    const Reader reader{bytes};
    header.has_resolution = bytes[13] != std::byte{0};
    header.pixel_height_per_width =
        pixel_shape(reader.get(14, 2).value_or(0), reader.get(16, 2).value_or(0));
  }
  return sized(header, frame->columns, frame->rows, name);
}

bool strips_are_whole(const TiffDirectory& directory, std::size_t file_bytes) {
  constexpr std::array<std::array<std::uint32_t, 2>, 2> kOffsetsAndCounts{{{273, 279}, {324, 325}}};
  for (const auto& [offset_tag, count_tag] : kOffsetsAndCounts) {
    const auto offsets = directory.values(offset_tag);
    const auto counts = directory.values(count_tag);
    if (offsets.empty()) continue;
    if (counts.size() != offsets.size()) return false;
    for (std::size_t i = 0; i < offsets.size(); ++i) {
      if (std::uint64_t{offsets[i]} + counts[i] > file_bytes) return false;
    }
    return true;
  }
  return false;
}

Expected<PictureHeader> inspect_tiff(std::span<const std::byte> bytes, const std::string& name) {
  const Reader reader{bytes, starts(bytes, "II", 2)};
  const auto at = reader.get(4, 4);
  if (!at || !reader.get(*at, 2)) return bad(name, cut_off(bytes.size()));
  const TiffDirectory directory(reader, *at);
  const auto next = directory.next();
  if (!next || !strips_are_whole(directory, bytes.size())) return bad(name, cut_off(bytes.size()));
  if (*next != 0) {
    return bad(name, "a TIFF of several pages", "save the page with the film as a file of its own");
  }
  constexpr std::uint32_t kTooWide = 1U << 16U;
  if (directory.value(322, 0) > kTooWide || directory.value(323, 0) > kTooWide) {
    return bad(name, "an impossible header (tiles larger than any film)");
  }
  PictureHeader header{.kind = PictureKind::kTiff};
  header.bits = static_cast<int>(directory.value(258, 1) & 0xFFFFU);
  header.white_is_zero = directory.value(262, 1) == 0;
  header.has_resolution = directory.value(296, 2) != 1 && !directory.values(296).empty();
  header.pixel_height_per_width = pixel_shape_of(directory);
  if (header.bits < 8) return bad(name, "too few grey levels", "save it with 8 or 16 bits a pixel");
  if (const auto way = orientation_of(directory); way != 1) return turned(name, way);
  return sized(header, directory.value(256, 0), directory.value(257, 0), name);
}

}  // namespace

std::optional<PictureKind> picture_kind(std::span<const std::byte> bytes) {
  if (starts(bytes, "\x89PNG\r\n\x1a\n", 8)) return PictureKind::kPng;
  if (starts(bytes, "II*\0", 4) || starts(bytes, "MM\0*", 4)) return PictureKind::kTiff;
  if (starts(bytes, "\xFF\xD8\xFF", 3)) return PictureKind::kJpeg;
  return std::nullopt;
}

Expected<PictureHeader> inspect_picture(std::span<const std::byte> bytes, const std::string& name) {
  const auto kind = picture_kind(bytes);
  if (kind == PictureKind::kPng) return inspect_png(bytes, name);
  if (kind == PictureKind::kTiff) return inspect_tiff(bytes, name);
  return inspect_jpeg_file(bytes, name);
}

}  // namespace tidemark::film
