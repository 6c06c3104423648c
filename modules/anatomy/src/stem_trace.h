#pragma once

#include <optional>
#include <vector>

#include "image_ops.h"

namespace tidemark::anatomy {

/// The two flanks of a stem, row by row, on an image of about 1 mm pixels.
struct FlankTrace {
  std::vector<double> left;   ///< x of the lateral flank, one per row from first_row
  std::vector<double> right;  ///< x of the medial flank
  int first_row = 0;
  double evidence = 0.0;  ///< mean edge evidence over the length, 0 to 1
  double length = 0.0;    ///< rows from first_row to the tip

  [[nodiscard]] int last_row() const { return first_row + static_cast<int>(left.size()) - 1; }
};

struct FlankSearch {
  double x_min = 0.0, x_max = 0.0;  ///< columns that may hold a flank
  int first_row = 0, last_row = 0;
  int width_min = 5, width_max = 42;
};

/// Finds the pair of flanks (bright between dark) with the best edges by dynamic programming, and
/// the row where it ends.
/// @param image pixels of about 1 mm, smoothed
[[nodiscard]] std::optional<FlankTrace> trace_flanks(const cv::Mat1f& image,
                                                     const FlankSearch& search);

}  // namespace tidemark::anatomy
