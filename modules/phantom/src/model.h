#pragma once

#include <optional>
#include <vector>

#include "parts.h"
#include "tidemark/phantom/film.h"

namespace tidemark::phantom {

struct Model {
  FemurModel femur;
  std::optional<FemurModel> other_femur;  ///< of the other hip, as if it were a right one
  StemShape stem_shape;                   ///< as used: fitted to the canal of a bone from a surface
  StemModel stem;
  ScalarGrid stem_distance;  ///< see gap.h; empty unless the case has something beside its stem
  CupModel cup;
  TriangleMesh head;  ///< stem frame
  PelvisModel pelvis;
  std::vector<Solid> body;
  double mid_x = kHipFromMidline;  ///< middle of the body, world frame
  Rigid3 femur_from_seat;          ///< femur from stem as seated at surgery
};

/// Femur from stem after a motion.
[[nodiscard]] Rigid3 femur_from_stem(const Model& model, const Motion& motion);

/// World from femur: the head's centre (after the motion) stands in the cup's.
[[nodiscard]] Rigid3 world_from_femur(const Model& model, const FilmSpec& film);

/// make_truth() as of a right hip's film, whatever side the case has.
[[nodiscard]] FilmTruth truth_as_right(const Model& model, const CaseSpec& spec,
                                       const FilmSpec& film);

/// A point of a film that was mirrored for a left hip.
[[nodiscard]] Vec2 mirrored(const Vec2& px, int columns);
/// The truth of a film that was mirrored for a left hip: the one place that knows all its points.
void mirror(FilmTruth& truth, int columns);

}  // namespace tidemark::phantom
