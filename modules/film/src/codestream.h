#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/raster.h"

namespace tidemark::film {

/// What the frame header of a JPEG or JPEG-LS stream says (ITU-T T.81 B.2.2, T.87 C.2.2).
struct JpegFrame {
  int columns = 0;
  int rows = 0;
  int bits = 0;
  int components = 0;
  bool is_whole = false;  ///< its end marker is there
};

/// Walks the markers of a JPEG or JPEG-LS stream.
/// @return absent when there is no frame header.
[[nodiscard]] std::optional<JpegFrame> inspect_jpeg(std::span<const std::byte> stream);

/// Decodes a JPEG 2000 code stream (alone or in a JP2 box) of `components` components of one size,
/// each to a raster; a colour transform that the stream names is undone.
/// @return kBadInput when damaged, cut off, of another number of components, or of another size
///         than columns x rows.
[[nodiscard]] Expected<std::vector<RasterOf<std::uint16_t>>> decode_jpeg2000(
    std::span<const std::byte> stream, int columns, int rows, int components,
    const std::string& name);

}  // namespace tidemark::film
