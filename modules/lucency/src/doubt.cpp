#include "doubt.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace tidemark::lucency {

void doubt_by_halo(std::vector<PlaceBelief>& settled, const std::vector<PlaceBelief>& learnt) {
  for (std::size_t i = 0; i < settled.size(); ++i) {
    PlaceBelief& b = settled[i];
    const bool only_here = b.line >= kLineFrom && learnt[i].line <= kNoLineUpTo;
    const bool only_there = b.line <= kNoLineUpTo && learnt[i].line >= 0.5;
    if (only_here || only_there) b.line = 0.5;
  }
}

void doubt_by_shape(std::vector<PlaceBelief>& box, const std::vector<PlaceBelief>& chord) {
  for (std::size_t i = 0; i < box.size(); ++i) {
    PlaceBelief& b = box[i];
    const PlaceBelief& c = chord[i];
    b.near_wall = std::max(b.near_wall, c.near_wall);
    if (b.line >= kLineFrom && c.line >= kLineFrom) {
      b.width_u = std::hypot(std::max(b.width_u, c.width_u), 0.5 * (b.width - c.width));
      continue;
    }
    const bool of_one_shape = b.line >= kLineFrom || c.line >= kLineFrom;
    const bool none_of_box = b.line <= kNoLineUpTo && c.line >= 0.5;
    if (of_one_shape || none_of_box) b.line = 0.5;
  }
}

}  // namespace tidemark::lucency
