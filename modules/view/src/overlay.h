#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/followup/result.h"
#include "tidemark/lucency/lucency.h"
#include "tidemark/view/sheet.h"

namespace tidemark::view {

/// What can be shown or hidden on the films.
enum class Layer { kOutline, kAxes, kLandmarks, kHead, kZones, kLines };

/// Whose mark it is: told by colour and by dashes.
enum class Whose { kReference, kFollowUp };

/// What a hand can take hold of.
enum class Grip {
  kLesserTrochanter,
  kGreaterTrochanter,
  kStemTip,
  kStemShoulder,
  kBoneEntry,  ///< the upper border of the zones; those not placed by hand follow
  kSecondZoneBorder,
  kThirdZoneBorder,
  kHeadCentre,
  kHeadEdge,
  kStemAxisProximal,
  kStemAxisDistal,
  kShaftAxisProximal,
  kShaftAxisDistal,
};
[[nodiscard]] std::string words_of(Grip grip);
/// What takes hold of the borders of zones, proximal first; the tip's border follows the tip.
inline constexpr std::array<Grip, 3> kZoneBorderGrips{Grip::kBoneEntry, Grip::kSecondZoneBorder,
                                                      Grip::kThirdZoneBorder};
[[nodiscard]] bool is_zone_border(Grip grip);

struct Handle {
  std::size_t film = 0;
  Grip grip = Grip::kLesserTrochanter;
  friend bool operator==(const Handle&, const Handle&) = default;
};

/// A chain of points on the films; the world is the upright view of the reference film, px.
struct LineMark {
  Polyline points;
  Layer layer = Layer::kOutline;
  Whose whose = Whose::kReference;
};

struct PointMark {
  Vec2 at = Vec2::Zero();
  Layer layer = Layer::kLandmarks;
  Whose whose = Whose::kReference;
  std::string name;      ///< shown beside it; may be empty
  bool by_hand = false;  ///< corrected
  std::optional<Handle> handle;
};

struct Overlay {
  std::vector<LineMark> lines;
  std::vector<PointMark> points;
};

/// Where a film lies in the world. A circle is one in px of the view, whose pixels are square;
/// stored ones need not be, and lengths are told in those along a row (CircleResult).
struct Placed {
  Affine2 world_from_view;
  Affine2 view_from_stored;
  Whose whose = Whose::kReference;
};

/// All marks of one film.
/// @param film its index in the series, for the handles
/// @param strip where lines were looked for on it; may be null
[[nodiscard]] Overlay overlay_of(const followup::FilmResult& result, std::size_t film,
                                 const Placed& placed,
                                 const followup::UnrolledStrip* strip = nullptr);

/// The sheet with what a handle holds put at `at_px` (stored px), all else of that figure as
/// `result` has it; absent when the film does not show the figure.
/// @param result as it is shown (as_corrected): else a correction made since is undone
/// @param view_from_stored of that film
[[nodiscard]] std::optional<Sheet> moved(const Sheet& sheet, const followup::FilmResult& result,
                                         const Handle& handle, const Vec2& at_px,
                                         const Affine2& view_from_stored);
/// The sheet without the correction of what the handle holds.
[[nodiscard]] Sheet given_back(const Sheet& sheet, const Handle& handle);

}  // namespace tidemark::view
