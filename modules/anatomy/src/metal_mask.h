#pragma once

#include "image_ops.h"

namespace tidemark::anatomy {

/// Bright, sharp, narrow things that are no bone: wires, staples, screws, letters, other implants.
/// @param image    pixels of `mm` mm
/// @param contrast grey step from stem metal to what lies beside it
[[nodiscard]] cv::Mat1b foreign_metal(const cv::Mat1f& image, double mm, double contrast);

}  // namespace tidemark::anatomy
