#include "edge_path.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace tidemark::anatomy {
namespace {

/// Sub-pixel place of the evidence's peak around a column.
double peak_near(const float* row, int cols, int column) {
  if (column <= 0 || column + 1 >= cols) return column;
  const double a = row[column - 1];
  const double b = row[column];
  const double c = row[column + 1];
  const double bend = a - 2.0 * b + c;
  if (bend >= 0.0 || a < -10.0 || c < -10.0) return column;
  return column + std::clamp(0.5 * (a - c) / bend, -0.5, 0.5);
}

}  // namespace

std::optional<EdgePath> best_path(const cv::Mat1f& evidence, int first_row, int last_row,
                                  const PathRules& rules) {
  first_row = std::max(0, first_row);
  last_row = std::min(evidence.rows - 1, last_row);
  const int rows = last_row - first_row + 1;
  const int cols = evidence.cols;
  if (rows < 3) return std::nullopt;
  cv::Mat1f score(rows, cols);
  cv::Mat1i from(rows, cols, 0);
  for (int r = 0; r < rows; ++r) {
    const float* e = evidence.ptr<float>(first_row + r);
    for (int c = 0; c < cols; ++c) {
      float best = r == 0 ? 0.0F : -1e9F;
      int step = 0;
      for (int d = -rules.steepest; r > 0 && d <= rules.steepest; ++d) {
        const int p = c - d;
        if (p < 0 || p >= cols) continue;
        const float s = score(r - 1, p) - static_cast<float>(rules.bend_cost * std::abs(d));
        if (s > best) {
          best = s;
          step = d;
        }
      }
      score(r, c) = best + e[c];
      from(r, c) = step;
    }
  }
  const float* bottom = score.ptr<float>(rows - 1);
  int c = static_cast<int>(std::max_element(bottom, bottom + cols) - bottom);
  EdgePath path;
  path.first_row = first_row;
  path.column.resize(static_cast<std::size_t>(rows));
  path.evidence.resize(static_cast<std::size_t>(rows));
  for (int r = rows - 1; r >= 0; --r) {
    const float* e = evidence.ptr<float>(first_row + r);
    path.column[static_cast<std::size_t>(r)] = peak_near(e, cols, c);
    path.evidence[static_cast<std::size_t>(r)] = e[c];
    c = std::clamp(c - from(r, c), 0, cols - 1);
  }
  return path;
}

}  // namespace tidemark::anatomy
