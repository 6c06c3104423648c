#pragma once

#include <vector>

#include "model.h"

namespace tidemark::phantom {

/// Level (y of the stem frame) at which the stem's medial outline enters the bone.
[[nodiscard]] double entry_level(const Model& model, const Rigid3& femur_from_stem);

/// Where a gap lies along the stem.
struct GapSpan {
  double from;  ///< y of the stem frame; about the tip mm along the round end as Gap says
  double to;
};

/// Half of the angle that zone 4 takes of the round end, and what 1 mm of radius has of arc.
inline constexpr double kTipHalfAngle = 0.78539816339744831;  // 45 degrees

/// The film that shows a zone.
inline View view_of(int zone) { return zone > 7 ? View::kLateral : View::kAp; }
/// The zone in its place on a frontal film: lateral for front, medial for back.
inline int frontal_zone(int zone) { return zone > 7 ? zone - 7 : zone; }
inline bool about_the_tip(int zone) { return frontal_zone(zone) == 4; }
/// Which third of the stem's embedded part a zone of a side lies beside, 0 the proximal one.
inline int third_of(int zone) {
  const int frontal = frontal_zone(zone);
  return frontal < 4 ? frontal - 1 : 7 - frontal;
}

/// Length of the outline of zone 4 (kAp) or 11 (kLateral).
[[nodiscard]] double tip_arc(const StemShape& shape, View view);

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
