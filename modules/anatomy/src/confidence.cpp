#include "confidence.h"

#include <algorithm>

namespace tidemark::anatomy {

double confidence_of(const FindEvidence& evidence) {
  constexpr double kNoScore = 2.2;
  constexpr double kPerScore = 0.45;
  constexpr double kFlanks = 0.35;
  constexpr double kStraightDeg = 0.2;
  const auto share = [](double x) { return std::clamp(x, 0.0, 1.0); };
  const double straight =
      evidence.axis_u_deg > kStraightDeg ? kStraightDeg / evidence.axis_u_deg : 1.0;
  return share(kPerScore * (evidence.score - kNoScore)) * share(evidence.flanks / kFlanks) *
         straight;
}

double score_wanted(LookFrom look, bool after_refusal) {
  constexpr double kLeastScore = 2.0;
  return after_refusal && look == LookFrom::kFront ? kSureScore : kLeastScore;
}

}  // namespace tidemark::anatomy
