#include "baseline.h"

#include <algorithm>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/judge.h"

namespace tidemark::assessment {

Baseline baseline_of(const HipEvidence& hip, const ComparisonEvidence& pair) {
  if (const auto days = hip.films.at(pair.reference).days_from_surgery) {
    return *days > kSettledDays        ? Baseline::kTooLate
           : *days > kBaselineLateDays ? Baseline::kLate
                                       : Baseline::kEarly;
  }
  const auto dated = [](const FilmEvidence& film) { return film.days_from_surgery.has_value(); };
  if (std::any_of(hip.films.begin(), hip.films.end(), dated)) return Baseline::kUndated;
  return hip.reference_film == ReferenceFilm::kStated ? Baseline::kEarly : Baseline::kUnstated;
}

bool rises(const Measured<double>& along, std::optional<int> days) {
  const double forward = days.value_or(0) < 0 ? -1.0 : 1.0;
  return forward * along.value + along.u95 < 0.0;
}

}  // namespace tidemark::assessment
