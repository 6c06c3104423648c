#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/film/film.h"

// A stem drawn from formulas: every wall is known to any fraction of a pixel, and blur and edge
// enhancement are the analytic ones.

namespace tidemark::lucency {

/// A line beside one flank of the drawn stem.
struct DrawnLine {
  int side = -1;         ///< -1 lateral, +1 medial
  double from_mm = 0.0;  ///< below the entry level
  double to_mm = 0.0;
  double width_mm = 1.0;
  double rim_mm = 0.0;    ///< 0: none
  double start_mm = 0.0;  ///< from the metal
  double dark = 1.0;      ///< 1 as soft tissue, 0 as the bone
};

struct DrawnFilm {
  double mm_per_px = 0.15;
  double half_width_mm = 6.0;
  double embedded_mm = 126.0;
  double blur_mm = 0.2;
  double gain = 0.0;  ///< of the unsharp mask
  double radius_mm = 1.0;
  double noise = 0.0;
  double mantle_mm = 0.0;  ///< of cement about the embedded part
  double cement = 1600.0;
  std::vector<DrawnLine> lines;
};

inline double step_at(double d, double sigma) {
  return 0.5 * std::erfc(-d / (sigma * std::numbers::sqrt2));
}

/// A step up at 0 as the film shows it: blurred, plus gain (itself - itself smoothed). The smoothed
/// one is a step with the two variances added (convolution of Gaussians).
inline double shown_step(double d, const DrawnFilm& film) {
  const double sharp = step_at(d, film.blur_mm);
  return sharp + film.gain * (sharp - step_at(d, std::hypot(film.blur_mm, film.radius_mm)));
}

inline constexpr double kEntryMm = 60.0;  // of the film's upper border
inline constexpr double kAxisMm = 45.0;   // of its left one
inline constexpr double kMetal = 3000.0;
inline constexpr double kBone = 1200.0;
inline constexpr double kSoft = 800.0;
inline constexpr double kRim = 1450.0;

/// Grey at a place x mm medial of the axis, y mm below the entry level.
inline double grey_at(double x, double y, const DrawnFilm& film) {
  const int side = x < 0.0 ? -1 : 1;
  const double out = std::abs(x) - film.half_width_mm;
  const double beside = y < 0.0 ? kSoft : kBone;
  double value = kMetal + (beside - kMetal) * shown_step(out, film);
  if (film.mantle_mm > 0.0 && y >= 0.0) {
    value +=
        (film.cement - kBone) * (shown_step(out, film) - shown_step(out - film.mantle_mm, film));
  }
  for (const DrawnLine& line : film.lines) {
    if (line.side != side || y < line.from_mm || y >= line.to_mm) continue;
    const double begin = out - line.start_mm;
    const double in = shown_step(begin, film);
    const double wall = shown_step(begin - line.width_mm, film);
    value += line.dark * (kSoft - kBone) * (in - wall);
    if (line.rim_mm > 0.0) {
      value += (kRim - kBone) * (wall - shown_step(begin - line.width_mm - line.rim_mm, film));
    }
  }
  return value;
}

inline film::FilmImage draw(const DrawnFilm& how) {
  film::FilmImage film;
  const double mm = how.mm_per_px;
  film.pixels = Raster(static_cast<int>(90.0 / mm),
                       static_cast<int>((kEntryMm + how.embedded_mm + 30.0) / mm));
  std::mt19937_64 random(7);
  for (int y = 0; y < film.pixels.height; ++y) {
    const double below = y * mm - kEntryMm;
    for (int x = 0; x < film.pixels.width; ++x) {
      const double across = x * mm - kAxisMm;
      double value = below <= how.embedded_mm ? grey_at(across, below, how) : kBone;
      // Irwin-Hall: twelve uniform draws have variance 1, the same on every platform.
      double sum = -6.0;
      for (int k = 0; how.noise > 0.0 && k < 12; ++k) {
        sum += static_cast<double>(random() >> 11U) * 0x1.0p-53;
      }
      if (how.noise > 0.0) value += how.noise * sum;
      film.pixels.at(x, y) = static_cast<float>(value);
    }
  }
  return film;
}

/// What anatomy would find on it: the flanks run 30 mm beyond the entry level upwards as neck.
inline anatomy::Implant implant_of(const DrawnFilm& how, const film::FilmImage& film) {
  const double px = 1.0 / how.mm_per_px;
  const auto at = [&](double x, double y) { return Vec2((kAxisMm + x) * px, (kEntryMm + y) * px); };
  anatomy::Implant implant;
  const double h = how.half_width_mm;
  for (double y = -30.0; y < how.embedded_mm; y += 0.5) implant.outline_px.push_back(at(-h, y));
  for (double x = -h; x < h; x += 0.5) implant.outline_px.push_back(at(x, how.embedded_mm));
  for (double y = how.embedded_mm; y >= -30.0; y -= 0.5) implant.outline_px.push_back(at(h, y));
  implant.axis.line_px = {at(0.0, 0.0), Vec2::UnitY()};
  implant.tip.px = at(0.0, how.embedded_mm);
  implant.shoulder.px = at(-h, -12.0);
  implant.stem = Mask(film.pixels.width, film.pixels.height);
  for (int y = 0; y < film.pixels.height; ++y) {
    for (int x = 0; x < film.pixels.width; ++x) {
      const bool in = std::abs(x * how.mm_per_px - kAxisMm) < h &&
                      y * how.mm_per_px < kEntryMm + how.embedded_mm;
      implant.stem.at(x, y) = in ? 1 : 0;
    }
  }
  implant.metal = implant.stem;
  return implant;
}

}  // namespace tidemark::lucency
