#include "clutter.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace tidemark::phantom {
namespace {

using Chain = std::vector<Vec3>;

Solid wire_of(const Chain& chain, double radius_mm) {
  return {Layer::kMarker, bar_mesh(chain, radius_mm, 12)};
}

/// A row of staples down the skin lateral of the hip, each a bracket 6 mm wide.
void add_staples(const CaseSpec& spec, int count, std::vector<Solid>& solids) {
  const double z = -0.55 * spec.body.half_depth_mm;
  for (int i = 0; i < count; ++i) {
    const double y = -60.0 + 9.0 * i;
    const double x = -78.0 + 1.5 * std::sin(2.3 * i);
    const double slant = 1.2 * std::sin(1.7 * i);
    const Chain bracket{{x + 1.0, y + 2.5, z + 3.0},
                        {x, y + 2.5 + slant, z},
                        {x + 6.0, y + 2.5 - slant, z},
                        {x + 5.0, y + 2.5, z + 3.0}};
    solids.push_back(wire_of(bracket, 0.35));
  }
}

/// A closed ring about the shaft with a twist of wire at its front.
void add_wires(const CaseSpec& spec, int count, const Rigid3& world_from_femur,
               std::vector<Solid>& solids) {
  const double radius = (spec.femur.shaft_radius_mm + 2.0) * spec.femur.scale;
  for (int i = 0; i < count; ++i) {
    const double y = (18.0 + 22.0 * i) * spec.femur.scale;
    Chain ring;
    for (int j = 0; j <= 48; ++j) {
      const double turn = 2.0 * std::numbers::pi * j / 48.0;
      ring.push_back(world_from_femur.apply(
          {radius * std::cos(turn), y + 2.5 * std::sin(turn), -radius * std::sin(turn) - 1.0}));
    }
    solids.push_back(wire_of(ring, 0.6));
    const Chain twist{world_from_femur.apply({-4, y - 2.0, -radius - 1.5}),
                      world_from_femur.apply({-9, y + 1.0, -radius - 1.0})};
    solids.push_back(wire_of(twist, 1.1));
  }
}

/// The strokes of R or L in a box of 1 x 1, y down.
std::vector<std::vector<Vec2>> strokes(Side side) {
  if (side == Side::kLeft) return {{{0, 0}, {0, 1}, {0.6, 1}}};
  return {{{0, 1}, {0, 0}, {0.45, 0}, {0.62, 0.12}, {0.62, 0.38}, {0.45, 0.5}, {0, 0.5}},
          {{0.3, 0.5}, {0.65, 1}}};
}

/// The letter lies on the detector. A left hip is drawn as a right one and mirrored at the end, so
/// its letter is drawn mirrored.
void add_letter(const CaseSpec& spec, const Beam& beam, std::vector<Solid>& solids) {
  const double size = 16.0 / beam.pixel_pitch.value;
  const Vec2 corner(0.06 * beam.columns, 0.06 * beam.rows);
  for (const auto& stroke : strokes(spec.side)) {
    Chain chain;
    for (const Vec2& p : stroke) {
      const double x = spec.side == Side::kLeft ? 0.65 - p.x() : p.x();
      chain.push_back(beam.on_detector(corner + size * Vec2(x, p.y())) - Vec3(0, 0, 3.0));
    }
    solids.push_back(wire_of(chain, 1.3));
  }
}

}  // namespace

std::vector<Solid> clutter_solids(const CaseSpec& spec, const FilmSpec& film,
                                  const Rigid3& world_from_femur) {
  std::vector<Solid> solids;
  add_staples(spec, film.clutter.staples, solids);
  add_wires(spec, film.clutter.wires, world_from_femur, solids);
  if (film.clutter.letter) add_letter(spec, film.beam, solids);
  return solids;
}

double shutter_at(const FilmSpec& film, const Vec2& p_px) {
  if (!film.clutter.collimation) return 1.0;
  const Collimation& c = *film.clutter.collimation;
  const Vec2 middle(0.5 * (film.beam.columns - 1), 0.5 * (film.beam.rows - 1));
  const Rigid2 shutter_from_film{-c.turn.value * std::numbers::pi / 180.0, Vec2::Zero()};
  const Vec2 p = shutter_from_film.apply(film.beam.pixel_pitch.value * (p_px - middle));
  constexpr double kPenumbra = 2.0;  // mm
  const auto part = [&](double inside_mm) {
    return std::clamp(0.5 + inside_mm / kPenumbra, 0.0, 1.0);
  };
  return part(c.half_width.value - std::abs(p.x())) * part(c.half_height.value - std::abs(p.y()));
}

}  // namespace tidemark::phantom
