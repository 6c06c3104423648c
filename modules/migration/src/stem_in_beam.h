#pragma once

#include "tidemark/migration/pose.h"

namespace tidemark::migration {

/// A stem with its head as a figure of points in the femur's own axes: what a plain film fixes of
/// it once the pose is known.
struct StemFigure {
  double offset_mm = 0.0;        ///< head's centre from the stem's axis, in the plane of the neck
  double shoulder_mm = 0.0;      ///< shoulder off the axis in that plane, away from the head
  double level_mm = 0.0;         ///< shoulder distal of the head's centre, along the axis
  double length_mm = 0.0;        ///< shoulder to tip along the axis
  double anteversion_rad = 0.0;  ///< of the plane of the neck: head towards the tube +
};

/// How a leg lies under the beam.
struct LegInBeam {
  double flexion_rad = 0.0;           ///< knee towards the tube +
  double rotation_rad = 0.0;          ///< internal +
  Vec2 head_mm = Vec2::Zero();        ///< head's centre from the beam's axis: (medial, distal)
  double source_mm = kSourceToHipMm;  ///< from the focus to the plane of the head's centre
};

/// What a beam shows of a figure: the distances of StemLook, by the same names.
struct BeamLook {
  double head_medial_mm = 0.0;
  double head_from_shoulder_mm = 0.0;
  double length_mm = 0.0;
};

/// Cone-beam projection of the figure, told in mm of the plane of the head's centre (where the
/// head's diameter gives the scale), in the axes of the stem's shadow between a fifth and nine
/// tenths of its length. Rotation about the leg's length first, then flexion about the head's
/// centre. (Derived.)
[[nodiscard]] BeamLook look_in_beam(const StemFigure& stem, const LegInBeam& leg);

/// Apparent length of what is 1 mm long along the stem's axis at `below_shoulder_mm`.
[[nodiscard]] double apparent_length(const StemFigure& stem, const LegInBeam& leg,
                                     double below_shoulder_mm);

/// The figure that, in this pose, looks as seen; anteversion is given.
[[nodiscard]] StemFigure figure_of(const StemLook& seen, const LegInBeam& leg,
                                   double anteversion_rad);

/// What goes from the one pose to the other, of a point beside this stem; its probability is left
/// 0.
[[nodiscard]] PoseDraw pose_between(const StemFigure& stem, const LegInBeam& reference,
                                    const LegInBeam& follow_up);

}  // namespace tidemark::migration
