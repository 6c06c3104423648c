#include "tidemark/registry/precision_study.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <map>

namespace tidemark::registry {
namespace {

/// Variance that two comparisons of one hip share: their common reference film.
double shared_variance(const CohortHip& hip, Quantity quantity, double u1, double u2) {
  const double least = std::min(u1 * u1, u2 * u2);
  if (quantity != Quantity::kSubsidence || !hip.reference_u_mm) return 0.5 * least;
  return std::min(*hip.reference_u_mm * *hip.reference_u_mm, least);
}

/// The pairs of one hip, and its visits of two or more values for the repeatability.
struct HipPairs {
  std::vector<ExaminationPair> pairs;
  std::vector<std::vector<double>> visits;
};

HipPairs pairs_of(const CohortHip& hip, Quantity quantity) {
  std::map<std::string, std::vector<const CohortComparison*>> by_date;
  for (const CohortComparison& c : hip.comparisons) {
    if (!c.date.empty() && value_of(c, quantity)) by_date[c.date].push_back(&c);
  }
  HipPairs out;
  for (auto& [date, films] : by_date) {
    std::stable_sort(films.begin(), films.end(),
                     [](auto* a, auto* b) { return a->examination < b->examination; });
    // Further films of the reference film's own visit: the reference film is the first, at zero.
    const bool of_reference = date == hip.reference_date;
    const Measured<double> zero{0.0, 0.0, 0.0};
    const Measured<double>& first = of_reference ? zero : *value_of(*films.front(), quantity);
    std::vector<double> values{first.value};
    for (std::size_t i = of_reference ? 0 : 1; i < films.size(); ++i) {
      const Measured<double>& second = *value_of(*films[i], quantity);
      values.push_back(second.value);
      const double shared = of_reference ? 0.0 : shared_variance(hip, quantity, first.u, second.u);
      const double variance = first.u * first.u + second.u * second.u - 2.0 * shared;
      if (i == (of_reference ? 0U : 1U)) {  // one pair a visit, so that pairs are independent
        out.pairs.push_back({hip.hip, films[i]->days.value_or(0), first.value, second.value,
                             second.value - first.value, std::sqrt(std::max(0.0, variance))});
      }
    }
    if (values.size() > 1) out.visits.push_back(std::move(values));
  }
  return out;
}

void compare_with_promise(PrecisionStudy& study) {
  double sum = 0.0;
  double n = 0.0;
  for (const ExaminationPair& pair : study.pairs) {
    if (pair.promised_u <= 0.0) continue;
    sum += (pair.difference / pair.promised_u) * (pair.difference / pair.promised_u);
    n += 1.0;
  }
  if (n < 2.0) return;
  const double ratio = std::sqrt(sum / n);
  const boost::math::chi_squared distribution(n);
  study.observed_over_promised = ratio;
  study.observed_over_promised_interval =
      Interval{ratio * std::sqrt(n / boost::math::quantile(distribution, 0.975)),
               ratio * std::sqrt(n / boost::math::quantile(distribution, 0.025))};
}

}  // namespace

Expected<PrecisionStudy> precision_study(const Cohort& cohort, Quantity quantity) {
  PrecisionStudy study;
  study.quantity = quantity;
  std::vector<std::vector<double>> visits;
  std::vector<std::vector<double>> by_hip;
  std::vector<double> differences;
  for (const CohortHip& hip : cohort.hips) {
    HipPairs found = pairs_of(hip, quantity);
    if (found.pairs.empty()) continue;
    auto& of_hip = by_hip.emplace_back();
    for (const ExaminationPair& pair : found.pairs) {
      of_hip.push_back(pair.difference);
      differences.push_back(pair.difference);
    }
    visits.insert(visits.end(), found.visits.begin(), found.visits.end());
    study.pairs.insert(study.pairs.end(), found.pairs.begin(), found.pairs.end());
  }
  study.hips = by_hip.size();
  if (study.hips < 2) {
    return fail(ErrorKind::kCannotTell, "precision of " + name_of(quantity),
                "fewer than two hips have a double examination");
  }
  const auto about_zero = double_examinations(differences);
  if (!about_zero) return tl::unexpected(about_zero.error());
  const auto limits = limits_of_agreement(by_hip);
  if (!limits) return tl::unexpected(limits.error());
  const auto repeated = repeatability(visits);
  if (!repeated) return tl::unexpected(repeated.error());
  study.about_zero = *about_zero;
  study.limits = *limits;
  study.repeatability = *repeated;
  compare_with_promise(study);
  return study;
}

}  // namespace tidemark::registry
