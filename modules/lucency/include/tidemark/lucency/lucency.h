#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/anatomy/femur.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/lucency/zones.h"

namespace tidemark::lucency {

/// The border along which a line lies.
enum class Interface { kStemBone, kStemCement, kCementBone };

/// What is said of one zone. `kNotSeen`: the zone is outside of the field or covered.
enum class State { kPresent, kAbsent, kCannotTell, kNotSeen };

/// Answer to a yes-or-no question.
enum class Answer { kYes, kNo, kCannotTell };

/// One place along an interface.
struct LinePoint {
  Vec2 edge_px = Vec2::Zero();  ///< on the stem's outline, px of the hip view
  Vec2 out_px = Vec2::Zero();   ///< away from the stem, length 1
  Millimetres along;            ///< along the stem axis from the entry level, distal +
  Millimetres arc;  ///< along the outline from the zone's first point; orders places in zone 4
  State state = State::kCannotTell;
  /// Width of the dark line across the interface; absent unless the state is kPresent.
  std::optional<Measured<Millimetres>> width;
  /// Where the line begins, from the metal's edge: 0 at the stem, the mantle's thickness at the
  /// border of cement to bone.
  Millimetres start;
  /// How much darker than the bone beyond, as a share of the step from that bone to the metal.
  double depth = 0.0;
  double depth_u = 0.0;
  Answer rim = Answer::kCannotTell;  ///< a bright (sclerotic) rim beside the line
};

/// What one interface shows in one zone.
struct ZoneLine {
  int zone = 0;
  Interface interface = Interface::kStemBone;
  State state = State::kNotSeen;
  std::string reason;                               ///< one sentence when cannot_tell or not_seen
  std::optional<Measured<Millimetres>> width_max;   ///< when present
  std::optional<Measured<Millimetres>> width_mean;  ///< over its length, when present
  std::optional<Measured<Millimetres>> length;      ///< along the interface, when present
  double fraction = 0.0;                            ///< length / length of the zone's seen part
  double seen = 0.0;                                ///< share of the zone that could be judged
  std::optional<Measured<double>> depth;            ///< mean of its points, when present
  Answer rim = Answer::kCannotTell;
  std::vector<LinePoint> points;  ///< pitch at most 0.5 mm, along the zone's interface_px
};

/// What the room's processing does to the edge of metal, learnt on this film where no bone is.
struct EdgeResponse {
  Millimetres blur;        ///< standard deviation of the edge
  double halo = 0.0;       ///< depth of the dark overshoot beside metal, as a share of the step
  Millimetres halo_reach;  ///< distance at which the overshoot has fallen to a tenth
  int edges = 0;           ///< independent places on neck and head from which it was learnt
};

/// Radiolucent lines of one film.
struct FilmLucency {
  ZonePlan plan;
  std::optional<EdgeResponse> edge;  ///< absent when no edge without bone was seen
  std::vector<ZoneLine> lines;       ///< by zone; cemented stems have two interfaces a zone
  std::vector<Flag> flags;           ///< the plan's among them
};

struct LucencyOptions {
  MillimetresPerPixel scale;  ///< in the plane of the stem
  View view = View::kAp;
  std::optional<Fixation> fixation;  ///< absent is measured as uncemented, with a flag
  /// Where the stem enters the bone, placed by hand; absent: looked for on the film.
  std::optional<Vec2> entry_px = {};
  InnerBorders inner_borders = {};  ///< placed by hand
};

/// Looks along the stem's outline for dark lines, zone by zone.
/// @return kBadInput when the scale is not positive; kCannotTell as divide().
[[nodiscard]] Expected<FilmLucency> measure(const film::FilmImage& hip_view,
                                            const anatomy::Implant& implant,
                                            const LucencyOptions& options);

}  // namespace tidemark::lucency
