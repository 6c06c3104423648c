#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "parts.h"

namespace tidemark::phantom {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;
constexpr int kSegments = 72;       // of a section of the stem
constexpr double kFillet = 2.0;     // mm, radius of the shoulder's corner
constexpr double kNeckRoot = 21.0;  // mm below the shoulder where the neck's axis meets the stem's

/// A level section of the stem: extent from lateral to medial, half depth, and the exponent of its
/// superellipse (2 = ellipse, great = rectangle).
struct Section {
  double y;
  double lateral;
  double medial;
  double half_depth;
  double exponent;
};

double taper(double at_shoulder, double at_tip, double y, const StemShape& s) {
  return at_shoulder + (at_tip - at_shoulder) * std::clamp(y / s.length_mm, 0.0, 1.0);
}

/// Section of the neck, cut level; `y` at or above the shoulder.
Section neck_section(const StemShape& s, double y) {
  const double slope = -std::tan(s.neck_angle_deg * kRad);  // medial per proximal
  const double middle = (kNeckRoot - y) * slope;
  const double half = s.neck_radius_mm / -std::cos(s.neck_angle_deg * kRad);
  return {y, middle - half, middle + half, s.neck_radius_mm, 2.0};
}

Section body_section(const StemShape& s, double y) {
  const double half = taper(s.half_width_mm, s.tip_half_width_mm, y, s);
  const double flare = std::max(0.0, 1.0 - y / s.flare_length_mm);
  const double curve = std::max(0.0, 1.0 - y / s.medial_length_mm);
  // The medial curve starts where the neck's underside ends, with the same slope.
  const double reach = neck_section(s, 0.0).medial - s.half_width_mm;
  const double slope = -std::tan(s.neck_angle_deg * kRad);
  const double power = slope * s.medial_length_mm / reach;
  double lateral = -half - s.flare_mm * flare * flare;
  if (y < kFillet) lateral += kFillet - std::sqrt(kFillet * kFillet - std::pow(kFillet - y, 2.0));
  Section section{y, lateral, half + reach * std::pow(curve, power),
                  taper(s.half_depth_mm, s.tip_half_depth_mm, y, s), 4.0};
  const double round = s.tip_half_width_mm;
  const double into_tip = (y - (s.length_mm - round)) / round;
  if (into_tip > 0.0) {
    const double shrink = std::sqrt(std::max(1e-6, 1.0 - into_tip * into_tip));
    section.lateral *= shrink;
    section.medial *= shrink;
    section.half_depth *= shrink;
  }
  return section;
}

std::vector<Vec3> ring_of(const Section& section) {
  std::vector<Vec3> ring;
  const double middle = 0.5 * (section.lateral + section.medial);
  const double half = 0.5 * (section.medial - section.lateral);
  const auto power = [&](double c) {
    return std::copysign(std::pow(std::abs(c), 2.0 / section.exponent), c);
  };
  for (int j = 0; j < kSegments; ++j) {
    const double turn = 2.0 * std::numbers::pi * j / kSegments;
    ring.emplace_back(middle + half * power(std::cos(turn)), section.y,
                      -section.half_depth * power(std::sin(turn)));
  }
  return ring;
}

Section any_section(const StemShape& shape, double y) {
  return y < 0.0 ? neck_section(shape, y) : body_section(shape, y);
}

/// Levels of the body from the shoulder to the tip, close together where it bends.
std::vector<double> body_levels(const StemShape& s) {
  std::vector<double> levels;
  for (int i = 0; i <= 36; ++i) {
    levels.push_back(kFillet * (1.0 - std::cos(0.5 * std::numbers::pi * i / 36)));
  }
  const double round_from = s.length_mm - s.tip_half_width_mm;
  while (levels.back() + 1.0 < round_from) levels.push_back(levels.back() + 1.0);
  for (int i = 0; i <= 24; ++i) {
    levels.push_back(round_from + s.tip_half_width_mm * std::sin(0.5 * std::numbers::pi * i / 24));
  }
  return levels;
}

}  // namespace

FlankX flanks_at(const StemShape& shape, double y) {
  const Section section = any_section(shape, y);
  return {section.lateral, section.medial};
}

double half_depth_at(const StemShape& shape, double y) { return any_section(shape, y).half_depth; }

std::vector<Vec3> section_at(const StemShape& shape, double y) {
  return ring_of(any_section(shape, y));
}

StemModel build_stem(const StemShape& shape) {
  StemModel stem;
  const double run = shape.head_offset_mm / std::sin(shape.neck_angle_deg * kRad);
  stem.head_centre = {shape.head_offset_mm, kNeckRoot + run * std::cos(shape.neck_angle_deg * kRad),
                      0.0};
  std::vector<std::vector<Vec3>> rings;
  for (int i = 0; i <= 20; ++i) {
    rings.push_back(ring_of(neck_section(shape, stem.head_centre.y() * (1.0 - i / 20.0))));
  }
  for (const double y : body_levels(shape)) rings.push_back(ring_of(body_section(shape, y)));
  stem.mesh = swept_mesh(rings);
  stem.tip = {0.0, shape.length_mm, 0.0};
  // The corner of the fillet that faces proximally and laterally.
  const double level = kFillet * (1.0 - std::sqrt(0.5));
  stem.shoulder = {body_section(shape, level).lateral, level, 0.0};
  stem.axis_from_mm = shape.medial_length_mm;
  stem.axis_to_mm = shape.length_mm - shape.tip_half_width_mm;
  return stem;
}

bool stem_holds(const StemShape& shape, const Vec3& p_in_stem) {
  if (p_in_stem.y() < 0.0 || p_in_stem.y() > shape.length_mm) return false;
  const Section section = body_section(shape, p_in_stem.y());
  return p_in_stem.x() > section.lateral && p_in_stem.x() < section.medial &&
         std::abs(p_in_stem.z()) < section.half_depth;
}

CupModel build_cup(const CupShape& shape, double head_radius_mm) {
  const double i = shape.inclination_deg * kRad;
  const double v = shape.anteversion_deg * kRad;
  const Vec3 opening(-std::sin(i) * std::cos(v), std::cos(i) * std::cos(v), -std::sin(v));
  const Vec3 side = opening.unitOrthogonal();
  const Vec3 up = opening.cross(side);
  const auto ring = [&](double radius, double height) {
    std::vector<Vec3> points;
    constexpr int kRound = 160;
    for (int j = 0; j < kRound; ++j) {
      const double turn = 2.0 * std::numbers::pi * j / kRound;
      points.push_back(height * opening + radius * (std::cos(turn) * side + std::sin(turn) * up));
    }
    return points;
  };
  const double outer = 0.5 * shape.outer_diameter_mm;
  const double inner = std::max(outer - shape.shell_mm, head_radius_mm + 3.0);
  constexpr int kSteps = 64;
  std::vector<std::vector<Vec3>> shell;
  for (int n = 0; n <= kSteps; ++n) {
    const double polar = 0.5 * std::numbers::pi * (n + 0.02) / (kSteps + 0.02);
    shell.push_back(ring(outer * std::sin(polar), -outer * std::cos(polar)));
  }
  std::vector<std::vector<Vec3>> liner;
  for (int n = 0; n <= kSteps; ++n) {
    const double polar = 0.5 * std::numbers::pi * (n + 0.02) / (kSteps + 0.02);
    liner.push_back(ring(inner * std::sin(polar), -inner * std::cos(polar)));
  }
  shell.insert(shell.end(), liner.rbegin(), liner.rend());
  liner.push_back(ring(inner, 1.5));
  return {swept_mesh(shell), swept_mesh(liner)};
}

}  // namespace tidemark::phantom
