#pragma once

#include "tidemark/core/raster.h"

namespace tidemark::phantom {

/// Convolution with a Gaussian of this standard deviation (pixels), borders repeated. From 3 pixels
/// on by four running means, whose error against the Gaussian is below 1 % of its height (derived).
[[nodiscard]] Raster smoothed(const Raster& image, double sigma_px, unsigned threads);

/// Means of blocks of `block` x `block` pixels; the last ones may be smaller.
[[nodiscard]] Raster reduced(const Raster& image, int block);

/// Bilinear inverse of `reduced`.
[[nodiscard]] Raster enlarged(const Raster& coarse, int block, int width, int height,
                              unsigned threads);

}  // namespace tidemark::phantom
