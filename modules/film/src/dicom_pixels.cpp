#include "dicom_pixels.h"

#include <dcmtk/dcmdata/dcpixel.h>
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>

#include <algorithm>
#include <cstddef>
#include <cstring>
#include <span>

#include "codestream.h"
#include "dicom_tags.h"
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

Expected<RasterOf<std::uint16_t>> native_frame(DcmPixelData& pixels, const PixelLayout& layout,
                                               const std::string& name,
                                               std::vector<std::string>& notes) {
  const std::size_t frame =
      static_cast<std::size_t>(layout.columns) * static_cast<std::size_t>(layout.rows);
  const std::size_t width = layout.bits_allocated == 8 ? 1 : 2;
  const std::size_t stated = pixels.getLength();
  const std::size_t all = frame * width * static_cast<std::size_t>(layout.frames);
  if (stated < all || stated - all > kMaxPaddingBytes) {
    return bad(name, "pixel data of the wrong length (" + grouped(stated) + " bytes, " +
                         grouped(all) + " expected)");
  }
  if (stated - all > 1) notes.emplace_back("bytes after the last pixel were ignored");
  RasterOf<std::uint16_t> codes(layout.columns, layout.rows);
  if (width == 1) {
    Uint8* data = nullptr;
    if (pixels.getUint8Array(data).bad() || data == nullptr) return bad(name, "no pixel data");
    std::copy(data, data + frame, codes.values.begin());
  } else {
    Uint16* data = nullptr;
    if (pixels.getUint16Array(data).bad() || data == nullptr) return bad(name, "no pixel data");
    std::copy(data, data + frame, codes.values.begin());
  }
  return codes;
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

Expected<RasterOf<std::uint16_t>> dcmtk_frame(DcmDataset& dataset, DcmPixelData& pixels,
                                              const PixelLayout& layout, std::size_t sample_bytes,
                                              const std::string& name) {
  const std::size_t frame =
      static_cast<std::size_t>(layout.columns) * static_cast<std::size_t>(layout.rows);
  std::vector<Uint8> buffer((frame * sample_bytes + 1) / 2 * 2);
  Uint32 fragment = 0;
  OFString colour_model;
  const OFCondition status = pixels.getUncompressedFrame(
      &dataset, 0, fragment, buffer.data(), static_cast<Uint32>(buffer.size()), colour_model);
  if (status.bad()) return bad(name, "the compressed pixel data are damaged or cut off");
  RasterOf<std::uint16_t> codes(layout.columns, layout.rows);
  if (sample_bytes == 1) {
    std::copy(buffer.begin(), buffer.begin() + static_cast<std::ptrdiff_t>(frame),
              codes.values.begin());
  } else {
    std::memcpy(codes.values.data(), buffer.data(), frame * 2);
  }
  return codes;
}

Expected<RasterOf<std::uint16_t>> jpeg_frame(DcmDataset& dataset, DcmPixelData& pixels,
                                             const std::vector<std::byte>& stream,
                                             const PixelLayout& layout, const std::string& name) {
  const auto frame = inspect_jpeg(stream);
  if (!frame || !frame->is_whole) {
    return bad(name, "the compressed pixel data are damaged or cut off");
  }
  if (frame->columns != layout.columns || frame->rows != layout.rows || frame->components != 1) {
    return bad(name, "the size inside the JPEG data is not the size in the header");
  }
  if (frame->bits > layout.bits_allocated) {
    return bad(name, "the JPEG data have more bits than the header allows");
  }
  return dcmtk_frame(dataset, pixels, layout, frame->bits > 8 ? 2 : 1, name);
}

Expected<RasterOf<std::uint16_t>> compressed_frame(DcmDataset& dataset, DcmPixelData& pixels,
                                                   E_TransferSyntax syntax,
                                                   const PixelLayout& layout,
                                                   const std::string& name) {
  DcmPixelSequence* sequence = nullptr;
  if (pixels.getEncapsulatedRepresentation(syntax, nullptr, sequence).bad() ||
      sequence == nullptr) {
    return bad(name, "no compressed pixel data, though the header promises them");
  }
  const auto fragments = fragments_of(*sequence);
  if (fragments.empty()) return bad(name, "no pixel data");
  switch (syntax) {
    case EXS_RLELossless:
      return dcmtk_frame(dataset, pixels, layout, layout.bits_allocated == 8 ? 1 : 2, name);
    case EXS_JPEG2000:
    case EXS_JPEG2000LosslessOnly:
      return decode_jpeg2000(first_stream(fragments, layout.frames), layout.columns, layout.rows,
                             name);
    case EXS_JPEGProcess1:
    case EXS_JPEGProcess2_4:
    case EXS_JPEGProcess6_8:
    case EXS_JPEGProcess10_12:
    case EXS_JPEGProcess14:
    case EXS_JPEGProcess14SV1:
    case EXS_JPEGLSLossless:
    case EXS_JPEGLSLossy:
      return jpeg_frame(dataset, pixels, first_stream(fragments, layout.frames), layout, name);
    default:
      return fail(ErrorKind::kBadInput, name,
                  "a compression that is not supported (" +
                      std::string(DcmXfer(syntax).getXferName()) + ")",
                  "export it uncompressed or as JPEG 2000");
  }
}

}  // namespace

Expected<PixelLayout> layout_of(DcmItem& dataset, const std::string& name) {
  PixelLayout layout;
  const auto get = [&](const DcmTagKey& tag, int otherwise) {
    return static_cast<int>(integer_of(dataset, tag).value_or(otherwise));
  };
  const std::string photometric = text_of(dataset, DCM_PhotometricInterpretation).value_or("");
  if (get(DCM_SamplesPerPixel, 1) != 1 ||
      (!photometric.empty() && !photometric.starts_with("MONOCHROME"))) {
    return fail(ErrorKind::kBadInput, name,
                "a colour image (" + (photometric.empty() ? "RGB" : photometric) + ")",
                "export it as a greyscale film");
  }
  layout.columns = get(DCM_Columns, 0);
  layout.rows = get(DCM_Rows, 0);
  layout.bits_allocated = get(DCM_BitsAllocated, 0);
  layout.bits_stored = get(DCM_BitsStored, 0);
  layout.high_bit = get(DCM_HighBit, layout.bits_stored - 1);
  layout.frames = std::max<std::int64_t>(1, integer_of(dataset, DCM_NumberOfFrames).value_or(1));
  if (layout.columns == 0 || layout.rows == 0) {
    return bad(name, "no image size in the header (Rows or Columns is missing)");
  }
  if (auto size = check_size(layout.columns, layout.rows, name); !size) {
    return tl::unexpected(size.error());
  }
  if (auto bits = check_bits(layout, name); !bits) return tl::unexpected(bits.error());
  return layout;
}

Expected<RasterOf<std::uint16_t>> first_frame(DcmDataset& dataset, const PixelLayout& layout,
                                              std::size_t file_bytes, const std::string& name,
                                              std::vector<std::string>& notes) {
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
    return compressed_frame(dataset, *pixels, syntax, layout, name);
  }
  return native_frame(*pixels, layout, name, notes);
}

}  // namespace tidemark::film
