#include "tidemark/view/snap.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace tidemark::view {
namespace {

constexpr double kStandsOut = 3.0;
/// How far the smoothing reaches, px: binomial over five, sigma 1.
constexpr int kSmooth = 2;

/// Slope at a pixel: binomial smoothing across, central difference along (a Sobel operator over
/// five pixels). kSmooth px from the border at least.
Vec2 slope_at(const Raster& film, int x, int y) {
  static constexpr double kAcross[] = {1.0, 4.0, 6.0, 4.0, 1.0};
  static constexpr double kAlong[] = {-1.0, -2.0, 0.0, 2.0, 1.0};
  Vec2 slope = Vec2::Zero();
  for (int j = -kSmooth; j <= kSmooth; ++j) {
    for (int i = -kSmooth; i <= kSmooth; ++i) {
      const double grey = film.at(x + i, y + j);
      slope += grey * Vec2(kAlong[i + kSmooth] * kAcross[j + kSmooth],
                           kAcross[i + kSmooth] * kAlong[j + kSmooth]);
    }
  }
  return slope / 128.0;  // sum of kAcross is 16, a unit ramp gives 8 along
}

/// Top of the parabola through three values one apart, within half a step.
double top_of(double before, double at, double after) {
  const double bend = before - 2.0 * at + after;
  return bend >= 0.0 ? 0.0 : std::clamp(0.5 * (before - after) / bend, -0.5, 0.5);
}

}  // namespace

std::optional<Vec2> snapped(const Raster& film, const Vec2& p_px, double reach_px) {
  const int x0 = static_cast<int>(std::lround(p_px.x()));
  const int y0 = static_cast<int>(std::lround(p_px.y()));
  const int reach = static_cast<int>(std::ceil(reach_px));
  const int margin = reach + kSmooth + 1;
  if (!film.contains(x0 - margin, y0 - margin) || !film.contains(x0 + margin, y0 + margin)) {
    return {};
  }
  std::vector<double> slopes;
  double best = 0.0;
  int best_x = x0;
  int best_y = y0;
  for (int y = y0 - reach; y <= y0 + reach; ++y) {
    for (int x = x0 - reach; x <= x0 + reach; ++x) {
      const double away = (Vec2(x, y) - p_px).norm();
      if (away > reach_px) continue;
      const double steep = slope_at(film, x, y).norm();
      slopes.push_back(steep);
      const double score = steep * (1.0 - 0.5 * away / reach_px);
      if (score <= best) continue;
      best = score;
      best_x = x;
      best_y = y;
    }
  }
  if (slopes.empty()) return {};
  const double steepest = slope_at(film, best_x, best_y).norm();
  std::nth_element(slopes.begin(), slopes.begin() + static_cast<std::ptrdiff_t>(slopes.size() / 2),
                   slopes.end());
  if (steepest <= 0.0 || steepest < kStandsOut * slopes[slopes.size() / 2]) return {};
  const auto steep = [&](int x, int y) { return slope_at(film, x, y).norm(); };
  return Vec2(best_x + top_of(steep(best_x - 1, best_y), steepest, steep(best_x + 1, best_y)),
              best_y + top_of(steep(best_x, best_y - 1), steepest, steep(best_x, best_y + 1)));
}

}  // namespace tidemark::view
