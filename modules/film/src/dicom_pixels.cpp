#include "dicom_pixels.h"

#include <dcmtk/dcmdata/dcpixel.h>
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstring>
#include <optional>
#include <span>
#include <utility>

#include "codestream.h"
#include "colour.h"
#include "dicom_stream.h"
#include "dicom_tags.h"
#include "limits.h"
#include "loaded.h"
#include "words.h"

namespace tidemark::film {
namespace {

/// Bytes that may follow the last pixel: writers fill up to a block of their own.
constexpr std::size_t kMaxPaddingBytes = 512;

tl::unexpected<Error> bad(const std::string& name, std::string wrong) {
  return fail(ErrorKind::kBadInput, name, std::move(wrong), kExportAgain);
}

Expected<void> check_bits(const PixelLayout& layout, const std::string& name) {
  if (layout.bits_allocated != 8 && layout.bits_allocated != 16) {
    return bad(name, "pixels of " + std::to_string(layout.bits_allocated) +
                         " bits, where a film has 8 or 16");
  }
  if (layout.bits_stored < 1 || layout.bits_stored > layout.bits_allocated) {
    return bad(name, "an impossible header (BitsStored " + std::to_string(layout.bits_stored) +
                         " of " + std::to_string(layout.bits_allocated) + ")");
  }
  if (layout.high_bit < layout.bits_stored - 1 || layout.high_bit >= layout.bits_allocated) {
    return bad(name, "an impossible header (HighBit " + std::to_string(layout.high_bit) +
                         " with BitsStored " + std::to_string(layout.bits_stored) + ")");
  }
  return {};
}

using Codes = RasterOf<std::uint16_t>;

std::size_t pixels_of(const PixelLayout& layout) {
  return static_cast<std::size_t>(layout.columns) * static_cast<std::size_t>(layout.rows);
}

tl::unexpected<Error> in_colours(const std::string& kind, const std::string& name) {
  return fail(ErrorKind::kBadInput, name, "a colour image (" + kind + ")", kExportGrey);
}

/// Brightness of pixels of three samples, `sample(channel, pixel)`; a picture in colours is
/// refused.
template <class Sample>
Expected<Codes> brightness(const PixelLayout& layout, const Sample& sample, const std::string& name,
                           std::vector<std::string>& notes) {
  const int shift = layout.high_bit + 1 - layout.bits_stored;
  const unsigned mask = (1U << static_cast<unsigned>(layout.bits_stored)) - 1U;
  const double neutral = 0.5 * (mask + 1U);
  const bool is_rgb = layout.colour == ColourModel::kRgb;
  GreyCount greys(mask);
  Codes codes(layout.columns, layout.rows);
  for (std::size_t i = 0; i < codes.values.size(); ++i) {
    const auto value = [&](int channel) {
      return static_cast<double>((static_cast<unsigned>(sample(channel, i)) >> shift) & mask);
    };
    const double a = value(0);
    const double b = value(1);
    const double c = value(2);
    is_rgb ? greys.add(a, b, c) : greys.add_chroma(b - neutral, c - neutral);
    codes.values[i] = static_cast<std::uint16_t>(std::lround(is_rgb ? luma(a, b, c) : a));
  }
  if (!greys.is_grey()) return in_colours(is_rgb ? "RGB" : "YBR", name);
  notes.emplace_back("a grey film stored as colour");
  if (greys.has_colour()) notes.emplace_back(kColouredMarks);
  return codes;
}

/// A frame in memory, uncompressed, its channels as the layout has them.
template <class Number>
Expected<Codes> codes_of(const Number* data, const PixelLayout& layout, const std::string& name,
                         std::vector<std::string>& notes) {
  const std::size_t frame = pixels_of(layout);
  if (layout.samples() == 1) {
    Codes codes(layout.columns, layout.rows);
    std::copy(data, data + frame, codes.values.begin());
    return codes;
  }
  if (layout.by_plane) {
    return brightness(
        layout,
        [&](int channel, std::size_t i) {
          return data[static_cast<std::size_t>(channel) * frame + i];
        },
        name, notes);
  }
  return brightness(
      layout,
      [&](int channel, std::size_t i) { return data[3 * i + static_cast<std::size_t>(channel)]; },
      name, notes);
}

/// As codes_of() where two pixels share their chroma: Y1 Y2 Cb Cr (PS3.3 C.7.6.3.1.2).
Expected<Codes> codes_of_pairs(const Uint8* data, const PixelLayout& layout,
                               const std::string& name, std::vector<std::string>& notes) {
  const auto sample = [&](int channel, std::size_t i) {
    const Uint8* pair = data + i / 2 * 4;
    return channel == 0 ? pair[i % 2] : pair[channel + 1];
  };
  return brightness(layout, sample, name, notes);
}

Expected<Codes> native_frame(DcmPixelData& pixels, const PixelLayout& layout,
                             const std::string& name, std::vector<std::string>& notes) {
  const bool pairs = layout.colour == ColourModel::kYbrSharedChroma;
  if (pairs && (layout.bits_allocated != 8 || layout.columns % 2 != 0)) {
    return bad(name, "an impossible header (YBR_FULL_422 of odd width or not of 8 bits)");
  }
  const std::size_t width = layout.bits_allocated == 8 ? 1 : 2;
  const std::size_t frame =
      pixels_of(layout) * width * static_cast<std::size_t>(pairs ? 2 : layout.samples());
  const std::size_t stated = pixels.getLength();
  const std::size_t all = frame * static_cast<std::size_t>(layout.frames);
  if (stated < all || stated - all > kMaxPaddingBytes) {
    return bad(name, "pixel data of the wrong length (" + grouped(stated) + " bytes, " +
                         grouped(all) + " expected)");
  }
  if (stated - all > 1) notes.emplace_back("bytes after the last pixel were ignored");
  if (width == 1) {
    Uint8* data = nullptr;
    if (pixels.getUint8Array(data).bad() || data == nullptr) return bad(name, "no pixel data");
    return pairs ? codes_of_pairs(data, layout, name, notes) : codes_of(data, layout, name, notes);
  }
  Uint16* data = nullptr;
  if (pixels.getUint16Array(data).bad() || data == nullptr) return bad(name, "no pixel data");
  return codes_of(data, layout, name, notes);
}

/// Fragments of compressed pixel data, in order, without the offset table.
std::vector<std::span<const std::byte>> fragments_of(DcmPixelSequence& sequence) {
  std::vector<std::span<const std::byte>> fragments;
  for (unsigned long i = 1; i < sequence.card(); ++i) {
    DcmPixelItem* item = nullptr;
    Uint8* data = nullptr;
    if (sequence.getItem(item, i).bad() || item == nullptr) break;
    if (item->getUint8Array(data).bad() || data == nullptr) continue;
    fragments.emplace_back(reinterpret_cast<const std::byte*>(data), item->getLength());
  }
  return fragments;
}

/// The compressed bytes of the first frame. One frame may be cut into many fragments; in a
/// sequence of several frames each frame begins a fragment (PS3.5 A.4), and a JPEG stream's first
/// two bytes (SOI or SOC) tell a beginning from a continuation.
std::vector<std::byte> first_stream(const std::vector<std::span<const std::byte>>& fragments,
                                    std::int64_t frames) {
  std::vector<std::byte> stream;
  const auto starts = [](std::span<const std::byte> f) {
    return f.size() >= 3 && f[0] == std::byte{0xFF} && f[2] == std::byte{0xFF} &&
           (f[1] == std::byte{0xD8} || f[1] == std::byte{0x4F});
  };
  for (std::size_t i = 0; i < fragments.size(); ++i) {
    if (i > 0 && frames > 1 && starts(fragments[i])) break;
    stream.insert(stream.end(), fragments[i].begin(), fragments[i].end());
  }
  return stream;
}

Expected<Codes> dcmtk_frame(DcmDataset& dataset, DcmPixelData& pixels, PixelLayout layout,
                            std::size_t sample_bytes, const std::string& name,
                            std::vector<std::string>& notes) {
  const std::size_t samples = pixels_of(layout) * static_cast<std::size_t>(layout.samples());
  std::vector<Uint16> buffer((samples * sample_bytes + 1) / 2);
  Uint32 fragment = 0;
  OFString colour_model;
  const std::size_t warnings = jpeg_warnings_here();
  const OFCondition status = pixels.getUncompressedFrame(
      &dataset, 0, fragment, buffer.data(), static_cast<Uint32>(2 * buffer.size()), colour_model);
  if (status.bad() || jpeg_warnings_here() != warnings) {
    return bad(name, "the compressed pixel data are damaged or cut off");
  }
  if (layout.samples() == 3) {
    layout.colour = colour_model == "RGB" ? ColourModel::kRgb : ColourModel::kYbr;
    // JPEG is decoded to pixels; run lengths are left as the header says.
    if (dataset.getOriginalXfer() != EXS_RLELossless) layout.by_plane = false;
  }
  return sample_bytes == 1
             ? codes_of(reinterpret_cast<const Uint8*>(buffer.data()), layout, name, notes)
             : codes_of(buffer.data(), layout, name, notes);
}

Expected<Codes> jpeg_frame(DcmDataset& dataset, DcmPixelData& pixels,
                           const std::vector<std::byte>& stream, const PixelLayout& layout,
                           const std::string& name, std::vector<std::string>& notes) {
  const auto frame = inspect_jpeg(stream);
  if (!frame || !frame->is_whole) {
    return bad(name, "the compressed pixel data are damaged or cut off");
  }
  if (frame->columns != layout.columns || frame->rows != layout.rows ||
      frame->components != layout.samples()) {
    return bad(name, "the size inside the JPEG data is not the size in the header");
  }
  if (frame->bits > layout.bits_allocated) {
    return bad(name, "the JPEG data have more bits than the header allows");
  }
  return dcmtk_frame(dataset, pixels, layout, frame->bits > 8 ? 2 : 1, name, notes);
}

Expected<Codes> jpeg2000_frame(const std::vector<std::byte>& stream, const PixelLayout& layout,
                               const std::string& name, std::vector<std::string>& notes) {
  auto planes = decode_jpeg2000(stream, layout.columns, layout.rows, layout.samples(), name);
  if (!planes) return tl::unexpected(planes.error());
  if (planes->size() == 1) return std::move(planes->front());
  return brightness(
      layout,
      [&](int channel, std::size_t i) {
        return (*planes)[static_cast<std::size_t>(channel)].values[i];
      },
      name, notes);
}

Expected<Codes> compressed_frame(DcmDataset& dataset, DcmPixelData& pixels, E_TransferSyntax syntax,
                                 const PixelLayout& layout, const std::string& name,
                                 std::vector<std::string>& notes) {
  DcmPixelSequence* sequence = nullptr;
  if (pixels.getEncapsulatedRepresentation(syntax, nullptr, sequence).bad() ||
      sequence == nullptr) {
    return bad(name, "no compressed pixel data, though the header promises them");
  }
  const auto fragments = fragments_of(*sequence);
  if (fragments.empty()) return bad(name, "no pixel data");
  switch (syntax) {
    case EXS_RLELossless:
      return dcmtk_frame(dataset, pixels, layout, layout.bits_allocated == 8 ? 1 : 2, name, notes);
    case EXS_JPEG2000:
    case EXS_JPEG2000LosslessOnly:
      return jpeg2000_frame(first_stream(fragments, layout.frames), layout, name, notes);
    case EXS_JPEGProcess1:
    case EXS_JPEGProcess2_4:
    case EXS_JPEGProcess6_8:
    case EXS_JPEGProcess10_12:
    case EXS_JPEGProcess14:
    case EXS_JPEGProcess14SV1:
    case EXS_JPEGLSLossless:
    case EXS_JPEGLSLossy:
      return jpeg_frame(dataset, pixels, first_stream(fragments, layout.frames), layout, name,
                        notes);
    default:
      return fail(ErrorKind::kBadInput, name,
                  "a compression that is not supported (" +
                      std::string(DcmXfer(syntax).getXferName()) + ")",
                  "export it uncompressed or as JPEG 2000");
  }
}

/// What a header says its samples are; nothing where that is no kind of colour we know.
std::optional<ColourModel> colour_model_of(const std::string& photometric, int samples) {
  const bool grey = photometric.empty() || photometric.starts_with("MONOCHROME");
  if (samples == 1 && grey) return ColourModel::kGrey;
  if (samples == 1 && photometric == "PALETTE COLOR") return ColourModel::kPalette;
  if (samples != 3) return std::nullopt;
  if (photometric.empty() || photometric == "RGB" || photometric == "YBR_RCT" ||
      photometric == "YBR_ICT") {
    return ColourModel::kRgb;
  }
  if (photometric == "YBR_FULL") return ColourModel::kYbr;
  if (photometric == "YBR_FULL_422") return ColourModel::kYbrSharedChroma;
  return std::nullopt;
}

/// Three samples a pixel need three times the memory.
Expected<void> check_colour_size(const PixelLayout& layout, const std::string& name) {
  if (layout.samples() == 1 || 3 * pixels_of(layout) <= static_cast<std::size_t>(kMaxFilmPixels)) {
    return {};
  }
  return fail(ErrorKind::kBadInput, name,
              "a colour image of " + grouped(pixels_of(layout)) + " pixels, too large to be read",
              kExportGrey);
}

}  // namespace

Expected<PixelLayout> layout_of(DcmItem& dataset, const std::string& name) {
  PixelLayout layout;
  const auto get = [&](const DcmTagKey& tag, int otherwise) {
    return static_cast<int>(integer_of(dataset, tag).value_or(otherwise));
  };
  const std::string photometric = photometric_of(dataset);
  const auto colour = colour_model_of(photometric, get(DCM_SamplesPerPixel, 1));
  if (!colour) return in_colours(photometric.empty() ? "RGB" : photometric, name);
  layout.colour = *colour;
  layout.by_plane = get(DCM_PlanarConfiguration, 0) == 1;
  layout.columns = get(DCM_Columns, 0);
  layout.rows = get(DCM_Rows, 0);
  layout.bits_allocated = get(DCM_BitsAllocated, 0);
  layout.bits_stored = get(DCM_BitsStored, get(DCM_HighBit, layout.bits_allocated - 1) + 1);
  layout.high_bit = get(DCM_HighBit, layout.bits_stored - 1);
  layout.frames = std::max<std::int64_t>(1, integer_of(dataset, DCM_NumberOfFrames).value_or(1));
  if (layout.columns == 0 || layout.rows == 0) {
    return bad(name, "no image size in the header (Rows or Columns is missing)");
  }
  if (auto size = check_size(layout.columns, layout.rows, name); !size) {
    return tl::unexpected(size.error());
  }
  if (auto bits = check_bits(layout, name); !bits) return tl::unexpected(bits.error());
  if (auto size = check_colour_size(layout, name); !size) return tl::unexpected(size.error());
  return layout;
}

Expected<Codes> first_frame(DcmDataset& dataset, const PixelLayout& layout, std::size_t file_bytes,
                            const std::string& name, std::vector<std::string>& notes) {
  DcmElement* element = nullptr;
  if (dataset.findAndGetElement(DCM_PixelData, element).bad() || element == nullptr) {
    return bad(name, "no pixel data (the file ends after " + grouped(file_bytes) + " bytes)");
  }
  auto* pixels = dynamic_cast<DcmPixelData*>(element);
  if (pixels == nullptr) return bad(name, "no pixel data");
  if (layout.frames > 1) {
    notes.push_back("the first of " + grouped(static_cast<std::uint64_t>(layout.frames)) +
                    " frames was used");
  }
  const E_TransferSyntax syntax = dataset.getOriginalXfer();
  if (DcmXfer(syntax).isEncapsulated()) {
    return compressed_frame(dataset, *pixels, syntax, layout, name, notes);
  }
  return native_frame(*pixels, layout, name, notes);
}

}  // namespace tidemark::film
