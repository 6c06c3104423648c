#include <algorithm>
#include <cmath>
#include <iterator>

#include "panel.h"
#include "unroll.h"
#include "working.h"

namespace tidemark::followup {
namespace {

constexpr double kColumns = 1200.0;  ///< a stem of 150 mm, there and back: 4 px a mm
constexpr double kRows = 88.0;       ///< 6 px a mm across, where lines are thin

/// The more there is to look at, the higher: a line at any interface of a place is told.
int rank_of(lucency::State state) {
  switch (state) {
    case lucency::State::kPresent:
      return 3;
    case lucency::State::kCannotTell:
      return 2;
    case lucency::State::kAbsent:
      return 1;
    case lucency::State::kNotSeen:
      break;
  }
  return 0;
}

/// What is said of each column: of the point that is the nearest, where one is near. `points` in
/// the order of x.
void take_states(const std::vector<UnrolledPoint>& points, double reach_px, UnrolledStrip& out) {
  for (std::size_t column = 0; column < out.state.size(); ++column) {
    if (!out.edge_px[column]) continue;
    const double x = static_cast<double>(column) + 0.5;
    auto nearest = std::lower_bound(points.begin(), points.end(), x,
                                    [](const UnrolledPoint& p, double at) { return p.x < at; });
    const auto away = [x](const UnrolledPoint& p) { return std::abs(p.x - x); };
    const bool left = nearest != points.begin() &&
                      (nearest == points.end() || away(*std::prev(nearest)) <= away(*nearest));
    if (left) --nearest;
    if (nearest == points.end() || away(*nearest) > reach_px) continue;
    lucency::State& state = out.state[column];
    if (rank_of(nearest->point->state) > rank_of(state)) state = nearest->point->state;
  }
}

/// The film's pixels and where each column lies on the stem.
UnrolledStrip strip_of(const HipFilm& film, std::size_t index, const Unrolled& unrolled) {
  const lucency::FilmLucency& lines = *film.lucency;
  const auto points = unrolled.points(lines, lines.lines.front().interface);
  const Box box{0.0, 0.0, kColumns, kRows};
  const Raster grey = straightened(film, strip_tone(film, points), points, box);
  UnrolledStrip out;
  out.film = index;
  out.grey = RasterOf<std::uint8_t>(grey.width, grey.height);
  std::transform(grey.values.begin(), grey.values.end(), out.grey.values.begin(), [](float v) {
    return static_cast<std::uint8_t>(std::lround(255.0 * std::clamp<double>(v, 0.0, 1.0)));
  });
  for (int x = 0; x < grey.width; ++x) {
    const auto place = place_at(points, x + 0.5, 1.0 / film.scale.value.value);
    out.edge_px.push_back(
        place ? std::optional(film.hip_view.stored_from_view.apply(place->edge_px)) : std::nullopt);
  }
  out.state.assign(out.edge_px.size(), lucency::State::kNotSeen);
  using lucency::Interface;
  for (const auto interface :
       {Interface::kStemBone, Interface::kStemCement, Interface::kCementBone}) {
    take_states(unrolled.points(lines, interface), unrolled.px_per_mm(), out);
  }
  return out;
}

}  // namespace

std::optional<UnrolledFilm> unroll_film(const ZonePages& films, std::size_t film,
                                        std::optional<std::size_t> reference) {
  const auto has_lines = [](const HipFilm& hip) {
    return hip.lucency && !hip.lucency->lines.empty();
  };
  if (!has_lines(films.film)) return {};
  const bool both = reference && films.reference != nullptr && has_lines(*films.reference);
  std::vector<const lucency::FilmLucency*> lines{&*films.film.lucency};
  if (both) lines.insert(lines.begin(), &*films.reference->lucency);
  const Unrolled unrolled(lines, 0.0, kColumns);
  UnrolledFilm out;
  out.px_per_mm = unrolled.px_per_mm();
  if (both) out.strips.push_back(strip_of(*films.reference, *reference, unrolled));
  out.strips.push_back(strip_of(films.film, film, unrolled));
  for (const auto& span : unrolled.spans(*films.film.lucency)) {
    out.zones.push_back({span.zone, span.from, span.to});
  }
  return out;
}

}  // namespace tidemark::followup
