#include "stem_in_beam.h"

#include <Eigen/Core>
#include <cmath>

namespace tidemark::migration {
namespace {

/// Points of the stem's plane into the shadow: built once for a figure in a pose, since millions of
/// poses are tried.
class Shadow {
 public:
  Shadow(const StemFigure& stem, const LegInBeam& leg)
      : offset_(stem.offset_mm),
        across_(std::cos(stem.anteversion_rad - leg.rotation_rad)),
        depth_(std::sin(stem.anteversion_rad - leg.rotation_rad)),
        cos_(std::cos(leg.flexion_rad)),
        sin_(std::sin(leg.flexion_rad)),
        leg_(leg) {}

  /// Shadow of the point `medial` of the axis in the stem's plane and `distal` of the head's level,
  /// from the shadow of the head's centre.
  [[nodiscard]] Vec2 of(double medial, double distal) const {
    const double off = medial - offset_;
    const double z = off * depth_;  // towards the tube
    const Vec2 flat(off * across_, distal * cos_ - z * sin_);
    const double towards = z * cos_ + distal * sin_;
    const double magnified = leg_.source_mm / (leg_.source_mm - towards);
    return magnified * (flat + leg_.head_mm) - leg_.head_mm;
  }

 private:
  double offset_, across_, depth_, cos_, sin_;
  const LegInBeam& leg_;
};

/// What one film does to the coordinates of a point beside the stem: the terms of PoseDraw.
struct Shown {
  double by_flexion, by_turn, by_roll, width, bent, twisted;
};

constexpr double kBelow = 10.0;  // mm: the reference point's place on the stem (docs/design.md)

Shown shown_by(const StemFigure& stem, const LegInBeam& leg) {
  const double sin_f = std::sin(leg.flexion_rad);
  const double cos_f = std::cos(leg.flexion_rad);
  const double sin_r = std::sin(leg.rotation_rad);
  const double cos_r = std::cos(leg.rotation_rad);
  const double level = stem.level_mm + kBelow;
  const double open = stem.anteversion_rad - leg.rotation_rad;
  const double before_flexion = -stem.offset_mm * std::sin(open);  // towards the tube
  const double towards = before_flexion * cos_f + level * sin_f;
  const double magnified = 1.0 + towards / leg.source_mm;
  const double x = (leg.head_mm.x() - stem.offset_mm * std::cos(open)) / leg.source_mm;
  const double y = (leg.head_mm.y() + level * cos_f - before_flexion * sin_f) / leg.source_mm;
  const double lifted = magnified * sin_f - y * cos_f;
  return {.by_flexion = cos_r * lifted,
          .by_turn = sin_r * lifted + x * sin_f,
          .by_roll = magnified * sin_r + x * cos_r * cos_f,
          .width = magnified * cos_r - x * sin_r,
          .bent = sin_f * cos_f / leg.source_mm,
          .twisted = sin_r / leg.source_mm};
}

}  // namespace

BeamLook look_in_beam(const StemFigure& stem, const LegInBeam& leg) {
  const Shadow shadow(stem, leg);
  const Vec2 above = shadow.of(0.0, stem.level_mm + 0.2 * stem.length_mm);
  const Vec2 below = shadow.of(0.0, stem.level_mm + 0.9 * stem.length_mm);
  const Vec2 distal = (below - above).normalized();
  const Vec2 medial(distal.y(), -distal.x());
  const Vec2 shoulder = shadow.of(-stem.shoulder_mm, stem.level_mm);
  const Vec2 tip = shadow.of(0.0, stem.level_mm + stem.length_mm);
  return {.head_medial_mm = -above.dot(medial),
          .head_from_shoulder_mm = -shoulder.dot(distal),
          .length_mm = (tip - shoulder).dot(distal)};
}

double apparent_length(const StemFigure& stem, const LegInBeam& leg, double below_shoulder_mm) {
  constexpr double kSpan = 20.0;  // mm; short against the stem, long against rounding
  const Shadow shadow(stem, leg);
  const double middle = stem.level_mm + below_shoulder_mm;
  return (shadow.of(0.0, middle + kSpan) - shadow.of(0.0, middle - kSpan)).norm() / (2.0 * kSpan);
}

StemFigure figure_of(const StemLook& seen, const LegInBeam& leg, double anteversion_rad) {
  const double across = std::cos(anteversion_rad - leg.rotation_rad);
  StemFigure stem{.offset_mm = seen.head_medial_mm / across,
                  .shoulder_mm = -seen.shoulder_medial_mm / across,
                  .level_mm = -seen.head_from_shoulder_mm,
                  .length_mm = seen.length_mm,
                  .anteversion_rad = anteversion_rad};
  // Each distance depends on its own size nearly alone: three steps leave less than a micrometre.
  for (int step = 0; step < 3; ++step) {
    const BeamLook look = look_in_beam(stem, leg);
    stem.offset_mm += (seen.head_medial_mm - look.head_medial_mm) / across;
    stem.level_mm -= seen.head_from_shoulder_mm - look.head_from_shoulder_mm;
    stem.length_mm += seen.length_mm - look.length_mm;
  }
  return stem;
}

PoseDraw pose_between(const StemFigure& stem, const LegInBeam& reference,
                      const LegInBeam& follow_up) {
  const Shown before = shown_by(stem, reference);
  const Shown after = shown_by(stem, follow_up);
  return {
      .flexion = before.by_flexion - after.by_flexion,
      .turned = before.by_turn - after.by_turn,
      .stretch =
          apparent_length(stem, follow_up, kBelow) / apparent_length(stem, reference, kBelow) - 1.0,
      .rolled = after.by_roll - before.by_roll,
      .narrowed = after.width - before.width,
      .bent = before.bent - after.bent,
      .twisted = after.twisted - before.twisted,
      .probability = 0.0};
}

}  // namespace tidemark::migration
