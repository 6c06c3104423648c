#include "strip.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "tidemark/core/sampling.h"

namespace tidemark::lucency {
namespace {

/// Length along a chain up to each of its points, mm.
std::vector<double> arcs_of(const Polyline& chain, double mm_per_px) {
  std::vector<double> arc(chain.size(), 0.0);
  for (std::size_t i = 1; i < chain.size(); ++i) {
    arc[i] = arc[i - 1] + mm_per_px * (chain[i] - chain[i - 1]).norm();
  }
  return arc;
}

Vec2 at_arc(const Polyline& chain, const std::vector<double>& arc, double s) {
  const auto above = std::upper_bound(arc.begin(), arc.end(), s);
  const auto k = std::clamp<std::ptrdiff_t>(above - arc.begin(), 1,
                                            static_cast<std::ptrdiff_t>(arc.size()) - 1);
  const auto i = static_cast<std::size_t>(k);
  const double length = arc[i] - arc[i - 1];
  const double t = length > 0.0 ? std::clamp((s - arc[i - 1]) / length, 0.0, 1.0) : 0.0;
  return chain[i - 1] + t * (chain[i] - chain[i - 1]);
}

/// Twice the area swept about the chain's middle: its sign says on which side the inside is.
double turning(const Polyline& chain) {
  Vec2 middle = Vec2::Zero();
  for (const Vec2& p : chain) middle += p;
  middle /= static_cast<double>(chain.size());
  double area = 0.0;
  for (std::size_t i = 0; i + 1 < chain.size(); ++i) {
    const Vec2 a = chain[i] - middle;
    const Vec2 b = chain[i + 1] - middle;
    area += a.x() * b.y() - a.y() * b.x();
  }
  return area;
}

}  // namespace

std::vector<Place> places_along(const Polyline& outline, double mm_per_px, double step_mm,
                                double smooth_mm) {
  std::vector<Place> places;
  if (outline.size() < 3) return places;
  const std::vector<double> arc = arcs_of(outline, mm_per_px);
  const double sign = turning(outline) > 0.0 ? 1.0 : -1.0;
  const auto n = static_cast<std::size_t>(std::floor(arc.back() / step_mm)) + 1;
  places.reserve(n);
  for (std::size_t i = 0; i < n; ++i) {
    const double s = step_mm * static_cast<double>(i);
    const double half = 0.5 * smooth_mm;
    const Vec2 tangent = (at_arc(outline, arc, std::min(s + half, arc.back())) -
                          at_arc(outline, arc, std::max(s - half, 0.0)))
                             .normalized();
    places.push_back({at_arc(outline, arc, s), sign * Vec2(tangent.y(), -tangent.x()), s});
  }
  return places;
}

Strip unroll(const Raster& film, const Mask& stem, const Mask& metal, std::vector<Place> places,
             double mm_per_px, const StripReach& reach) {
  Strip strip;
  strip.places = std::move(places);
  strip.first_mm = reach.from_mm;
  strip.pitch_mm = reach.pitch_mm;
  strip.columns = static_cast<int>(std::lround((reach.to_mm - reach.from_mm) / reach.pitch_mm)) + 1;
  const std::size_t size = strip.places.size() * static_cast<std::size_t>(strip.columns);
  strip.values.resize(size, 0.0F);
  strip.seen.resize(size, 0);
  const bool masks = metal.width == film.width && metal.height == film.height &&
                     stem.width == film.width && stem.height == film.height;
  for (std::size_t row = 0; row < strip.places.size(); ++row) {
    const Place& place = strip.places[row];
    for (int c = 0; c < strip.columns; ++c) {
      const Vec2 p = place.edge_px + strip.x_mm(c) / mm_per_px * place.out_px;
      const auto value = sample_cubic(film, p);
      if (!value) continue;
      const std::size_t i = strip.index(row, c);
      strip.values[i] = static_cast<float>(*value);
      const int x = static_cast<int>(std::lround(p.x()));
      const int y = static_cast<int>(std::lround(p.y()));
      const bool hidden = masks && metal.at(x, y) != 0 && stem.at(x, y) == 0;
      strip.seen[i] = hidden ? 0 : 1;
    }
  }
  return strip;
}

}  // namespace tidemark::lucency
