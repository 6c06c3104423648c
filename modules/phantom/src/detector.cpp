#include <algorithm>
#include <cmath>

#include "clutter.h"
#include "filters.h"
#include "parallel.h"
#include "random.h"
#include "tidemark/phantom/film.h"

namespace tidemark::phantom {
namespace {

/// A normal deviate that depends on seed and place only.
double noise_at(std::uint64_t seed, std::size_t index) {
  return CountedRandom(mix({seed, index})).normal(0.0, 1.0);
}

/// Whether the place of a value lies within the shutters.
bool exposed(const Raster& image, std::size_t index, const FilmSpec& film) {
  const auto width = static_cast<std::size_t>(image.width);
  const std::size_t row = index / width;
  const Vec2 px(static_cast<double>(index - row * width), static_cast<double>(row));
  return shutter_at(film, px) > 0.5;
}

/// Signal behind the body: the median of what is neither open beam nor metal.
double body_signal(const Raster& primary, const FilmSpec& film) {
  std::vector<float> some;
  for (std::size_t i = 0; i < primary.values.size(); i += 97) {
    const float v = primary.values[i];
    if (v < 0.3F && v > 1e-5F && exposed(primary, i, film)) some.push_back(v);
  }
  if (some.empty()) return 1.0;
  const auto middle = some.begin() + static_cast<std::ptrdiff_t>(some.size() / 2);
  std::nth_element(some.begin(), middle, some.end());
  return *middle;
}

/// Scattered signal: broad, and born in the body only (open beam has nothing to scatter in).
Raster scattered(const Raster& primary, const FilmSpec& film, double body, unsigned threads) {
  constexpr int kBlock = 16;
  constexpr double kSpreadMm = 35.0;  // standard deviation on the detector; house choice
  Raster coarse = reduced(primary, kBlock);
  for (float& v : coarse.values) {
    v = static_cast<float>(std::min(double{v}, 6.0 * body) * std::clamp(1.5 * (1.0 - v), 0.0, 1.0));
  }
  coarse = smoothed(coarse, kSpreadMm / (film.beam.pixel_pitch.value * kBlock), threads);
  for (float& v : coarse.values) v *= static_cast<float>(film.exposure.scatter_to_primary);
  return enlarged(coarse, kBlock, primary.width, primary.height, threads);
}

/// Log exposure, great = much absorbed.
Raster depths_of(const Raster& signal, unsigned threads) {
  Raster depth = signal;
  for_each_index(depth.height, threads, [&](int y) {
    for (int x = 0; x < depth.width; ++x) {
      depth.at(x, y) = -std::log(std::clamp(depth.at(x, y), 2e-5F, 1.0F));
    }
  });
  return depth;
}

/// Which depths a film shows, by those of the body on it.
struct Window {
  double mid = 0.0;  ///< the body's median
  double centre = 0.0;
  double width = 1.0;
};

Window window_of(const Raster& depth, const FilmSpec& film) {
  std::vector<float> body;
  for (std::size_t i = 0; i < depth.values.size(); i += 97) {
    if (depth.values[i] > 1.2F && exposed(depth, i, film)) body.push_back(depth.values[i]);
  }
  std::sort(body.begin(), body.end());
  const auto part = [&](double q) {
    return body.empty()
               ? 0.0
               : double{body[static_cast<std::size_t>(q * static_cast<double>(body.size() - 1))]};
  };
  const Processing& how = film.processing;
  Window window;
  window.mid = part(0.5);
  window.width = std::max(1.2, (part(0.985) - part(0.03)) * 0.75) * how.window_scale;
  window.centre = window.mid + 0.12 * window.width + how.window_shift * window.width;
  return window;
}

}  // namespace

Raster expose(const Raster& primary, const FilmSpec& film, unsigned threads) {
  const double pitch = film.beam.pixel_pitch.value;
  const double body = body_signal(primary, film);
  const double magnification =
      film.beam.source_to_detector.value /
      (film.beam.source_to_detector.value - film.beam.hip_to_detector.value);
  // A square focal spot of width f throws a shadow of width f (M - 1); its standard deviation is
  // that over the root of 12.
  const double focal = film.exposure.focal_spot.value * (magnification - 1.0) / std::sqrt(12.0);
  Raster signal = smoothed(primary, focal / pitch, threads);
  const Raster scatter = scattered(primary, film, body, threads);
  const double quanta = film.exposure.quanta_per_pixel * (pitch / 0.14) * (pitch / 0.14) / body;
  for_each_index(signal.height, threads, [&](int y) {
    for (int x = 0; x < signal.width; ++x) {
      const auto i = static_cast<std::size_t>(y) * static_cast<std::size_t>(signal.width) +
                     static_cast<std::size_t>(x);
      const double mean = double{signal.values[i]} + scatter.values[i];
      signal.values[i] =
          static_cast<float>(mean + std::sqrt(mean / quanta) * noise_at(film.noise_seed, i));
    }
  });
  return smoothed(signal, film.exposure.detector_blur.value / pitch, threads);
}

RasterOf<std::uint16_t> develop(const Raster& signal, const FilmSpec& film, unsigned threads) {
  const Processing& how = film.processing;
  const double pitch = film.beam.pixel_pitch.value;
  const Raster depth = depths_of(signal, threads);
  const Raster fine = smoothed(depth, how.edge_radius_mm / pitch, threads);
  constexpr int kBlock = 8;
  const Raster broad = enlarged(smoothed(reduced(depth, kBlock), 20.0 / (pitch * kBlock), threads),
                                kBlock, depth.width, depth.height, threads);
  const Window window = window_of(depth, film);
  const double top = std::pow(2.0, how.bits_stored) - 1.0;
  RasterOf<std::uint16_t> grey(depth.width, depth.height);
  for_each_index(depth.height, threads, [&](int y) {
    for (int x = 0; x < depth.width; ++x) {
      const double d = depth.at(x, y);
      const double flat = d - (1.0 - how.latitude) * (broad.at(x, y) - window.mid);
      const double crisp = flat + how.edge_gain * (d - fine.at(x, y));
      const double t = (crisp - window.centre) / window.width;  // -0.5 to 0.5 over the window
      const double shown = how.curve == GreyCurve::kSigmoid ? 1.0 / (1.0 + std::exp(-4.0 * t))
                                                            : std::clamp(t + 0.5, 0.0, 1.0);
      const double value = how.photometric == Photometric::kMonochrome2 ? shown : 1.0 - shown;
      grey.at(x, y) = static_cast<std::uint16_t>(std::lround(value * top));
    }
  });
  return grey;
}

}  // namespace tidemark::phantom
