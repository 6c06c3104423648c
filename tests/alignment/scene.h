#pragma once

#include <cmath>
#include <cstdint>
#include <functional>
#include <random>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::alignment {

/// A made-up limb as a function of the plane (mm): a soft outline, two cortices, a bump on either
/// side and a random texture. Known everywhere, so a moved film is drawn without interpolation.
class Scene {
 public:
  explicit Scene(std::uint32_t seed, double texture = 0.03) : texture_(texture) {
    std::mt19937 random(seed);
    const auto uniform = [&](double low, double high) {
      return low + (high - low) * static_cast<double>(random()) / 4294967296.0;
    };
    for (int i = 0; i < 60; ++i) {
      const double length = uniform(1.2, 8.0);
      const double turn = uniform(0.0, 6.2831853);
      waves_.push_back({6.2831853 / length * std::cos(turn), 6.2831853 / length * std::sin(turn),
                        uniform(0.0, 6.2831853)});
    }
  }

  /// Log absorption at p, mm; the limb's axis is x = 0.
  [[nodiscard]] double at(const Vec2& p) const {
    const double lateral = -14.0 - 5.0 * bump(p.y() + 40.0, 18.0);
    const double medial = 14.0 + 5.0 * bump(p.y() + 15.0, 9.0);
    const double outer = step(p.x() - lateral) * step(medial - p.x());
    const double inner = step(p.x() - lateral - 4.0) * step(medial - 4.0 - p.x());
    double texture = 0.0;
    for (const Wave& w : waves_) texture += std::cos(w.x * p.x() + w.y * p.y() + w.phase);
    return 0.5 + 0.3 * bump(p.x(), 40.0) + 0.6 * outer - 0.35 * inner +
           texture_ * outer * texture / std::sqrt(static_cast<double>(waves_.size()) / 2.0);
  }

 private:
  struct Wave {
    double x, y, phase;
  };
  static double step(double x) { return 0.5 * std::erfc(-x / (0.35 * std::sqrt(2.0))); }
  static double bump(double x, double width) { return std::exp(-0.5 * x * x / (width * width)); }
  double texture_;
  std::vector<Wave> waves_;
};

struct FilmSetup {
  int width = 420;
  int height = 720;
  double mm_per_px = 0.15;
  double noise = 0.0;  ///< SD of white noise per pixel
  std::uint32_t seed = 1;
  /// Changes the value at a pixel, e.g. a look-up table or an exposure gradient. (x, y) in px.
  std::function<double(double value, int x, int y)> processing = {};
};

/// Draws the scene. scene_from_film: mm of the film to mm of the scene.
inline Raster draw(const Scene& scene, const Rigid2& scene_from_film, const FilmSetup& setup) {
  Raster film(setup.width, setup.height);
  std::mt19937 random(setup.seed);
  const auto uniform = [&] { return (static_cast<double>(random()) + 0.5) / 4294967296.0; };
  for (int y = 0; y < setup.height; ++y) {
    for (int x = 0; x < setup.width; ++x) {
      const Vec2 p = scene_from_film.apply(setup.mm_per_px * Vec2(x, y));
      double value = scene.at(p);
      if (setup.processing) value = setup.processing(value, x, y);
      if (setup.noise > 0.0) {
        value +=
            setup.noise * std::sqrt(-2.0 * std::log(uniform())) * std::cos(6.2831853 * uniform());
      }
      film.at(x, y) = static_cast<float>(value);
    }
  }
  return film;
}

/// Weight 1 in a rectangle given in px.
inline Raster rectangle(const FilmSetup& setup, int left, int right, int top, int bottom) {
  Raster region(setup.width, setup.height);
  for (int y = top; y < bottom; ++y) {
    for (int x = left; x < right; ++x) region.at(x, y) = 1.0F;
  }
  return region;
}

}  // namespace tidemark::alignment
