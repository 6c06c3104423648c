#pragma once

#include "tidemark/anatomy/implant.h"

namespace tidemark::anatomy {

/// What speaks for a find being a stem with its head.
struct FindEvidence {
  double score = 0.0;       ///< of the hypothesis: rim, metal, stem below, neck between
  double flanks = 0.0;      ///< of the evidence there can be along both flanks, 0 to 1
  double axis_u_deg = 0.0;  ///< standard uncertainty of the axis' direction
};

/// How much this looks like a stem with its head, 0 to 1. Limits are house choices between what
/// right and wrong finds on simulated films show: scores of 3.8 and more, flanks of 0.43 and more,
/// axes known to 0.07 degrees and better against 0.4 and worse where a mask leaks into bone or
/// stops short and so has no straight middle.
[[nodiscard]] double confidence_of(const FindEvidence& evidence);

/// All evidence of a hypothesis together comes to about 4. Right finds on simulated frontal films
/// score 3.9 and more (house choice).
inline constexpr double kSureScore = 3.5;

/// What a hypothesis must score to be followed: below 2 nothing on a film looks like a stem with a
/// head (house choice). On a frontal film an unlikely one is, after a likelier hip was refused, no
/// hip but what is left over. From the side a cup hides much of the head, and rings of the pelvis
/// score above it (docs/lucency.md); what is found there is held against the frontal film.
[[nodiscard]] double score_wanted(LookFrom look, bool after_refusal);

}  // namespace tidemark::anatomy
