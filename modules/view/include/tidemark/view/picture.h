#pragma once

#include <cstdint>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::view {

/// A film made ready to be shown at any size: 16-bit grey values over the film's own range, and the
/// same at half, a quarter, ... of the size, so that a small picture shows no false grain.
struct Picture {
  std::vector<RasterOf<std::uint16_t>> levels;  ///< the first one pixel for pixel
};
[[nodiscard]] Picture picture_of(const Raster& film);

/// Which part of the grey range is shown: `level` is mid grey, `width` goes from black to white;
/// 0 is the darkest grey of the film, 1 the brightest.
struct Window {
  double level = 0.5;
  double width = 1.0;
};

/// How two films are shown in one place.
enum class Mix {
  kFirst,       ///< the first only
  kSecond,      ///< the second only
  kBlend,       ///< both, the second with `share`
  kEdge,        ///< the first left of `share` of the width, the second right of it
  kDifference,  ///< grey where they agree; blue where the first alone is bright, orange the second
};

/// A film and where it lies: view px of the film from px of the screen.
struct Laid {
  const Picture* picture = nullptr;  ///< null: nothing
  Affine2 film_from_screen;
};

struct Scene {
  Laid first;
  Laid second;
  Mix mix = Mix::kFirst;
  double share = 0.5;  ///< of kBlend and kEdge, 0 to 1
  Window window;
};

/// Draws the scene, 0xFFRRGGBB, row by row. Between pixels bilinear; outside of the films black.
/// @param threads 0 = one per core
[[nodiscard]] RasterOf<std::uint32_t> drawn(const Scene& scene, int width, int height,
                                            int threads = 0);

}  // namespace tidemark::view
