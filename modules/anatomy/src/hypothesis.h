#pragma once

#include <vector>

#include "neck.h"
#include "stem_mask.h"
#include "stem_trace.h"
#include "tidemark/anatomy/implant.h"

namespace tidemark::anatomy {

/// A head with its stem, roughly.
struct Hypothesis {
  Circle2 head_px;                    ///< on the film
  double mm_per_px = 0.0;             ///< of the film, from the head's diameter
  FlankTrace trace;                   ///< on the film scaled to 1 mm pixels
  Vec2 neck_direction = {-0.7, 0.7};  ///< from the head's centre down the neck
  double score = 0.0;                 ///< about 3 when all evidence is there
  Core core = Core::kSeed;            ///< of the traced flanks
  LookFrom look = LookFrom::kFront;
  bool faint = false;  ///< the head is one of faint_head()'s
};

/// The head's diameter, mm: as given, else the usual one.
[[nodiscard]] double head_mm_of(const ImplantOptions& options);

/// Looks over the whole film for heads on a neck on a stem, the head medial of the stem. The most
/// likely first, at most five; empty when there is none.
[[nodiscard]] std::vector<Hypothesis> hypotheses(const Pyramid& film,
                                                 const ImplantOptions& options);

/// The same stem with the head that is seen best on its neck's midline; for a hypothesis whose
/// circle turned out to lie off it. Nothing when no rim is seen there.
[[nodiscard]] std::optional<Hypothesis> with_head_on_neck(const Pyramid& film, const Hypothesis& h,
                                                          const NeckAxis& neck,
                                                          const ImplantOptions& options);

/// The same, where of the neck only a point of its midline and its width are known, px.
[[nodiscard]] std::optional<Hypothesis> with_head_towards(const Pyramid& film, const Hypothesis& h,
                                                          const Vec2& on_neck, double neck_px,
                                                          const ImplantOptions& options);

/// The same stem with the head whose rim beside the neck the film shows; for a hypothesis whose
/// circle crosses that rim: within a saturated cup one can lean on the cup's border and on the
/// head. Nothing when the circle lies on its rim, or no other does so better.
[[nodiscard]] std::optional<Hypothesis> with_rim_beside_neck(const Pyramid& film,
                                                             const Hypothesis& h,
                                                             const ImplantOptions& options);

/// A stem under a head that faint_head() has seen.
[[nodiscard]] std::optional<Hypothesis> with_faint(const Pyramid& film, const Circle2& head_px,
                                                   const ImplantOptions& options);

/// The same head over a narrower stem; for a hypothesis whose flanks turned out to be a cortex'.
/// Nothing when no such flanks are seen.
[[nodiscard]] std::optional<Hypothesis> with_narrower_stem(const Pyramid& film, const Hypothesis& h,
                                                           const ImplantOptions& options);

}  // namespace tidemark::anatomy
