#include "codestream.h"

#include <openjpeg.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <memory>
#include <utility>

#include "limits.h"
#include "words.h"

namespace tidemark::film {
namespace {

unsigned octet(std::span<const std::byte> s, std::size_t i) {
  return std::to_integer<unsigned>(s[i]);
}
unsigned word(std::span<const std::byte> s, std::size_t i) {
  return octet(s, i) << 8U | octet(s, i + 1);
}
std::int64_t long_word(std::span<const std::byte> s, std::size_t i) {
  return static_cast<std::int64_t>(word(s, i)) << 16U | word(s, i + 2);
}

/// Start of frame: C0 to CF without DHT (C4), JPG (C8) and DAC (CC); F7 is JPEG-LS.
bool is_frame_header(unsigned marker) {
  return marker == 0xF7 ||
         (marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC);
}

/// First marker at or after `at`: 0xFF, not stuffed (FF00, and FF followed by a clear top bit in
/// JPEG-LS), not a restart marker. Returns the position of its 0xFF.
std::optional<std::size_t> next_marker(std::span<const std::byte> s, std::size_t at) {
  for (; at + 1 < s.size(); ++at) {
    if (octet(s, at) != 0xFF) continue;
    const unsigned marker = octet(s, at + 1);
    if (marker >= 0xC0 && marker != 0xFF && !(marker >= 0xD0 && marker <= 0xD7)) return at;
  }
  return std::nullopt;
}

struct Cursor {
  std::span<const std::byte> bytes;
  std::size_t at = 0;
};

OPJ_SIZE_T read_from(void* buffer, OPJ_SIZE_T n, void* user) {
  auto* c = static_cast<Cursor*>(user);
  if (c->at >= c->bytes.size()) return static_cast<OPJ_SIZE_T>(-1);
  n = std::min<OPJ_SIZE_T>(n, c->bytes.size() - c->at);
  std::memcpy(buffer, c->bytes.data() + c->at, n);
  c->at += n;
  return n;
}

OPJ_OFF_T skip_in(OPJ_OFF_T n, void* user) {
  auto* c = static_cast<Cursor*>(user);
  if (n < 0 || static_cast<std::size_t>(n) > c->bytes.size() - c->at) return -1;
  c->at += static_cast<std::size_t>(n);
  return n;
}

OPJ_BOOL seek_in(OPJ_OFF_T n, void* user) {
  auto* c = static_cast<Cursor*>(user);
  if (n < 0 || static_cast<std::size_t>(n) > c->bytes.size()) return OPJ_FALSE;
  c->at = static_cast<std::size_t>(n);
  return OPJ_TRUE;
}

/// Position of the code stream's SOC + SIZ markers (FF4F FF51), which may stand inside JP2 boxes.
std::optional<std::size_t> find_code_stream(std::span<const std::byte> s) {
  constexpr std::array kStart{std::byte{0xFF}, std::byte{0x4F}, std::byte{0xFF}, std::byte{0x51}};
  constexpr std::size_t kBoxes = 65536;  // more than any JP2 header needs
  const auto head = s.first(std::min(s.size(), kBoxes));
  const auto found = std::search(head.begin(), head.end(), kStart.begin(), kStart.end());
  if (found == head.end()) return std::nullopt;
  return static_cast<std::size_t>(found - head.begin());
}

/// Whether the SIZ marker (ISO/IEC 15444-1 A.5.1) describes so many components of this size in a
/// sane number of tiles. OpenJPEG allocates for every tile and component before it can be asked.
bool siz_fits(std::span<const std::byte> s, int columns, int rows, int components) {
  constexpr std::size_t kSizLength = 4 + 38;
  constexpr std::int64_t kMaxTiles = 4096;
  if (s.size() < kSizLength) return false;
  const std::int64_t x1 = long_word(s, 8), y1 = long_word(s, 12);
  const std::int64_t x0 = long_word(s, 16), y0 = long_word(s, 20);
  const std::int64_t tile_x = long_word(s, 24), tile_y = long_word(s, 28);
  if (x1 - x0 != columns || y1 - y0 != rows || tile_x == 0 || tile_y == 0) return false;
  const std::int64_t tiles = (x1 / tile_x + 1) * (y1 / tile_y + 1);
  return word(s, 40) == static_cast<unsigned>(components) && tiles <= kMaxTiles;
}

using Codec = std::unique_ptr<opj_codec_t, void (*)(opj_codec_t*)>;
using Stream = std::unique_ptr<opj_stream_t, void (*)(opj_stream_t*)>;
using Image = std::unique_ptr<opj_image_t, void (*)(opj_image_t*)>;

Image decode(std::span<const std::byte> bytes, int columns, int rows, int components) {
  Image none(nullptr, opj_image_destroy);
  Cursor cursor{bytes};
  const Codec codec(opj_create_decompress(OPJ_CODEC_J2K), opj_destroy_codec);
  const Stream stream(opj_stream_create(std::size_t{1} << 16U, OPJ_TRUE), opj_stream_destroy);
  if (!codec || !stream) return none;
  opj_stream_set_read_function(stream.get(), read_from);
  opj_stream_set_skip_function(stream.get(), skip_in);
  opj_stream_set_seek_function(stream.get(), seek_in);
  opj_stream_set_user_data(stream.get(), &cursor, nullptr);
  opj_stream_set_user_data_length(stream.get(), bytes.size());
  opj_dparameters_t parameters;
  opj_set_default_decoder_parameters(&parameters);
  if (!opj_setup_decoder(codec.get(), &parameters)) return none;
  opj_decoder_set_strict_mode(codec.get(), OPJ_TRUE);
  opj_image_t* raw = nullptr;
  if (!opj_read_header(stream.get(), codec.get(), &raw)) return none;
  Image image(raw, opj_image_destroy);
  const auto fits = [&] {
    const std::span comps(image->comps, image->numcomps);
    return comps.size() == static_cast<std::size_t>(components) &&
           std::all_of(comps.begin(), comps.end(), [&](const opj_image_comp_t& c) {
             return c.w == static_cast<OPJ_UINT32>(columns) &&
                    c.h == static_cast<OPJ_UINT32>(rows) && c.prec <= 16;
           });
  };
  if (!fits() || !opj_decode(codec.get(), stream.get(), image.get())) return none;
  if (!fits()) return none;
  const bool filled = std::all_of(image->comps, image->comps + image->numcomps,
                                  [](const opj_image_comp_t& c) { return c.data != nullptr; });
  return filled ? std::move(image) : std::move(none);
}

}  // namespace

std::optional<JpegFrame> inspect_jpeg(std::span<const std::byte> stream) {
  std::optional<JpegFrame> frame;
  std::size_t at = 0;
  while (const auto found = next_marker(stream, at)) {
    const unsigned marker = octet(stream, *found + 1);
    at = *found + 2;
    if (marker == 0xD8) continue;
    if (marker == 0xD9) {
      if (frame) frame->is_whole = true;
      break;
    }
    if (at + 2 > stream.size()) break;
    const std::size_t length = word(stream, at);
    if (!frame && is_frame_header(marker)) {
      if (length < 8 || at + 8 > stream.size()) break;
      frame = JpegFrame{.columns = static_cast<int>(word(stream, at + 5)),
                        .rows = static_cast<int>(word(stream, at + 3)),
                        .bits = static_cast<int>(octet(stream, at + 2)),
                        .components = static_cast<int>(octet(stream, at + 7))};
    }
    at += length;
  }
  return frame;
}

Expected<std::vector<RasterOf<std::uint16_t>>> decode_jpeg2000(std::span<const std::byte> stream,
                                                               int columns, int rows,
                                                               int components,
                                                               const std::string& name) {
  const auto start = find_code_stream(stream);
  if (!start) {
    return fail(ErrorKind::kBadInput, name, "the JPEG 2000 data have no beginning", kExportAgain);
  }
  stream = stream.subspan(*start);
  if (!siz_fits(stream, columns, rows, components)) {
    return fail(ErrorKind::kBadInput, name,
                "the size inside the JPEG 2000 data is not the size in the header", kExportAgain);
  }
  const Image image = decode(stream, columns, rows, components);
  if (!image) {
    return fail(ErrorKind::kBadInput, name, "the JPEG 2000 data are damaged or cut off",
                kExportAgain);
  }
  std::vector<RasterOf<std::uint16_t>> planes;
  for (const opj_image_comp_t& c : std::span(image->comps, image->numcomps)) {
    RasterOf<std::uint16_t> codes(columns, rows);
    std::transform(c.data, c.data + codes.values.size(), codes.values.begin(),
                   [](OPJ_INT32 v) { return static_cast<std::uint16_t>(v); });
    planes.push_back(std::move(codes));
  }
  return planes;
}

}  // namespace tidemark::film
