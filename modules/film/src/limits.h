#pragma once

#include <cstddef>
#include <cstdint>

namespace tidemark::film {

// House choices, together chosen so that no input makes the reader need more than 1 GiB.

/// Largest file that is read into memory. A film of 8,192 x 8,192 pixels of 16 bits has 128 MiB;
/// the rest is room for image sequences of which only the first frame is used.
inline constexpr std::size_t kMaxFilmBytes = std::size_t{384} << 20U;
/// Largest matrix, stored or resampled. A detector of 43 cm x 43 cm with 0.1 mm pixels has 18.5
/// million.
inline constexpr std::int64_t kMaxFilmPixels = std::int64_t{64} << 20U;
/// Smallest side of a matrix that may be a film at all.
inline constexpr int kMinFilmSide = 8;
/// Pixels of a greater height-to-width ratio than this are a damaged header.
inline constexpr double kMaxPixelAspect = 4.0;
/// Pixel sides that differ by less count as equal: 0.3 pixels over 3,000.
inline constexpr double kSquareTolerance = 1e-4;
/// Plausible pitch of a radiograph, mm.
inline constexpr double kMinSpacingMm = 0.001;
inline constexpr double kMaxSpacingMm = 10.0;

}  // namespace tidemark::film
