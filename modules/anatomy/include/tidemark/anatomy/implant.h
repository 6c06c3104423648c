#pragma once

#include <optional>
#include <vector>

#include "tidemark/anatomy/landmark.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"

namespace tidemark::anatomy {

/// A circle found on the film. Radius and centre in view px; u are standard uncertainties.
struct FoundCircle {
  Circle2 circle_px;
  double centre_u_px = 0.0;
  double diameter_u_px = 0.0;
  Source source = Source::kFound;
};

/// A line found on the film, with the standard uncertainty of its direction.
struct FoundAxis {
  Line2 line_px;  ///< direction points distally
  Degrees direction_u;
  Source source = Source::kFound;
};

/// Where the outline of a stem ends distally.
enum class StemEnd {
  kTip,
  kFieldBorder  ///< the field ends within the stem, above its tip
};

/// The femoral component and the cup on one film. Everything in px of the hip view
/// (film::as_right_hip): lateral -x, medial +x, distal +y.
struct Implant {
  FoundCircle head;
  std::optional<FoundCircle> cup;
  Polyline outline_px;  ///< of stem body and neck: lateral neck base, shoulder, lateral flank, tip,
                        ///< medial flank, medial neck base; open at the head; sub-pixel
  FoundAxis axis;       ///< centre line of the distal straight part of the stem
  Landmark tip;         ///< where the axis leaves the outline distally: the middle of a flat end
  Landmark shoulder;    ///< most proximal lateral corner of the body
  StemEnd end = StemEnd::kTip;  ///< kFieldBorder: `tip` is where the field ends, with a u of 100 mm
  Vec2 reference_px = Vec2::Zero();  ///< on the axis, 10 mm distal to the level of the shoulder
  Mask stem;                         ///< stem, neck and head
  /// Stem, cup, and other metal that is narrower than 5 mm: wires, letters, staples, thin screws. A
  /// plate is not in it.
  Mask metal;
  double confidence = 0.0;  ///< 0 to 1: how much this looks like a stem with its head
  std::vector<Flag> flags;

  [[nodiscard]] bool shows_tip() const { return end == StemEnd::kTip; }
};

/// From where the film looks at the femur: on a film from its side the head stands over the stem.
enum class LookFrom { kFront, kSide };

struct ImplantOptions {
  std::optional<Millimetres> head_diameter;       ///< of the head, if the user gave it
  std::optional<MillimetresPerPixel> scale_hint;  ///< rough, from DICOM; may be 25 % off
  GivenLandmarks given;                           ///< values that replace found ones
  LookFrom look = LookFrom::kFront;
};

/// Why a film is refused whose field ends within the stem.
inline constexpr const char* kStemLeavesField = "part of the stem lies outside of the film";

/// Finds stem, head and cup of the hip whose lateral side is -x. With both hips replaced on one
/// film, the one whose head lies medial (+x) of its stem is taken; on a film from the side, the
/// most likely. There the shoulder is only where the body ends towards the neck, and with it the
/// reference point: the tip and the axis are what a film from the side shows.
/// @return kCannotTell when no stem with a head is seen; kBadInput when the film is too small.
[[nodiscard]] Expected<Implant> find_implant(const film::FilmImage& hip_view,
                                             const ImplantOptions& options);

/// On the stem's axis, 10 mm distal to the level of the shoulder (docs/design.md). find_implant()
/// sets it by the scale that it assumes; whoever knows the film's scale sets it again.
[[nodiscard]] Vec2 reference_point(const Implant& implant, MillimetresPerPixel scale);

/// Those of the given landmarks that the search itself looks at: the head's.
[[nodiscard]] GivenLandmarks for_search(const GivenLandmarks& given);

/// `found` with tip, shoulder and axis as options.given has them, and the reference point that
/// follows. find_implant ends with this: asked with for_search(given), then this, it says the same,
/// so that nothing is searched again when such a point is moved.
[[nodiscard]] Implant with_given(Implant found, const ImplantOptions& options);

}  // namespace tidemark::anatomy
