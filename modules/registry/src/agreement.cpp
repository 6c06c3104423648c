#include "tidemark/registry/agreement.h"

#include <algorithm>
#include <cmath>

#include "tidemark/core/statistics.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/registry/precision.h"

namespace tidemark::registry {
namespace {

/// SD of one difference: of hips with one each the plain one, else between and within hips.
Expected<double> spread_of(std::span<const std::vector<double>> by_hip,
                           const std::vector<double>& all) {
  const bool single =
      std::all_of(by_hip.begin(), by_hip.end(), [](auto& hip) { return hip.size() < 2; });
  if (single) return *standard_deviation(all);
  const auto both = reproducibility(by_hip);
  if (!both) return tl::unexpected(both.error());
  return both->reproducibility_sd;
}

}  // namespace

Expected<LimitsOfAgreement> limits_of_agreement(std::span<const std::vector<double>> by_hip) {
  std::vector<double> all;
  LimitsOfAgreement out;
  for (const auto& hip : by_hip) {
    all.insert(all.end(), hip.begin(), hip.end());
    out.hips += hip.empty() ? 0U : 1U;
  }
  if (out.hips < 2) {
    return fail(ErrorKind::kCannotTell, "limits of agreement", "fewer than two hips have both");
  }
  const auto centre = mean(all);
  if (!centre) {
    return fail(ErrorKind::kBadInput, "limits of agreement", "a value is not a finite number");
  }
  const auto spread = spread_of(by_hip, all);
  if (!spread) return tl::unexpected(spread.error());
  out.differences = all.size();
  out.mean = *centre;
  out.sd = *spread;
  const double z = coverage_factor(kInfiniteFreedom);
  out.low = out.mean - z * out.sd;
  out.high = out.mean + z * out.sd;
  const auto n = static_cast<double>(out.hips);
  const double t = coverage_factor(n - 1.0);
  const double of_mean = t * out.sd / std::sqrt(n);
  const double of_limit = t * out.sd * std::sqrt(3.0 / n);
  out.mean_interval = {out.mean - of_mean, out.mean + of_mean};
  out.low_interval = {out.low - of_limit, out.low + of_limit};
  out.high_interval = {out.high - of_limit, out.high + of_limit};
  return out;
}

}  // namespace tidemark::registry
