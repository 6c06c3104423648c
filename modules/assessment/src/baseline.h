#pragma once

#include "tidemark/assessment/evidence.h"
#include "tidemark/core/units.h"

namespace tidemark::assessment {

/// What the reference film of a comparison may hide: what the stem moved before it is in no number,
/// so that a number since then can lie above a limit and never within.
enum class Baseline {
  kEarly,  ///< nothing: at most kBaselineLateDays after surgery, or stated to be the film after it
  kLate,   ///< later than that
  kTooLate,   ///< after the settling window: only late change can be judged
  kUndated,   ///< surgery is dated and the film is not
  kUnstated,  ///< surgery is not dated, and nobody says which film was taken after it
};

[[nodiscard]] Baseline baseline_of(const HipEvidence& hip, const ComparisonEvidence& pair);

/// Whether the whole 95 % interval of a motion along the stem lies above where it stood. `days`
/// from the reference film: on a film from before it the stem stood higher.
[[nodiscard]] bool rises(const Measured<double>& along, std::optional<int> days);

}  // namespace tidemark::assessment
