#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "tidemark/core/expected.h"

namespace tidemark::film {

enum class PictureKind { kPng, kTiff, kJpeg };

/// What a picture's own header says, read by us before a decoder allocates anything.
struct PictureHeader {
  PictureKind kind = PictureKind::kPng;
  int columns = 0;
  int rows = 0;
  int bits = 0;                 ///< of one sample
  bool white_is_zero = false;   ///< TIFF photometric interpretation 0
  bool has_resolution = false;  ///< states pixels per length of paper or screen
  /// Of one pixel, where the two resolutions that are stated differ; else 1.
  double pixel_height_per_width = 1.0;
};

/// The kind of picture by its first bytes; absent when it is none of ours.
[[nodiscard]] std::optional<PictureKind> picture_kind(std::span<const std::byte> bytes);

/// Reads and checks the header of a PNG, TIFF or JPEG: whole, one page, a plausible size.
[[nodiscard]] Expected<PictureHeader> inspect_picture(std::span<const std::byte> bytes,
                                                      const std::string& name);

}  // namespace tidemark::film
