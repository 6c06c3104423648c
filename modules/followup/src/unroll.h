#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <vector>

#include "canvas.h"
#include "panel.h"
#include "tidemark/followup/steps.h"

namespace tidemark::followup {

/// How far the straightened film reaches from the metal's edge, mm: into the metal and outwards.
inline constexpr double kInsideMm = 2.5;
inline constexpr double kOutsideMm = 12.0;

/// One place of the interface on the paper.
struct UnrolledPoint {
  double x = 0.0;  ///< canvas px
  int zone = 0;
  const lucency::LinePoint* point = nullptr;
};

/// The interface straightened: down the lateral flank, about the tip and up the medial flank, so
/// that the zones stand in the order of their numbers. Several films of one stem share the places
/// of the stem (lucency::places_on_stem), one above the other.
class Unrolled {
 public:
  /// @param left, right the span on the canvas, px
  Unrolled(const std::vector<const lucency::FilmLucency*>& films, double left, double right);

  /// The points of one film and interface in the order of x; empty runs are left out.
  [[nodiscard]] std::vector<UnrolledPoint> points(const lucency::FilmLucency& film,
                                                  lucency::Interface interface) const;
  /// Where the zones of a film begin and end on the canvas.
  struct ZoneSpan {
    int zone = 0;
    double from = 0.0;
    double to = 0.0;
  };
  [[nodiscard]] std::vector<ZoneSpan> spans(const lucency::FilmLucency& film) const;
  [[nodiscard]] double px_per_mm() const { return px_per_mm_; }

 private:
  struct Span {
    double from = 0.0;  ///< mm on the stem
    double to = 0.0;
    double left = 0.0;  ///< canvas px of its left end
    bool any = false;
  };
  [[nodiscard]] static std::size_t index_of(lucency::Flank flank);
  [[nodiscard]] double x_of(lucency::Flank flank, double at_mm) const;

  std::array<Span, 3> spans_;  ///< lateral, tip, medial
  double px_per_mm_ = 1.0;
};

/// A place of the interface between two points: px of the hip view, and the way out of the metal.
struct EdgePlace {
  Vec2 edge_px = Vec2::Zero();
  Vec2 out_px = Vec2::Zero();
};
/// The place at x of the canvas; nothing beyond the points or where they leave a gap.
[[nodiscard]] std::optional<EdgePlace> place_at(const std::vector<UnrolledPoint>& points, double x,
                                                double px_per_mm);

/// How a film's pixels are shown beside its stem.
[[nodiscard]] Tone strip_tone(const HipFilm& film, const std::vector<UnrolledPoint>& points);

/// The pixels of a film along the interface: one column per canvas px of `box`, the metal below.
/// 0 to 1; kNoFilm where there is none.
[[nodiscard]] Raster straightened(const HipFilm& film, const Tone& tone,
                                  const std::vector<UnrolledPoint>& points, const Box& box);

}  // namespace tidemark::followup
