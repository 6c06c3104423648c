#pragma once

#include "tidemark/core/hip.h"

namespace tidemark {

// How a hip usually lies before the beam, which a plain film does not show: one place for all that
// reckon with it. Common practice or house choice unless a source is named.

/// From the tube's focus to the hip: 1,150 mm to the detector, the hip 180 mm above it.
inline constexpr double kSourceToHipMm = 970.0;
/// How far along the leg the beam may be centred from the middle of the picture: scale of Student's
/// t with 4 degrees of freedom, whose standard deviation is sqrt(2) times that.
inline constexpr double kBeamShiftMm = 20.0;
/// Anteversion of the stem's neck against the film's plane: 10 to 20 degrees are aimed at, less the
/// inward rotation of the leg; mean and standard deviation.
inline constexpr double kAnteversionDeg = 12.0;
inline constexpr double kAnteversionSpreadDeg = 8.0;
/// Offset of the head from the stem's axis: mean and standard deviation (Noble et al., Clin Orthop
/// 235 (1988) 148: 43.0 and 6.8 mm; from memory).
inline constexpr double kOffsetMm = 43.0;
inline constexpr double kOffsetSpreadMm = 7.0;
/// Flexion of the femur out of the film's plane, on films of usual care.
inline constexpr double kFlexionDeg = 4.0;
/// The same on films of the least care that is reckoned with (docs/design.md: standard deviations
/// of 3 to 8 degrees).
inline constexpr double kFlexionOfLeastCareDeg = 8.0;
/// Lean of the stem against the line from hip to knee in the sagittal plane: bow of the femur and
/// seat of the stem in it.
inline constexpr double kBowAndSeatDeg = 5.0;

/// What lies before the stem lies towards the tube: +1; on a film taken from behind away from it:
/// -1. In the axes of such a film, z towards the tube, anteversion, depths and leans of a hip have
/// the other sign (derived).
[[nodiscard]] constexpr double front_towards_tube(View view) {
  return view == View::kPa ? -1.0 : 1.0;
}

}  // namespace tidemark
