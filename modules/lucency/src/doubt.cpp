#include "doubt.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "profiles.h"

namespace tidemark::lucency {
namespace {

/// Mean log odds over some places of a line of the width that fits them best, each allowed to be a
/// step of the grid wider or narrower; of widths that are told.
double best_log_odds(const std::vector<PlaceEvidence>& evidence,
                     std::span<const std::size_t> places) {
  const std::vector<double>& widths = line_widths();
  double best = -1e9;
  for (std::size_t w = 1; w + 1 < widths.size(); ++w) {
    if (widths[w] < kThinnestMm || widths[w] > kWideMm) continue;
    double sum = 0.0;
    for (const std::size_t i : places) {
      const auto& odds = evidence[i].log_odds;
      sum += std::max({odds[w - 1], odds[w], odds[w + 1]});
    }
    best = std::max(best, sum / static_cast<double>(places.size()));
  }
  return best;
}

}  // namespace

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

void doubt_by_weak_evidence(std::vector<PlaceBelief>& beliefs,
                            const std::vector<PlaceEvidence>& evidence,
                            std::span<const std::size_t> tip) {
  // House choices: docs/lucency.md has what tips with and without a line show.
  constexpr double kAgainst = -0.5;
  constexpr auto kHalf = static_cast<std::size_t>(2.0 / kPlacePitchMm);
  for (std::size_t k = 0; k < tip.size(); ++k) {
    const std::size_t from = k < kHalf ? 0 : k - kHalf;
    const std::size_t to = std::min(k + kHalf + 1, tip.size());
    if (best_log_odds(evidence, tip.subspan(from, to - from)) > kAgainst) {
      beliefs[tip[k]].near_wall = 1.0;
    }
  }
}

}  // namespace tidemark::lucency
