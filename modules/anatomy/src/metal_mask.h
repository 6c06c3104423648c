#pragma once

#include "image_ops.h"

namespace tidemark::anatomy {

/// Bright, sharp, narrow things that are no bone: wires, staples, screws, letters, other implants.
/// @param image    pixels of `mm` mm
/// @param edge_contrast grey step across the stem's rim
/// @param stem     the stem found before: its grey tells what metal looks like on this film
[[nodiscard]] cv::Mat1b foreign_metal(const cv::Mat1f& image, const cv::Mat1b& stem, double mm,
                                      double edge_contrast);

}  // namespace tidemark::anatomy
