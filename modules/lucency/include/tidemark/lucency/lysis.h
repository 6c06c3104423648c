#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"
#include "tidemark/lucency/lucency.h"

namespace tidemark::lucency {

// Focal loss of bone beside the stem (osteolysis that is no line). A single film cannot tell it
// from the canal or from bone that is thin: it is looked for on two films laid on each other bone
// on bone, as an area that has become darker. Definition, limits and sources: docs/lucency.md,
// "Focal lysis".

using SquareMillimetres = Quantity<struct SquareMillimetreUnit>;

/// What became of the bone beside the stem in one zone since the reference film.
struct ZoneLysis {
  int zone = 0;
  State state = State::kCannotTell;
  std::string reason;  ///< one sentence when cannot_tell or not_seen
  /// Where the bone has become darker by at least half of the depth, in the plane of the stem: the
  /// hole itself may reach farther, also behind and before the metal. When present.
  std::optional<Measured<SquareMillimetres>> area;
  /// Greatest darkening, as a share of the step from the soft tissue beside the femur to the bone
  /// beside the stem's lower part. When present.
  std::optional<Measured<double>> depth;
  std::optional<Vec2> middle_px;  ///< of the area, px of the follow-up's hip view; when present
  double seen = 0.0;              ///< share of the bone beside the stem that both films show
};

/// One film of a pair.
struct LysisFilm {
  const film::FilmImage& hip_view;
  const anatomy::Implant& implant;
  const anatomy::Femur& femur;
  const ZonePlan& plan;
  MillimetresPerPixel scale;
};

/// Looks for new areas of lost bone in the zones of both flanks; about the tip it is always left
/// open.
/// @param follow_from_reference px of the hip views, bone on bone
[[nodiscard]] std::vector<ZoneLysis> compare_lysis(const LysisFilm& reference,
                                                   const LysisFilm& follow_up,
                                                   const Affine2& follow_from_reference);

}  // namespace tidemark::lucency
