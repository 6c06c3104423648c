#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

namespace tidemark::anatomy {

/// A path through an evidence map, one column per row, found by dynamic programming.
struct EdgePath {
  int first_row = 0;
  std::vector<double> column;    ///< sub-pixel
  std::vector<double> evidence;  ///< the map's value along the path
};

struct PathRules {
  int steepest = 2;         ///< columns per row at most
  double bend_cost = 0.15;  ///< per column of sideways step
};

/// The path with the largest sum of evidence minus bends. Cells below -10 are forbidden.
[[nodiscard]] std::optional<EdgePath> best_path(const cv::Mat1f& evidence, int first_row,
                                                int last_row, const PathRules& rules);

}  // namespace tidemark::anatomy
