#include "unroll.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "tidemark/core/sampling.h"

namespace tidemark::followup {
namespace {

using lucency::FilmLucency;
using lucency::Flank;
using lucency::ZoneLine;

constexpr double kFlankGapPx = 16.0;  ///< between the flanks and the tip
/// Points further apart than this are not joined, mm: three times their pitch.
constexpr double kJoinMm = 1.5;

std::optional<Flank> flank_of(const FilmLucency& film, int number) {
  for (const lucency::Zone& zone : film.plan.zones) {
    if (zone.number == number) return zone.flank;
  }
  return {};
}

}  // namespace

std::size_t Unrolled::index_of(Flank flank) {
  return flank == Flank::kLateral ? 0U : flank == Flank::kTip ? 1U : 2U;
}

Unrolled::Unrolled(const std::vector<const FilmLucency*>& films, double left, double right) {
  for (const FilmLucency* film : films) {
    for (const ZoneLine& line : film->lines) {
      const auto flank = flank_of(*film, line.zone);
      if (!flank) continue;
      Span& span = spans_.at(index_of(*flank));
      for (const Millimetres at : lucency::places_on_stem(*film, line)) {
        span.from = span.any ? std::min(span.from, at.value) : at.value;
        span.to = span.any ? std::max(span.to, at.value) : at.value;
        span.any = true;
      }
    }
  }
  double length = 0.0;
  for (const Span& span : spans_) length += span.to - span.from;
  px_per_mm_ = (right - left - 2.0 * kFlankGapPx) / std::max(1.0, length);
  for (Span& span : spans_) {
    span.left = left;
    left += (span.to - span.from) * px_per_mm_ + kFlankGapPx;
  }
}

double Unrolled::x_of(Flank flank, double at_mm) const {
  const Span& span = spans_.at(index_of(flank));
  // The medial flank is walked upwards.
  const double way = flank == Flank::kMedial ? span.to - at_mm : at_mm - span.from;
  return span.left + way * px_per_mm_;
}

std::vector<UnrolledPoint> Unrolled::points(const FilmLucency& film,
                                            lucency::Interface interface) const {
  std::vector<UnrolledPoint> out;
  for (const ZoneLine& line : film.lines) {
    const auto flank = flank_of(film, line.zone);
    if (!flank || line.interface != interface) continue;
    const auto at = lucency::places_on_stem(film, line);
    for (std::size_t i = 0; i < at.size(); ++i) {
      out.push_back({x_of(*flank, at[i].value), line.zone, &line.points[i]});
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.x < b.x; });
  return out;
}

std::vector<Unrolled::ZoneSpan> Unrolled::spans(const FilmLucency& film) const {
  std::vector<ZoneSpan> out;
  if (film.lines.empty()) return out;
  for (const UnrolledPoint& p : points(film, film.lines.front().interface)) {
    const auto found = std::find_if(out.begin(), out.end(),
                                    [&](const ZoneSpan& span) { return span.zone == p.zone; });
    if (found == out.end()) {
      out.push_back({p.zone, p.x, p.x});
    } else {
      found->to = p.x;  // in the order of x
    }
  }
  std::sort(out.begin(), out.end(),
            [](const auto& a, const auto& b) { return a.from + a.to < b.from + b.to; });
  return out;
}

std::optional<EdgePlace> place_at(const std::vector<UnrolledPoint>& points, double x,
                                  double px_per_mm) {
  const auto right =
      std::find_if(points.begin(), points.end(), [&](const UnrolledPoint& p) { return p.x >= x; });
  if (right == points.begin() || right == points.end()) return {};
  const auto left = right - 1;
  const lucency::LinePoint& a = *left->point;
  const lucency::LinePoint& b = *right->point;
  if ((b.edge_px - a.edge_px).norm() > kJoinMm * px_per_mm) return {};
  const double share = (x - left->x) / std::max(1e-9, right->x - left->x);
  return EdgePlace{(1.0 - share) * a.edge_px + share * b.edge_px,
                   ((1.0 - share) * a.out_px + share * b.out_px).normalized()};
}

Tone strip_tone(const HipFilm& film, const std::vector<UnrolledPoint>& points) {
  Polyline edge;
  for (const UnrolledPoint& p : points) edge.push_back(p.point->edge_px);
  if (edge.empty()) return {};
  return tone_of(film.hip_view, film.implant.metal,
                 box_around(edge, kOutsideMm / film.scale.value.value));
}

Raster straightened(const HipFilm& film, const Tone& tone, const std::vector<UnrolledPoint>& points,
                    const Box& box) {
  Raster out(static_cast<int>(box.width), static_cast<int>(box.height), kNoFilm);
  const double px_per_mm = 1.0 / film.scale.value.value;
  const double mm_per_row = (kInsideMm + kOutsideMm) / box.height;
  for (int x = 0; x < out.width; ++x) {
    const auto place = place_at(points, box.x + x + 0.5, px_per_mm);
    if (!place) continue;
    for (int y = 0; y < out.height; ++y) {
      const double mm = kOutsideMm - (y + 0.5) * mm_per_row;
      const auto value =
          sample_linear(film.hip_view.pixels, place->edge_px + mm * px_per_mm * place->out_px);
      if (value) out.at(x, y) = static_cast<float>(tone(*value));
    }
  }
  return out;
}

}  // namespace tidemark::followup
