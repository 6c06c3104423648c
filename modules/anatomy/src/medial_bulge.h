#pragma once

#include <optional>
#include <vector>

#include "edge_path.h"

namespace tidemark::anatomy {

/// Share of a path's rows [from, to) that are an edge which the eye would call one; 0 for no rows.
/// Along real cortices it is 0.8 and more, along the best path through grain 0.4.
[[nodiscard]] double share_of_edge(const EdgePath& path, int from, int to);

/// Evidence of an edge; grain alone gives a path 0.3 on average.
inline constexpr double kEdge = 0.35;

/// At least this share of a bone's outline must be an edge (house choice).
inline constexpr double kShareOfABone = 0.65;

/// The lesser trochanter on the medial outline.
struct Bulge {
  int top = 0;         ///< index on the path of the point farthest from the shaft
  double top_u = 0.0;  ///< standard uncertainty of the top along the path, mm
};

/// The trochanter's bulge on the medial outline, between the cut of the neck and the shaft.
/// @param path the outline, one sample every `mm` mm from proximal to distal
/// @param from_shaft its distance from the shaft axis, mm, medial positive, sample by sample
/// @param by_other_film index on the path (it may lie beyond it) where another film shows the
///        trochanter: its top is then looked for within kNearOtherFilmMm of that alone
/// @return nothing when no bulge stands out, or too little of the outline is an edge
[[nodiscard]] std::optional<Bulge> trochanter_bulge(const EdgePath& path,
                                                    const std::vector<double>& from_shaft,
                                                    double mm,
                                                    std::optional<int> by_other_film = {});

/// Films from the front and from the side show the trochanter up to 8 mm higher or lower against
/// the stem's tip (56 simulated pairs of films, docs/migration.md), the crest above it 10 to 31 mm.
inline constexpr double kNearOtherFilmMm = 12.0;

/// Where a trochanter that is no bulge of the outline must lie: 10 +- 8 mm (house choice: half the
/// length of its base, which is 20 to 25 mm) above the place where the outline has come down to
/// within 3.5 mm of the shaft's narrowest distance. Arguments as above.
/// @return nothing when too little of the outline is an edge
[[nodiscard]] std::optional<Bulge> level_of_hidden_trochanter(const EdgePath& path,
                                                              const std::vector<double>& from_shaft,
                                                              double mm);

}  // namespace tidemark::anatomy
