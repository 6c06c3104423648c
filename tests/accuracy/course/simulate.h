#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "tidemark/assessment/course.h"
#include "tidemark/assessment/evidence.h"
#include "tidemark/core/monte_carlo.h"

// Hips with known courses, films at the dates of usual schedules, and errors as the program states
// them. Invented; what the bench shows is whether the program believes its own numbers rightly.
namespace tidemark::course_bench {

/// What was drawn.
enum class Kind { kSettled, kContinuous, kLate, kStable, kCreep, kStep, kRebound };
inline constexpr std::array<const char*, 7> kKindNames{{"settled", "continuous", "late", "stable",
                                                        "creep that slows", "step at 18 months",
                                                        "settled, then late"}};

/// A course as it was drawn: mm at days from surgery.
struct TrueCourse {
  Kind kind = Kind::kStable;
  double settle_mm = 0.0;
  double tau_days = 30.0;
  double rate = 0.0;      ///< mm/year from `onset` on
  double onset = 0.0;     ///< days
  double creep_mm = 0.0;  ///< at two years, as the square root of time
  double step_mm = 0.0;   ///< between 18 and 19 months

  [[nodiscard]] double at(double day) const;
};

/// How films are drawn.
struct Setup {
  double share_factor = 1.0;  ///< true share of the reference film over the one that is stated
  double u_mm = 0.0;          ///< median of u; 0: drawn from 0.15, 0.3 and 0.5
  bool odd = false;           ///< courses that are none of the program's shapes as well
};

/// One simulated hip.
struct Case {
  TrueCourse truth;
  assessment::HipEvidence hip;
  std::vector<double> true_mm;  ///< of each comparison, since the reference film
  std::vector<int> days;        ///< from surgery
  int reference_day = 0;
};

[[nodiscard]] Case draw_case(Random& random, Kind kind, const Setup& setup);

/// Early (up to six months, or the reference film) and late motion beyond 1 mm, as course.h names
/// patterns.
[[nodiscard]] assessment::Pattern true_pattern(const Case& one);

}  // namespace tidemark::course_bench
