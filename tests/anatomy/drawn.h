#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <utility>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/monte_carlo.h"
#include "tidemark/core/raster.h"
#include "tidemark/film/film.h"

/// Films drawn from formulas: every edge is the normal distribution function of the signed distance
/// to an outline, so its 50 % point lies on the outline to any fraction of a pixel.
namespace tidemark::anatomy::drawn {

inline constexpr double kDegree = std::numbers::pi / 180.0;

/// Signed distance to a closed polygon, negative inside.
inline double to_polygon(const Polyline& ring, const Vec2& p) {
  double squared = 1e30;
  bool inside = false;
  for (std::size_t i = 0, j = ring.size() - 1; i < ring.size(); j = i++) {
    const Vec2 edge = ring[j] - ring[i];
    const Vec2 d = p - ring[i];
    const double t = std::clamp(d.dot(edge) / edge.squaredNorm(), 0.0, 1.0);
    squared = std::min(squared, (d - t * edge).squaredNorm());
    const bool crosses = (ring[i].y() > p.y()) != (ring[j].y() > p.y());
    if (crosses && p.x() < edge.x() * (p.y() - ring[i].y()) / edge.y() + ring[i].x()) {
      inside = !inside;
    }
  }
  return inside ? -std::sqrt(squared) : std::sqrt(squared);
}

inline double to_capsule(const Vec2& a, const Vec2& b, double radius, const Vec2& p) {
  const Vec2 edge = b - a;
  const double t = std::clamp((p - a).dot(edge) / edge.squaredNorm(), 0.0, 1.0);
  return (p - a - t * edge).norm() - radius;
}

/// Part of a pixel's grey that an edge of standard deviation `blur` leaves at a signed distance.
inline double covered(double signed_distance, double blur) {
  return 0.5 * std::erfc(signed_distance / (blur * std::numbers::sqrt2));
}

/// One hip in the frame of its stem: mm, x medial, y distal, origin at the stem's reference point,
/// and how it lies on a film.
struct Hip {
  double pitch_mm = 0.3;
  int columns = 660;
  int rows = 960;
  double turn_deg = 0.0;      ///< of everything, clockwise as seen on the film
  Vec2 place_mm{95.0, 95.0};  ///< of the reference point on the film
  double blur_mm = 0.3;
  double noise = 0.0;  ///< standard deviation of each pixel; metal's step is 1.2
  std::uint64_t seed = 1;
  double metal = 1.2;        ///< step of the stem; 0 draws the bone alone
  double bone = 1.0;         ///< 0 draws the implant alone
  double lesser_bump = 9.0;  ///< height of the lesser trochanter, mm
  double lesser_at = 42.0;   ///< its level, mm below the origin
  double tip_radius = 4.0;   ///< of the stem's round end, mm
  double cup_deep = 4.0;     ///< how far beyond a half ball the cup goes on, mm
  double clip = 1e9;         ///< greys above are cut off
  double shaft_deg = -1.5;   ///< shaft axis against the stem's, clockwise as seen on the film

  // Truth.
  Circle2 head{Vec2(40.0, -36.0), 16.0};
  Circle2 cup{Vec2(40.5, -37.5), 27.0};
  Vec2 tip{0.0, 119.0};
  Vec2 shoulder{-12.0, -10.0};

  [[nodiscard]] Rigid2 film_from_stem() const { return {turn_deg * kDegree, place_mm}; }
  [[nodiscard]] Rigid2 stem_from_bone() const {
    const Vec2 pivot(0.0, 60.0);
    const Rigid2 turn{shaft_deg * kDegree, Vec2::Zero()};
    return Rigid2{0.0, pivot}.after(turn).after({0.0, -pivot});
  }
  /// View px of a point in the stem's frame.
  [[nodiscard]] Vec2 px(const Vec2& p) const { return film_from_stem().apply(p) / pitch_mm; }
  /// Point of the film in the stem's frame, mm.
  [[nodiscard]] Vec2 mm(const Vec2& p_px) const {
    return film_from_stem().inverse().apply(pitch_mm * p_px);
  }
  /// Farthest along the shaft, and farthest from it: of the outlines in bone_outline().
  [[nodiscard]] Vec2 greater() const { return stem_from_bone().apply(Vec2(-20.0, -20.0)); }
  [[nodiscard]] Vec2 lesser() const {
    return stem_from_bone().apply(Vec2(14.0 + lesser_bump, lesser_at));
  }
};

/// Body of the stem: straight flanks from 30 mm on, symmetrical about the axis, a round tip.
inline Polyline stem_outline(const Hip& hip) {
  Polyline ring{hip.shoulder, Vec2(-7.0, 30.0)};
  for (int i = 0; i <= 24; ++i) {
    const double a = std::numbers::pi * (1.0 - i / 24.0);
    const double r = hip.tip_radius;
    ring.emplace_back(r * std::cos(a), hip.tip.y() - r + r * std::sin(a));
  }
  ring.emplace_back(7.0, 30.0);
  ring.emplace_back(13.0, 8.0);
  ring.emplace_back(0.0, -13.0);
  return ring;
}

/// Femur in the frame of its shaft (axis x = -1): greater trochanter a circle of 14 mm about
/// (-20, -6), lesser trochanter a bump.
inline Polyline bone_outline(const Hip& hip) {
  Polyline ring;
  for (int a = 30; a >= -90; a -= 4) {
    ring.emplace_back(-20.0 + 14.0 * std::sin(a * kDegree), -6.0 - 14.0 * std::cos(a * kDegree));
  }
  ring.insert(ring.end(), {Vec2(-33.0, 4.0), Vec2(-24.0, 30.0), Vec2(-17.5, 55.0),
                           Vec2(-16.0, 70.0), Vec2(-16.0, 260.0), Vec2(14.0, 260.0)});
  for (int s = static_cast<int>(hip.lesser_at) + 24; s >= hip.lesser_at - 16.0; --s) {
    ring.emplace_back(14.0 + hip.lesser_bump * std::exp(-std::pow((s - hip.lesser_at) / 8.0, 2)),
                      s);
  }
  if (hip.lesser_at > 34.0) ring.emplace_back(17.0, 16.0);
  ring.insert(ring.end(), {Vec2(21.0, 3.0), Vec2(0.0, -2.0)});
  return ring;
}

/// Bone: cortex 6 mm thick, fading inwards, on a filled outline.
inline double bone_grey(const Hip& hip, const Polyline& ring, const Vec2& p) {
  const double d = to_polygon(ring, hip.stem_from_bone().inverse().apply(p));
  return hip.bone * (0.18 * covered(d, 0.5) + 0.30 * (covered(d, 0.5) - covered(d + 6.0, 2.0)));
}

inline double to_head(const Hip& hip, const Vec2& p) {
  return (p - hip.head.centre).norm() - hip.head.radius;
}

/// Signed distance to stem, neck and head together.
inline double to_stem(const Hip& hip, const Polyline& ring, const Vec2& p) {
  const double neck = to_capsule(Vec2(3.0, -4.0), hip.head.centre, 6.0, p);
  return std::min({to_head(hip, p), neck, to_polygon(ring, p)});
}

inline double metal_grey(const Hip& hip, const Polyline& ring, const Vec2& p) {
  const double head = to_head(hip, p);
  const double stem = to_stem(hip, ring, p);
  double grey = covered(stem, hip.blur_mm) + 0.5 * covered(head, hip.blur_mm);
  // A cup is a half ball, open towards the thigh.
  const Vec2 into_pelvis = Vec2(0.55, -0.83).normalized();
  const double shell = std::max((p - hip.cup.centre).norm() - hip.cup.radius,
                                -hip.cup_deep - into_pelvis.dot(p - hip.cup.centre));
  grey += 0.6 * covered(shell, hip.blur_mm);
  return hip.metal * grey;
}

/// Size of the film in mm, at the hip's pitch.
inline Hip sized(Hip hip, double width_mm, double height_mm) {
  hip.columns = static_cast<int>(std::lround(width_mm / hip.pitch_mm));
  hip.rows = static_cast<int>(std::lround(height_mm / hip.pitch_mm));
  return hip;
}

/// The film of a hip: soft tissue, a femur, an implant, grain.
inline film::FilmImage film(const Hip& hip) {
  const Polyline stem = stem_outline(hip);
  const Polyline bone = bone_outline(hip);
  Random random(hip.seed);
  film::FilmImage out;
  out.facts.file = "drawn.png";
  out.pixels = Raster(hip.columns, hip.rows);
  for (int y = 0; y < hip.rows; ++y) {
    for (int x = 0; x < hip.columns; ++x) {
      const Vec2 p = hip.mm(Vec2(x, y));
      double grey = 1.0 + 0.0012 * p.x() + 0.25 * std::exp(-std::pow((p.x() + 5.0) / 70.0, 2));
      if (std::abs(p.x()) < 60.0) grey += bone_grey(hip, bone, p);
      if (hip.metal > 0.0) grey += metal_grey(hip, stem, p);
      if (hip.noise > 0.0) grey += random.normal(0.0, hip.noise);
      out.pixels.at(x, y) = static_cast<float>(std::min(grey, hip.clip));
    }
  }
  return out;
}

}  // namespace tidemark::anatomy::drawn
