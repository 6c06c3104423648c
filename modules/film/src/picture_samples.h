#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <type_traits>
#include <vector>

#include "colour.h"
#include "picture_header.h"

namespace tidemark::film {

/// The one grey channel of a picture. Either `codes` or `numbers` is filled.
struct GreySamples {
  std::vector<std::uint16_t> codes;
  std::vector<float> numbers;
  bool is_signed = false;  ///< codes are two's complement
  int channels = 1;        ///< of the file: 1 grey, 2 with opacity, 3 colours, 4 with opacity
  GreyCount greys{0.0};    ///< of the pixels read, where there are colours
};

enum class PictureFault { kDamaged, kColour, kUnsupported };

/// GreySamples, or why there are none.
using GreyOrFault = tl::expected<GreySamples, PictureFault>;

/// Decoders of whole pictures in memory, of the size that `header` says (and was checked). They
/// print nothing, and damaged data are a fault even where the library would only warn.
[[nodiscard]] GreyOrFault decode_png(std::span<const std::byte> bytes, const PictureHeader& header);
[[nodiscard]] GreyOrFault decode_tiff(std::span<const std::byte> bytes,
                                      const PictureHeader& header);
[[nodiscard]] GreyOrFault decode_jpeg(std::span<const std::byte> bytes,
                                      const PictureHeader& header);

/// Appends one row of interleaved samples to a grey channel: the luma of three colours, which are
/// booked in `greys`.
template <class Sample, class Grey>
void append_grey_row(const Sample* row, int columns, int channels, std::vector<Grey>& grey,
                     GreyCount& greys) {
  for (int x = 0; x < columns; ++x, row += channels) {
    if (channels < 3 || (row[0] == row[1] && row[0] == row[2])) {
      grey.push_back(static_cast<Grey>(row[0]));
      if (channels >= 3) greys.add(0.0, 0.0, 0.0);
      continue;
    }
    const auto [r, g, b] = std::array{static_cast<double>(row[0]), static_cast<double>(row[1]),
                                      static_cast<double>(row[2])};
    greys.add(r, g, b);
    const double y = luma(r, g, b);
    if constexpr (std::is_integral_v<Grey>) {
      grey.push_back(static_cast<Grey>(std::lround(y)));
    } else {
      grey.push_back(static_cast<Grey>(y));
    }
  }
}

}  // namespace tidemark::film
