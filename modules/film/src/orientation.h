#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::film {

/// How a stored matrix must be turned to stand upright.
struct Turn {
  /// stored_from_view for a matrix of `columns` x `rows` stored pixels.
  [[nodiscard]] Affine2 stored_from_view(int columns, int rows) const;
  [[nodiscard]] bool is_identity() const;
  [[nodiscard]] bool swaps_axes() const { return x_from[0] == 0; }

  /// Stored direction of the view's +x (to the right) and of its +y (down), each one of
  /// (+-1, 0), (0, +-1).
  std::array<int, 2> x_from{1, 0};
  std::array<int, 2> y_from{0, 1};
};

/// The turn that puts the patient's feet down and the patient's left on the right of the image.
///
/// PatientOrientation (0020,0020), DICOM PS3.3 C.7.6.1.1.1: the direction of the rows (towards
/// higher columns) and of the columns (towards higher rows); of several letters the first is the
/// predominant one. On lateral films (A, P) only turns are used, never a mirror.
/// @return absent when the two letters do not name one vertical and one horizontal direction.
[[nodiscard]] std::optional<Turn> turn_for(const std::array<std::string, 2>& patient_orientation);

/// The stored image turned: view(x, y) = stored(stored_from_view(x, y)).
[[nodiscard]] Raster turned(Raster stored, const Turn& turn);

/// Whether an image is stretched along x or along y.
enum class Axis { kX, kY };

/// The image with `1 / step` times as many pixels along one axis, by cubic convolution; pixel i of
/// the result stands at i * step of the input. `step` in (0, 1]. The last pixel never lies beyond
/// the last input pixel.
/// Source: Keys 1981, doi:10.1109/TASSP.1981.1163711, a = -1/2 (from memory).
[[nodiscard]] Raster stretched(const Raster& image, Axis axis, double step);

}  // namespace tidemark::film
