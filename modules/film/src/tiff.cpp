#include <tiffio.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <memory>

#include "picture_samples.h"

namespace tidemark::film {
namespace {

struct Memory {
  std::span<const std::byte> bytes;
  std::uint64_t at = 0;
};

tmsize_t read_from(thandle_t handle, void* to, tmsize_t n) {
  auto* m = static_cast<Memory*>(handle);
  const std::uint64_t left = m->bytes.size() - std::min<std::uint64_t>(m->at, m->bytes.size());
  const auto got =
      std::min<std::uint64_t>(left, static_cast<std::uint64_t>(std::max<tmsize_t>(n, 0)));
  if (got > 0) std::memcpy(to, m->bytes.data() + m->at, got);
  m->at += got;
  return static_cast<tmsize_t>(got);
}
tmsize_t refuse_write(thandle_t /*handle*/, void* /*from*/, tmsize_t /*n*/) { return -1; }
toff_t seek_in(thandle_t handle, toff_t offset, int whence) {
  auto* m = static_cast<Memory*>(handle);
  m->at = offset + (whence == SEEK_CUR ? m->at : whence == SEEK_END ? m->bytes.size() : 0);
  return m->at;
}
int close_nothing(thandle_t /*handle*/) { return 0; }
toff_t size_of(thandle_t handle) { return static_cast<Memory*>(handle)->bytes.size(); }
int keep_quiet(TIFF* /*tiff*/, void* /*user*/, const char* /*module*/, const char* /*format*/,
               va_list /*arguments*/) {
  return 1;
}

using Tiff = std::unique_ptr<TIFF, void (*)(TIFF*)>;

Tiff open(Memory& memory) {
  constexpr tmsize_t kMaxAllocation = tmsize_t{256} << 20U;
  const std::unique_ptr<TIFFOpenOptions, void (*)(TIFFOpenOptions*)> options(TIFFOpenOptionsAlloc(),
                                                                             TIFFOpenOptionsFree);
  TIFFOpenOptionsSetMaxSingleMemAlloc(options.get(), kMaxAllocation);
  TIFFOpenOptionsSetErrorHandlerExtR(options.get(), keep_quiet, nullptr);
  TIFFOpenOptionsSetWarningHandlerExtR(options.get(), keep_quiet, nullptr);
  // m: no memory map; the bytes are in memory already.
  return {TIFFClientOpenExt("film", "rm", &memory, read_from, refuse_write, seek_in, close_nothing,
                            size_of, nullptr, nullptr, options.get()),
          TIFFClose};
}

struct Layout {
  std::uint16_t bits = 1;
  std::uint16_t channels = 1;
  std::uint16_t format = SAMPLEFORMAT_UINT;
};

/// The layout of the samples, when it is one that append_row below knows.
tl::expected<Layout, PictureFault> layout_of(TIFF* tiff, const PictureHeader& header) {
  Layout layout;
  std::uint32_t columns = 0;
  std::uint32_t rows = 0;
  std::uint16_t planes = PLANARCONFIG_CONTIG;
  std::uint16_t photometric = PHOTOMETRIC_MINISBLACK;
  TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &columns);
  TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &rows);
  TIFFGetField(tiff, TIFFTAG_PHOTOMETRIC, &photometric);
  TIFFGetFieldDefaulted(tiff, TIFFTAG_BITSPERSAMPLE, &layout.bits);
  TIFFGetFieldDefaulted(tiff, TIFFTAG_SAMPLESPERPIXEL, &layout.channels);
  TIFFGetFieldDefaulted(tiff, TIFFTAG_SAMPLEFORMAT, &layout.format);
  TIFFGetFieldDefaulted(tiff, TIFFTAG_PLANARCONFIG, &planes);
  if (columns != static_cast<std::uint32_t>(header.columns) ||
      rows != static_cast<std::uint32_t>(header.rows)) {
    return tl::unexpected(PictureFault::kDamaged);
  }
  if (photometric > PHOTOMETRIC_RGB) return tl::unexpected(PictureFault::kColour);
  const bool whole = layout.format == SAMPLEFORMAT_UINT || layout.format == SAMPLEFORMAT_INT;
  const bool known = (whole && (layout.bits == 8 || layout.bits == 16 || layout.bits == 32)) ||
                     (layout.format == SAMPLEFORMAT_IEEEFP && layout.bits == 32);
  if (!known || layout.channels < 1 || layout.channels > 4 || TIFFIsTiled(tiff) != 0 ||
      (layout.channels > 1 && planes != PLANARCONFIG_CONTIG)) {
    return tl::unexpected(PictureFault::kUnsupported);
  }
  return layout;
}

void append_row(const std::uint64_t* row, const Layout& layout, int columns, GreySamples& samples) {
  const auto grey = [&](auto sample, auto& to) {
    append_grey_row(reinterpret_cast<const decltype(sample)*>(row), columns, layout.channels, to,
                    samples.greys);
  };
  const bool is_signed = layout.format == SAMPLEFORMAT_INT;
  if (layout.bits == 8) {
    is_signed ? grey(std::int8_t{}, samples.codes) : grey(std::uint8_t{}, samples.codes);
  } else if (layout.bits == 16) {
    grey(std::uint16_t{}, samples.codes);
  } else if (layout.format == SAMPLEFORMAT_IEEEFP) {
    grey(float{}, samples.numbers);
  } else {
    is_signed ? grey(std::int32_t{}, samples.numbers) : grey(std::uint32_t{}, samples.numbers);
  }
}

/// Full scale of the samples; floating-point numbers have none, so that their channels must be
/// equal.
double full_scale_of(const Layout& layout) {
  return layout.format == SAMPLEFORMAT_IEEEFP ? 0.0 : std::ldexp(1.0, layout.bits) - 1.0;
}

}  // namespace

GreyOrFault decode_tiff(std::span<const std::byte> bytes, const PictureHeader& header) {
  Memory memory{bytes};
  const Tiff tiff = open(memory);
  if (!tiff) return tl::unexpected(PictureFault::kDamaged);
  const auto layout = layout_of(tiff.get(), header);
  if (!layout) return tl::unexpected(layout.error());
  const auto row_bytes =
      static_cast<std::size_t>(header.columns) * layout->channels * layout->bits / 8;
  if (static_cast<std::size_t>(TIFFScanlineSize64(tiff.get())) != row_bytes) {
    return tl::unexpected(PictureFault::kUnsupported);
  }
  GreySamples samples;
  samples.channels = layout->channels;
  samples.is_signed = layout->format == SAMPLEFORMAT_INT;
  samples.greys = GreyCount(full_scale_of(*layout));
  std::vector<std::uint64_t> row(row_bytes / 8 + 1);
  for (int y = 0; y < header.rows; ++y) {
    if (TIFFReadScanline(tiff.get(), row.data(), static_cast<std::uint32_t>(y), 0) != 1) {
      return tl::unexpected(PictureFault::kDamaged);
    }
    append_row(row.data(), *layout, header.columns, samples);
  }
  return samples;
}

}  // namespace tidemark::film
