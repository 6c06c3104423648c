#pragma once

#include <string>

namespace tidemark {

/// Side of the patient's body.
enum class Side { kRight, kLeft };

[[nodiscard]] constexpr Side opposite(Side side) {
  return side == Side::kRight ? Side::kLeft : Side::kRight;
}

/// As sentences say it: "right" or "left".
[[nodiscard]] inline std::string word_of(Side side) {
  return side == Side::kRight ? "right" : "left";
}

/// View of a projection radiograph.
enum class View { kAp, kPa, kLateral, kOther };

/// How a stem is held in the bone.
enum class Fixation { kCemented, kUncemented };

/// How a cemented stem carries its load: a polished taper settles in its mantle by design
/// (force-closed), a composite beam is meant to stay fixed to it (shape-closed). Thresholds of one
/// mean nothing for the other.
enum class CementPrinciple { kPolishedTaper, kCompositeBeam };

/// Where a value comes from.
enum class Source { kFound, kGiven };  ///< found on the film | given by the user in the sheet

}  // namespace tidemark
