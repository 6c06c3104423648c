#include "png_of.h"

#include <png.h>

#include <csetjmp>
#include <cstddef>
#include <new>

namespace tidemark::followup {
namespace {

/// zlib's levels go from 1 (fast) to 9 (small). At 2 a picture of a film takes a fifth of the time
/// of 6, the usual one, and a sixth more room.
constexpr int kCompression = 2;

bool appended(std::vector<unsigned char>* bytes, png_bytep data, std::size_t length) {
  try {
    bytes->insert(bytes->end(), data, data + length);
    return true;
  } catch (const std::bad_alloc&) {
    return false;  // an exception must not cross the library
  }
}
void append(png_structp png, png_bytep data, std::size_t length) {
  auto* bytes = static_cast<std::vector<unsigned char>*>(png_get_io_ptr(png));
  if (!appended(bytes, data, length)) png_error(png, "no memory");
}
void flush(png_structp /*png*/) {}
[[noreturn]] void on_error(png_structp png, png_const_charp /*text*/) { png_longjmp(png, 1); }
void on_warning(png_structp /*png*/, png_const_charp /*text*/) {}

struct Writer {
  Writer() : png(png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, on_error, on_warning)) {
    if (png != nullptr) info = png_create_info_struct(png);
  }
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;
  ~Writer() { png_destroy_write_struct(&png, &info); }

  png_structp png = nullptr;
  png_infop info = nullptr;
};

/// libpng reports errors by a long jump, which must not cross a frame with destructors.
bool write(const Writer& writer, int width, int height, png_bytepp rows) {
  if (setjmp(png_jmpbuf(writer.png)) != 0) return false;
  png_set_IHDR(writer.png, writer.info, static_cast<png_uint_32>(width),
               static_cast<png_uint_32>(height), 8, PNG_COLOR_TYPE_RGB, PNG_INTERLACE_NONE,
               PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
  png_set_compression_level(writer.png, kCompression);
  // Differences to the row above suit film; trying all filters on each row costs more than it wins.
  png_set_filter(writer.png, PNG_FILTER_TYPE_BASE, PNG_FILTER_UP);
  png_write_info(writer.png, writer.info);
  png_write_image(writer.png, rows);
  png_write_end(writer.png, nullptr);
  return true;
}

}  // namespace

std::optional<std::vector<unsigned char>> png_of(const RasterOf<std::uint32_t>& rgb) {
  const auto row_bytes = 3 * static_cast<std::size_t>(rgb.width);
  std::vector<unsigned char> samples;
  samples.reserve(row_bytes * static_cast<std::size_t>(rgb.height));
  for (const std::uint32_t pixel : rgb.values) {
    for (const unsigned shift : {16U, 8U, 0U}) {
      samples.push_back(static_cast<unsigned char>(pixel >> shift & 0xFFU));
    }
  }
  std::vector<png_bytep> rows;
  rows.reserve(static_cast<std::size_t>(rgb.height));
  for (int y = 0; y < rgb.height; ++y) {
    rows.push_back(samples.data() + row_bytes * static_cast<std::size_t>(y));
  }
  std::vector<unsigned char> bytes;
  const Writer writer;
  if (writer.info == nullptr) return {};
  png_set_write_fn(writer.png, &bytes, append, flush);
  if (!write(writer, rgb.width, rgb.height, rows.data())) return {};
  return bytes;
}

}  // namespace tidemark::followup
