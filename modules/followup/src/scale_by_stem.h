#pragma once

#include "working.h"

namespace tidemark::followup {

/// Settles the scale of frontal films whose head tells it badly, from the stem: one stem is as long
/// on every film of a hip, and the film whose head is seen best says how long. Where a head is in
/// doubt and contradicts the stem, the stem alone counts; where both agree and the stem knows more,
/// their weighted mean. Needs scale_films(); changes calibration, other_scales and the scale of
/// HipFilm. Films scaled by hand, or without a head of stated size, stay as they are.
void settle_scales_by_stem(WorkingSeries& work);

}  // namespace tidemark::followup
