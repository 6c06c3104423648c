#pragma once

#include <vector>

#include "model.h"

namespace tidemark::phantom {

/// Level (y of the stem frame) at which the stem's medial outline enters the bone.
[[nodiscard]] double entry_level(const Model& model, const Rigid3& femur_from_stem);

/// Where a gap lies along the stem.
struct GapSpan {
  double from;  ///< y of the stem frame; in zone 4 mm along the round end from lateral to medial
  double to;
};

/// Half of the angle that zone 4 takes of the round end, and what 1 mm of radius has of arc.
inline constexpr double kTipHalfAngle = 0.78539816339744831;  // 45 degrees

/// Length of the outline of zone 4.
[[nodiscard]] double tip_arc(const StemShape& shape);

[[nodiscard]] GapSpan span_of(const Model& model, const Gap& gap);

/// Whether a case has anything beside its stem but the bone as it grew.
[[nodiscard]] bool has_interface(const CaseSpec& spec);

/// Distance to the stem's surface about its embedded part, stem frame.
[[nodiscard]] ScalarGrid stem_distance(const StemModel& stem, const StemShape& shape,
                                       unsigned threads);

/// Cement, gaps, rims and compacted bone of one film, world frame, and the struts left beside
/// them.
void add_interface(const Model& model, const CaseSpec& spec, const FilmSpec& film,
                   const Rigid3& world_from_femur, Scene& scene);

/// Zones and lines of one film. `axis` is the direction of the stem axis on the film, `tip_px` the
/// stem's tip.
[[nodiscard]] LucencyTruth lucency_truth(const Model& model, const CaseSpec& spec,
                                         const FilmSpec& film, const Rigid3& world_from_stem,
                                         const FilmTruth& found);

}  // namespace tidemark::phantom
