#pragma once

#include <cmath>
#include <cstdint>
#include <random>
#include <string>

#include "tidemark/registry/cohort.h"

namespace tidemark::registry::made {

/// Normal and uniform numbers from a seed that are the same with every standard library.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed) {}
  double uniform() { return (static_cast<double>(engine_() >> 11U) + 0.5) * 0x1.0p-53; }
  double normal() {
    const double r = std::sqrt(-2.0 * std::log(uniform()));
    return r * std::cos(6.283185307179586 * uniform());
  }

 private:
  std::mt19937_64 engine_;
};

/// How the hips of a group move.
struct Truth {
  double settling = 0.8, settling_sd = 0.3;
  double rate = 0.05, rate_sd = 0.05;
  double u = 0.25;  ///< of a follow-up film
  double reference_u = 0.15;
};

inline CohortComparison comparison(int index, int days, double subsidence, double u) {
  CohortComparison c;
  c.comparison = index;
  c.days = days;
  c.date = "day " + std::to_string(days);
  c.measured = true;
  c.subsidence_mm = {subsidence, u, 1.96 * u};
  return c;
}

/// A hip with its verdicts on one limit of 1.5 mm by the rule of docs/assessment.md.
inline CohortHip hip(const std::string& name, const std::string& group, const Truth& truth,
                     Dice& dice) {
  CohortHip out;
  out.hip = name;
  out.group = group;
  out.reference_days = 1;
  out.reference_u_mm = truth.reference_u;
  const double a = truth.settling + truth.settling_sd * dice.normal();
  const double r = truth.rate + truth.rate_sd * dice.normal();
  const double reference_error = truth.reference_u * dice.normal();
  const double u = std::hypot(truth.u, truth.reference_u);
  int index = 0;
  for (const int milestone : {42, 91, 183, 365, 730, 1461}) {
    if (dice.uniform() < 0.2) continue;
    const int days = milestone + static_cast<int>(20.0 * (dice.uniform() - 0.5));
    const auto settled = [](double t) { return 1.0 - std::exp(-t / 30.0); };
    const double moved =
        a * (settled(days) - settled(1)) + r * std::max(0.0, days - 91.3125) / 365.25;
    const double value = moved + truth.u * dice.normal() - reference_error;
    out.comparisons.push_back(comparison(index, days, value, u));
    const double p = 0.5 * std::erfc((1.5 - value) / u / std::sqrt(2.0));
    const Verdict verdict = p >= 0.95   ? Verdict::kExceeds
                            : p <= 0.05 ? Verdict::kWithin
                                        : Verdict::kCannotTell;
    out.findings.push_back({index, "limit", "subsidence_mm", "mm", 1.5, verdict, p});
    ++index;
  }
  return out;
}

inline Cohort cohort(int hips, const std::vector<std::pair<std::string, Truth>>& groups,
                     std::uint64_t seed) {
  Dice dice(seed);
  Cohort out;
  for (const auto& [name, truth] : groups) {
    out.groups.push_back(name);
    for (int h = 0; h < hips; ++h) {
      out.hips.push_back(hip(name + std::to_string(1000 + h), name, truth, dice));
    }
  }
  return out;
}

}  // namespace tidemark::registry::made
