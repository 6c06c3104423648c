#pragma once

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

}  // namespace tidemark::anatomy
