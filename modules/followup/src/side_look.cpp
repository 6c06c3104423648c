#include "side_look.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "doubt.h"
#include "scale.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/film/calibration.h"
#include "tidemark/film/tone.h"
#include "tidemark/migration/pose.h"
#include "tidemark/migration/side_view.h"

namespace tidemark::followup {
namespace {

/// True diameter of the head; the frontal film's scale is that of the stem's plane.
double head_mm(const FrontalFilm& reference) {
  return 2.0 * reference.hip.implant.head.circle_px.radius * reference.hip.scale.value.value /
         film::stem_over_head(reference.view);
}

/// In the plane of the head.
Measured<MillimetresPerPixel> scale_by_head(const anatomy::Implant& implant,
                                            const FrontalFilm& reference) {
  const double px = 2.0 * implant.head.circle_px.radius;
  const double mm_per_px = head_mm(reference) / px;
  const double relative = std::hypot(implant.head.diameter_u_px / px,
                                     reference.hip.scale.u.value / reference.hip.scale.value.value);
  return measured(MillimetresPerPixel{mm_per_px}, MillimetresPerPixel{relative * mm_per_px});
}

/// By how much of itself the scale in the plane of the stem exceeds that of the head's: the head
/// stands nearer to the tube by its offset (derived, cone beam; migration::side_view).
double nearer_by(const migration::MeasuredFilm& frontal) {
  return std::max(0.0, migration::stem_look(frontal).head_medial_mm) /
         migration::PoseModel{}.source.value;
}

/// In the plane of the stem.
Measured<MillimetresPerPixel> scale_beside_stem(const Measured<MillimetresPerPixel>& at_head,
                                                double nearer) {
  constexpr double kOfCorrection = 0.3;  // what is open of it; house choice
  const double u =
      std::hypot((1.0 + nearer) * at_head.u.value, kOfCorrection * nearer * at_head.value.value);
  return measured((1.0 + nearer) * at_head.value, MillimetresPerPixel{u});
}

/// From the head's centre to the tip along the stem's axis, px.
double head_to_tip_px(const anatomy::Implant& implant) {
  return along(implant.axis.line_px, implant.tip.px) -
         along(implant.axis.line_px, implant.head.circle_px.centre);
}

/// The scale by the way from head to tip, which the frontal film shows as well: rougher than the
/// head's, as either film may foreshorten it.
std::optional<MillimetresPerPixel> scale_by_length(const anatomy::Implant& implant,
                                                   const HipFilm& reference) {
  const double px = head_to_tip_px(implant);
  if (!implant.shows_tip() || !reference.implant.shows_tip() || !(px > 0.0)) return {};
  return MillimetresPerPixel{head_to_tip_px(reference.implant) * reference.scale.value.value / px};
}

/// By how much the scales by head and by length disagree, as a share, where no lean explains it: 0
/// else, and where nothing tells.
double head_disagreement(const anatomy::Implant& implant, const FrontalFilm& reference) {
  // Of right heads on 45 simulated films 0.89 to 1.06: either film may foreshorten the stem.
  constexpr double kLeast = 0.885;
  constexpr double kMost = 1.065;
  const auto by_length = scale_by_length(implant, reference.hip);
  if (!by_length) return 0.0;
  const double ratio = scale_by_head(implant, reference).value.value / by_length->value;
  return ratio < kLeast || ratio > kMost ? std::abs(1.0 - ratio) : 0.0;
}

enum class HeadSize { kFits, kTooSmall, kTooLarge };

/// Whether head and stem are of one size: from the side the rim of a cup or a spot of metal is
/// easily taken for a head. A stem that leans towards the tube by 30 degrees looks shorter by 13 %;
/// longer than on the frontal film it looks by hardly more than 7 %. House choice.
HeadSize size_of_head(const anatomy::Implant& implant, const FrontalFilm& reference) {
  const auto by_length = scale_by_length(implant, reference.hip);
  if (!by_length) return HeadSize::kFits;  // nothing to hold it against
  const double ratio = scale_by_head(implant, reference).value.value / by_length->value;
  return ratio > 1.07 ? HeadSize::kTooSmall : ratio < 0.85 ? HeadSize::kTooLarge : HeadSize::kFits;
}

/// A hint of the scale that leaves the head just found out of what is searched, which is 0.8 to 1.5
/// times the radius that the hint tells (anatomy/src/hypothesis.cpp).
MillimetresPerPixel hint_beyond(HeadSize wrong, MillimetresPerPixel by_head) {
  constexpr double kClear = 1.05;
  return (wrong == HeadSize::kTooSmall ? 0.8 / kClear : 1.5 * kClear) * by_head;
}

migration::MeasuredFilm found_on(const HipFilm& film) {
  return {film.implant, film.femur, film.scale};
}

/// Head and stem as the film shows them; a head that does not fit its stem is left out and the next
/// one sought.
Expected<Seen> see_from_side(const film::FilmImage& upright, Side mirrored, const Working& film,
                             const FrontalFilm& reference, const Steps& steps) {
  constexpr int kMostHeads = 3;
  Seen seen{film::with_room_for_bright(film::as_right_hip(upright, mirrored)), mirrored, {}};
  anatomy::ImplantOptions options{
      .head_diameter = Millimetres{head_mm(reference)},
      .scale_hint = scale_hint_of(film.entry, upright),
      .given = on_implant(in_view(film.entry.landmarks_in_stored_px, seen.hip_view)),
      .look = anatomy::LookFrom::kSide};
  for (int tried = 0; tried < kMostHeads; ++tried) {
    auto implant = steps.find_implant(seen.hip_view, options);
    if (!implant && tried == 0) return tl::unexpected(implant.error());
    if (!implant) break;
    const HeadSize size = size_of_head(*implant, reference);
    if (size == HeadSize::kFits) {
      seen.implant = std::move(*implant);
      return with_flag_of_greys(std::move(seen));
    }
    options.scale_hint = hint_beyond(size, scale_by_head(*implant, reference).value);
  }
  return fail(ErrorKind::kCannotTell, film.out.file,
              "head and stem on it are not of the sizes that the frontal film shows",
              "mark the head's circle and the tip by hand, or leave the film out");
}

/// Where the lesser trochanter lies by the frontal film: as far above the tip along the stem's
/// axis.
std::optional<anatomy::Landmark> lesser_carried_over(const anatomy::Implant& side,
                                                     MillimetresPerPixel scale,
                                                     const FrontalFilm& told) {
  // Of 56 pairs of simulated films 3.2 mm RMS, 8 mm at most (docs/migration.md): each view has
  // another outermost point of it, and the legs lie otherwise. House choice.
  constexpr double kOtherViewMm = 5.0;
  const HipFilm& frontal = told.level;
  const auto& lesser = frontal.femur.lesser_trochanter;
  if (!lesser || !side.shows_tip() || !frontal.implant.shows_tip()) return {};
  const Line2& from = frontal.implant.axis.line_px;
  const double above_tip_mm =
      (along(from, frontal.implant.tip.px) - along(from, lesser->px)) * frontal.scale.value.value;
  const double u_mm =
      std::hypot(kOtherViewMm, lesser->u_px * frontal.scale.value.value, told.sunk.value);
  return anatomy::Landmark{side.tip.px - above_tip_mm / scale.value * side.axis.line_px.direction,
                           u_mm / scale.value};
}

/// How far in front of or behind the stem's axis the head may lie on a film from the side: on 56
/// simulated ones at most 0.53 of what the frontal film shows, and 19 mm; frontal films that show
/// less than 20 mm are refused (doubt.cpp). House choice.
double farthest_head_mm(const HipFilm& frontal) {
  constexpr double kOfFrontal = 0.6;
  return std::max(kLeastOffsetMm,
                  kOfFrontal * migration::stem_look(found_on(frontal)).head_medial_mm);
}

/// A head that the stem's length contradicts costs what they disagree by.
void doubt_head(FromSide& out, Measured<MillimetresPerPixel>& at_head,
                const FrontalFilm& reference) {
  const double apart = head_disagreement(out.hip.implant, reference);
  at_head = measured(at_head.value,
                     MillimetresPerPixel{std::hypot(at_head.u.value, apart * at_head.value.value)});
  if (apart == 0.0) return;
  out.hip.implant.flags.push_back(
      {"head_size_in_doubt",
       "Head and stem of this lateral film are not quite of the sizes that the frontal film shows: "
       "what was taken for the head may be the cup's rim; its lengths are less certain for that. "
       "Mark the head's centre and diameter by hand."});
}

}  // namespace

Expected<FromSide> look_from_side(const Working& film, Side mirrored, const FrontalFilm& frontal,
                                  const Steps& steps) {
  auto seen = in_either_grey(*film.upright, [&](const film::FilmImage& upright) {
    return see_from_side(upright, mirrored, film, frontal, steps);
  });
  if (!seen) return tl::unexpected(seen.error());
  FromSide out;
  out.hip.hip_view = std::move(seen->hip_view);
  out.hip.side = frontal.hip.side;
  out.hip.from_side = true;
  out.hip.implant = std::move(seen->implant);
  out.hip.in_pixels = frontal.hip.in_pixels;
  const double nearer = nearer_by(found_on(frontal.hip));
  auto at_head = scale_by_head(out.hip.implant, frontal);
  if (film.entry.scale) {  // replaces every other source
    out.hip.scale = given_per_view_px(film.entry, film::view_px_per_stored_px(out.hip.hip_view));
    at_head = measured((1.0 / (1.0 + nearer)) * out.hip.scale.value,
                       (1.0 / (1.0 + nearer)) * out.hip.scale.u);
  } else {
    doubt_head(out, at_head, frontal);
    out.hip.scale = scale_beside_stem(at_head, nearer);
  }
  const anatomy::Implant& implant = out.hip.implant;
  out.head_behind_mm = -out.hip.scale.value.value *
                       signed_distance(implant.axis.line_px, implant.head.circle_px.centre);
  if (std::abs(out.head_behind_mm) > farthest_head_mm(frontal.hip)) {
    return fail(ErrorKind::kCannotTell, film.out.file,
                "the head lies " + whole_mm(std::abs(out.head_behind_mm)) +
                    " off the stem's axis, as on a frontal film",
                "correct view in the sheet if that is wrong");
  }
  out.hip.implant.reference_px = anatomy::reference_point(implant, out.hip.scale.value);
  out.lesser_level = lesser_carried_over(implant, out.hip.scale.value, frontal);
  const auto given = in_view(film.entry.landmarks_in_stored_px, out.hip.hip_view);
  auto femur = steps.find_femur(
      out.hip.hip_view, implant,
      {.scale = out.hip.scale.value, .given = on_bone(given), .lesser_level = out.lesser_level});
  if (!femur) return tl::unexpected(femur.error());
  out.hip.femur = std::move(*femur);
  // From the side the greater trochanter is one of several outlines over each other.
  if (!given.greater_trochanter_px) out.hip.femur.greater_trochanter.reset();
  out.view = migration::side_view({implant, out.hip.femur, at_head}, found_on(frontal.hip));
  return out;
}

}  // namespace tidemark::followup
