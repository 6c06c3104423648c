#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/agreement.h"
#include "tidemark/registry/cohort.h"
#include "tidemark/registry/migration_course.h"
#include "tidemark/registry/precision.h"

namespace tidemark::registry {

/// One double examination: two films of one hip and one day, both held against the reference film.
struct ExaminationPair {
  std::string hip;
  int days = 0;
  double first = 0.0, second = 0.0;  ///< mm or deg; first is 0 when it is the reference film itself
  double difference = 0.0;           ///< second less first: what moved although nothing did
  double promised_u = 0.0;           ///< of the difference, by the films' own uncertainties
};

/// What double examinations say of a quantity. Two films of one visit share the hip, the day and
/// often the room: this is repeatability, the best case, and not the precision between rooms or
/// years.
struct PrecisionStudy {
  Quantity quantity = Quantity::kSubsidence;
  std::vector<ExaminationPair> pairs;
  std::size_t hips = 0;
  DoubleExaminations about_zero;
  LimitsOfAgreement limits;
  Repeatability repeatability;  ///< ISO 5725-2, over all examinations of a visit
  /// Scatter of the differences over that promised by u: 1 when the uncertainties are right; above
  /// 1 they are too small. Square root of the mean square of difference / promised u.
  std::optional<double> observed_over_promised;
  std::optional<Interval> observed_over_promised_interval;  ///< from chi-square
};

/// @return kCannotTell when fewer than two hips have a double examination.
[[nodiscard]] Expected<PrecisionStudy> precision_study(const Cohort& cohort, Quantity quantity);

}  // namespace tidemark::registry
