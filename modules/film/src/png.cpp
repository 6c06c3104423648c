#include <png.h>

#include <csetjmp>
#include <cstring>

#include "picture_samples.h"

namespace tidemark::film {
namespace {

/// A PNG in memory and libpng's two structures. libpng reports errors by a long jump, which must
/// not cross a frame with destructors: hence the plain functions below.
struct PngReader {
  explicit PngReader(std::span<const std::byte> all) : bytes(all) {
    png = png_create_read_struct(PNG_LIBPNG_VER_STRING, nullptr, on_error, on_warning);
    if (png != nullptr) info = png_create_info_struct(png);
    if (info != nullptr) png_set_read_fn(png, this, on_read);
  }
  PngReader(const PngReader&) = delete;
  PngReader& operator=(const PngReader&) = delete;
  ~PngReader() { png_destroy_read_struct(&png, &info, nullptr); }

  [[noreturn]] static void on_error(png_structp p, png_const_charp /*text*/) { png_longjmp(p, 1); }
  static void on_warning(png_structp /*p*/, png_const_charp /*text*/) {}
  static void on_read(png_structp p, png_bytep to, std::size_t n) {
    auto* self = static_cast<PngReader*>(png_get_io_ptr(p));
    if (n > self->bytes.size() - self->at) png_error(p, "end");
    std::memcpy(to, self->bytes.data() + self->at, n);
    self->at += n;
  }

  std::span<const std::byte> bytes;
  std::size_t at = 0;
  png_structp png = nullptr;
  png_infop info = nullptr;
};

bool read_info(PngReader& reader) {
  if (setjmp(png_jmpbuf(reader.png)) != 0) return false;
  constexpr png_alloc_size_t kMaxChunk = 8U << 20U;
  png_set_chunk_malloc_max(reader.png, kMaxChunk);
  png_read_info(reader.png, reader.info);
  if (png_get_color_type(reader.png, reader.info) == PNG_COLOR_TYPE_PALETTE) {
    png_set_palette_to_rgb(reader.png);
  }
  if (png_get_bit_depth(reader.png, reader.info) == 16) png_set_swap(reader.png);
  png_set_interlace_handling(reader.png);
  png_read_update_info(reader.png, reader.info);
  return true;
}

bool read_rows(PngReader& reader, png_bytep* rows, int count) {
  if (setjmp(png_jmpbuf(reader.png)) != 0) return false;
  for (int y = 0; y < count; ++y) png_read_row(reader.png, rows[y], nullptr);
  return true;
}

bool read_interlaced(PngReader& reader, png_bytep* rows) {
  if (setjmp(png_jmpbuf(reader.png)) != 0) return false;
  png_read_image(reader.png, rows);
  return true;
}

void append(const png_byte* row, int bits, const PictureHeader& header, GreySamples& samples) {
  if (bits == 8) {
    append_grey_row(row, header.columns, samples.channels, samples.codes, samples.greys);
    return;
  }
  // The row buffer is a vector's storage and so aligned for any sample.
  append_grey_row(reinterpret_cast<const std::uint16_t*>(row), header.columns, samples.channels,
                  samples.codes, samples.greys);
}

}  // namespace

GreyOrFault decode_png(std::span<const std::byte> bytes, const PictureHeader& header) {
  PngReader reader(bytes);
  if (reader.info == nullptr || !read_info(reader)) return tl::unexpected(PictureFault::kDamaged);
  const int bits = png_get_bit_depth(reader.png, reader.info);
  GreySamples samples;
  samples.channels = png_get_channels(reader.png, reader.info);
  samples.greys = GreyCount(bits == 8 ? 255.0 : 65535.0);
  const std::size_t row_bytes = png_get_rowbytes(reader.png, reader.info);
  if (bits < 8 || samples.channels > 4 ||
      row_bytes < static_cast<std::size_t>(header.columns * samples.channels * bits / 8)) {
    return tl::unexpected(PictureFault::kUnsupported);
  }
  const auto height = static_cast<std::size_t>(header.rows);
  const bool interlaced = png_get_interlace_type(reader.png, reader.info) != PNG_INTERLACE_NONE;
  constexpr std::size_t kMaxInterlaced = std::size_t{256} << 20U;  // it needs all rows at once
  if (interlaced && row_bytes * height > kMaxInterlaced) {
    return tl::unexpected(PictureFault::kUnsupported);
  }
  std::vector<std::uint64_t> buffer((row_bytes + 7) / 8 * (interlaced ? height : 1));
  samples.codes.reserve(height * static_cast<std::size_t>(header.columns));
  std::vector<png_bytep> rows(interlaced ? height : 1);
  for (std::size_t y = 0; y < rows.size(); ++y) {
    rows[y] = reinterpret_cast<png_bytep>(buffer.data() + y * ((row_bytes + 7) / 8));
  }
  if (interlaced && !read_interlaced(reader, rows.data())) {
    return tl::unexpected(PictureFault::kDamaged);
  }
  for (std::size_t y = 0; y < height; ++y) {
    if (!interlaced && !read_rows(reader, rows.data(), 1)) {
      return tl::unexpected(PictureFault::kDamaged);
    }
    append(rows[interlaced ? y : 0], bits, header, samples);
  }
  return samples;
}

}  // namespace tidemark::film
