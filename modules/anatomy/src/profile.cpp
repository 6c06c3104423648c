#include "tidemark/anatomy/profile.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "tidemark/core/sampling.h"

namespace tidemark::anatomy {

std::optional<Profile> profile_along(const Raster& film, const Vec2& from_px, const Vec2& way,
                                     double first_mm, double last_mm, double px_per_mm) {
  Profile out{first_mm, {}};
  const auto n = static_cast<std::size_t>(std::max(0.0, (last_mm - first_mm) / Profile::kStepMm));
  out.values.reserve(n + 1);
  for (std::size_t i = 0; i <= n; ++i) {
    const auto value = sample_linear(film, from_px + out.x(i) * px_per_mm * way);
    if (!value || !std::isfinite(*value)) return {};
    out.values.push_back(*value);
  }
  return out;
}

std::vector<double> smoothed(const Profile& profile) {
  constexpr std::ptrdiff_t kHalf = 2;
  const auto n = static_cast<std::ptrdiff_t>(profile.values.size());
  std::vector<double> out;
  out.reserve(profile.values.size());
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    double sum = 0.0;
    double count = 0.0;
    for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(0, i - kHalf); k <= std::min(n - 1, i + kHalf);
         ++k) {
      sum += profile.values[static_cast<std::size_t>(k)];
      count += 1.0;
    }
    out.push_back(sum / count);
  }
  return out;
}

}  // namespace tidemark::anatomy
