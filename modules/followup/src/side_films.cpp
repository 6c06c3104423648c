#include "side_films.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "open_changes.h"
#include "scale.h"
#include "tidemark/core/date.h"
#include "tidemark/core/parallel.h"
#include "tidemark/core/uncertainty.h"
#include "tidemark/film/calibration.h"
#include "tidemark/migration/pose.h"
#include "tidemark/migration/side_view.h"

namespace tidemark::followup {
namespace {

/// How far an outline stands out at some place, mm, against the mean of itself 15 mm above and
/// below: a trochanter is a hump, the flare of a femur is hollow. 0 where nothing stands out.
double bulge_mm(const Polyline& outline_px, const Line2& shaft, double mm_per_px) {
  constexpr double kReachMm = 15.0;  // house choice: the length of a lesser trochanter
  constexpr double kSameMm = 1.0;
  const auto level = [&](const Vec2& p) { return mm_per_px * along(shaft, p); };
  const auto off = [&](const Vec2& p) { return -mm_per_px * signed_distance(shaft, p); };
  const auto off_at = [&](double wanted_mm) -> std::optional<double> {
    const auto nearest =
        std::min_element(outline_px.begin(), outline_px.end(), [&](const Vec2& a, const Vec2& b) {
          return std::abs(level(a) - wanted_mm) < std::abs(level(b) - wanted_mm);
        });
    if (nearest == outline_px.end() || std::abs(level(*nearest) - wanted_mm) > kSameMm) return {};
    return off(*nearest);
  };
  double most = 0.0;
  for (const Vec2& p : outline_px) {
    const auto above = off_at(level(p) - kReachMm);
    const auto below = off_at(level(p) + kReachMm);
    if (above && below) most = std::max(most, off(p) - 0.5 * (*above + *below));
  }
  return most;
}

/// A film from the side with what was found on it, seen with the femur's back at +x.
struct FromSide {
  HipFilm hip;
  std::optional<migration::SideView> view;  ///< absent when the shaft's axis is not seen
  bool back_by_trochanter = false;          ///< the file does not say where the back lies

  /// Lesser trochanter behind the shaft's axis, mm; 0 when it is not seen.
  [[nodiscard]] double lesser_mm() const {
    return view && view->lesser_trochanter ? view->lesser_trochanter->value.value : 0.0;
  }
  /// How much of a hump the outline round it is, mm; 0 when it is not seen.
  [[nodiscard]] double hump_mm() const {
    if (!view || !view->lesser_trochanter) return 0.0;
    return bulge_mm(hip.femur.lesser_trochanter_outline_px, hip.femur.shaft_axis->line_px,
                    hip.scale.value.value);
  }
};

/// Whether the back of the patient lies at +x of the upright film, by its PatientOrientation.
std::optional<bool> back_at_positive_x(const film::FilmImage& upright) {
  const auto& orientation = upright.facts.patient_orientation;
  if (!orientation) return {};
  const Eigen::Matrix2d view_from_stored = upright.stored_from_view.inverse().linear;
  constexpr std::array kColumns{1.0, 0.0};
  for (std::size_t i = 0; i < 2; ++i) {
    const std::string& letters = orientation->at(i);
    if (letters.empty() || (letters.front() != 'A' && letters.front() != 'P')) continue;
    const Vec2 stored(kColumns.at(i), 1.0 - kColumns.at(i));
    const double x = (view_from_stored * stored).x();
    return letters.front() == 'P' ? x > 0.0 : x < 0.0;
  }
  return {};
}

/// The reference film, taken from the front or from behind.
struct Frontal {
  const HipFilm& hip;
  View view;
};

/// True diameter of the head; the frontal film's scale is that of the stem's plane.
double head_mm(const Frontal& reference) {
  return 2.0 * reference.hip.implant.head.circle_px.radius * reference.hip.scale.value.value /
         film::stem_over_head(reference.view);
}

/// In the plane of the head.
Measured<MillimetresPerPixel> scale_by_head(const anatomy::Implant& implant,
                                            const Frontal& reference) {
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

enum class HeadSize { kFits, kTooSmall, kTooLarge };

/// Whether head and stem are of one size: from the side the rim of a cup or a spot of metal is
/// easily taken for a head. A stem that leans towards the tube by 30 degrees looks shorter by 13 %;
/// longer than on the frontal film it looks by hardly more than 7 %. House choice.
HeadSize size_of_head(const anatomy::Implant& implant, const Frontal& reference) {
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
Expected<anatomy::Implant> implant_from_side(const Working& film, const film::FilmImage& view,
                                             const Frontal& reference, const Steps& steps) {
  constexpr int kMostHeads = 3;
  anatomy::ImplantOptions options{
      .head_diameter = Millimetres{head_mm(reference)},
      .scale_hint = scale_hint_of(film.entry, *film.upright),
      .given = on_implant(in_view(film.entry.landmarks_in_stored_px, view)),
      .look = anatomy::LookFrom::kSide};
  for (int tried = 0; tried < kMostHeads; ++tried) {
    auto implant = steps.find_implant(view, options);
    if (!implant && tried == 0) return implant;
    if (!implant) break;
    const HeadSize size = size_of_head(*implant, reference);
    if (size == HeadSize::kFits) return implant;
    options.scale_hint = hint_beyond(size, scale_by_head(*implant, reference).value);
  }
  return fail(ErrorKind::kCannotTell, film.out.file,
              "head and stem on it are not of the sizes that the frontal film shows",
              "mark the head's circle and the tip by hand, or leave the film out");
}

/// @param mirrored  how the upright film is turned over so that the femur's back lies at +x
Expected<FromSide> look(const Working& film, Side mirrored, const Frontal& reference,
                        const Steps& steps) {
  FromSide out;
  out.hip.hip_view = film::as_right_hip(*film.upright, mirrored);
  out.hip.side = reference.hip.side;
  out.hip.from_side = true;
  auto implant = implant_from_side(film, out.hip.hip_view, reference, steps);
  if (!implant) return tl::unexpected(implant.error());
  out.hip.implant = std::move(*implant);
  out.hip.in_pixels = reference.hip.in_pixels;
  const double nearer = nearer_by(found_on(reference.hip));
  auto at_head = scale_by_head(out.hip.implant, reference);
  out.hip.scale = scale_beside_stem(at_head, nearer);
  if (film.entry.scale) {  // replaces every other source
    out.hip.scale = given_per_view_px(film.entry, film::view_px_per_stored_px(out.hip.hip_view));
    at_head = measured((1.0 / (1.0 + nearer)) * out.hip.scale.value,
                       (1.0 / (1.0 + nearer)) * out.hip.scale.u);
  }
  out.hip.implant.reference_px = anatomy::reference_point(out.hip.implant, out.hip.scale.value);
  const auto given = in_view(film.entry.landmarks_in_stored_px, out.hip.hip_view);
  auto femur = steps.find_femur(out.hip.hip_view, out.hip.implant,
                                {.scale = out.hip.scale.value, .given = on_bone(given)});
  if (!femur) return tl::unexpected(femur.error());
  out.hip.femur = std::move(*femur);
  // From the side the greater trochanter is one of several outlines over each other.
  if (!given.greater_trochanter_px) out.hip.femur.greater_trochanter.reset();
  out.view =
      migration::side_view({out.hip.implant, out.hip.femur, at_head}, found_on(reference.hip));
  return out;
}

/// The film with the femur's back at +x: by its header, else by the lesser trochanter, which stands
/// out at the back.
Expected<FromSide> look_with_back_known(const Working& film, const Frontal& reference,
                                        const Steps& steps) {
  if (const auto back = back_at_positive_x(*film.upright)) {
    return look(film, *back ? Side::kRight : Side::kLeft, reference, steps);
  }
  // The leg rolled outwards shows its back medially (common practice, no source).
  auto rolled = look(film, reference.hip.side, reference, steps);
  if (!rolled) return rolled;
  auto turned = look(film, opposite(reference.hip.side), reference, steps);
  constexpr double kStandsOut = 4.0;  // mm, house choice: a third of a lesser trochanter's height
  const double other = turned ? turned->lesser_mm() : 0.0;
  rolled->back_by_trochanter = true;
  if (turned) turned->back_by_trochanter = true;
  if (rolled->lesser_mm() > other + kStandsOut) return rolled;
  // The flare at the front stands as far out as a trochanter, but it is no hump.
  constexpr double kHump = 3.0;      // mm, house choices: a quarter of a trochanter's height, and
  constexpr double kMoreHump = 2.0;  // well more than what is found on the other side
  if (rolled->hump_mm() > std::max(kHump, kMoreHump + (turned ? turned->hump_mm() : 0.0))) {
    return rolled;
  }
  // The other way round is rare, and a trochanter that is seen there alone is as often none.
  const bool by_hand = film.entry.landmarks_in_stored_px.lesser_trochanter_px.has_value();
  if (turned && by_hand && other > rolled->lesser_mm() + kStandsOut) return turned;
  return fail(ErrorKind::kCannotTell, film.out.file,
              "front and back of the femur cannot be told apart",
              "export the film with its PatientOrientation, or mark the lesser trochanter");
}

/// What a frontal film says where it did not see the level at which the stem enters the bone.
std::optional<Flag> assumed_flag(const lucency::ZonePlan& plan) {
  if (!plan.entry_assumed) return {};
  const auto found = std::find_if(plan.flags.begin(), plan.flags.end(),
                                  [](const Flag& flag) { return flag.id == "entry_assumed"; });
  return found == plan.flags.end() ? std::nullopt : std::optional(*found);
}

/// Of a level so far above the tip of a film from the side: that of the frontal film, both tips,
/// and the scale from the one to the other. (A lean towards the tube shortens the way more.)
Millimetres carried_u(double above_tip_px, const HipFilm& side, const HipFilm& frontal) {
  const double frontal_u = std::hypot(frontal.lucency->plan.entry_u.value,
                                      frontal.implant.tip.u_px * frontal.scale.value.value);
  const double side_u =
      std::hypot(side.implant.tip.u_px * side.scale.value.value, above_tip_px * side.scale.u.value);
  return {std::hypot(frontal_u, side_u)};
}

/// Where the stem enters the bone by the frontal film: as far from the tip, on the back of the
/// outline. From the side the trochanters hide the border of the cut neck.
std::optional<CarriedEntry> entry_carried_over(const HipFilm& side, const HipFilm& frontal) {
  if (!frontal.lucency || !frontal.implant.shows_tip() || !side.implant.shows_tip()) return {};
  const Line2& from = frontal.implant.axis.line_px;
  const double above_tip_px =
      (along(from, frontal.implant.tip.px) - along(from, frontal.lucency->plan.axis_px.point)) *
      frontal.scale.value.value / side.scale.value.value;
  const Line2& axis = side.implant.axis.line_px;
  const double level = along(axis, side.implant.tip.px) - above_tip_px;
  std::optional<Vec2> best;
  for (const Vec2& p : side.implant.outline_px) {
    if (signed_distance(axis, p) > 0.0) continue;  // the front
    if (!best || std::abs(along(axis, p) - level) < std::abs(along(axis, *best) - level)) best = p;
  }
  if (!best) return {};
  return CarriedEntry{*best, carried_u(above_tip_px, side, frontal),
                      assumed_flag(frontal.lucency->plan)};
}

/// The scale as results state it; but for one that is given it is the reference film's, by the
/// head.
ScaleResult stated_scale(const Working& film, const FilmResult& reference) {
  const double k = film::view_px_per_stored_px(film.hip->hip_view);
  if (film.entry.scale) return per_stored_px("given", film.hip->scale, "given in the sheet", k);
  return per_stored_px(reference.calibration->method, film.hip->scale,
                       "by the head, as large as on the reference film", k);
}

std::optional<migration::SideView> measure_one(Working& film, const Working& frontal,
                                               const Steps& steps) {
  const Frontal reference{*frontal.hip, frontal.out.view.value_or(View::kAp)};
  auto seen = look_with_back_known(film, reference, steps);
  film.upright.reset();
  if (!seen) {
    refuse(film, reason_of(seen.error()));
    return {};
  }
  if (!seen->view) {
    refuse(film,
           "too little of the shaft's cortices is seen for its axis; "
           "take the film with more of the femur on it");
    return {};
  }
  film.hip = std::move(seen->hip);
  describe(film);
  film.out.calibration = stated_scale(film, frontal.out);
  film.out.tilt.reset();  // what it would show is the stem's lean
  film.out.side_view = seen->view;
  if (seen->back_by_trochanter) {
    film.out.flags.push_back(
        {"back_by_trochanter",
         "The file does not say which way this lateral film faces; front and back, and with them "
         "zones 8 to 14, were told by the lesser trochanter, which can go wrong: look at the "
         "picture."});
  }
  return seen->view;
}

}  // namespace

void set_side_films_apart(WorkingSeries& work) {
  for (std::size_t i = 0; i < work.films.size(); ++i) {
    Working& film = work.films[i];
    if (film.refused || film.out.view != View::kLateral) continue;
    if (work.reference == i) {
      refuse(film, "a lateral film cannot be the reference; name a frontal film in the sheet");
      continue;
    }
    film.from_side = true;
  }
}

void measure_side_films(WorkingSeries& work, const Steps& steps, int threads) {
  std::vector<Working*> films;
  for (Working& film : work.films) {
    if (film.from_side && !film.refused && !film.hip) films.push_back(&film);
  }
  if (films.empty()) return;
  Working* reference = work.reference ? &work.films[*work.reference] : nullptr;
  if (reference == nullptr || reference->refused || !reference->hip) {
    for (Working* film : films) {
      refuse(*film,
             "the reference film is not measured, and without it a lateral film says nothing");
    }
    return;
  }
  std::vector<std::optional<migration::SideView>> said(films.size());
  parallel_for(films.size(), threads,
               [&](std::size_t i) { said[i] = measure_one(*films[i], *reference, steps); });
  std::vector<migration::SideView> views;
  for (const auto& view : said) {
    if (view) views.push_back(*view);
  }
  if (!views.empty()) reference->hip->side_view = migration::combined(views);
}

void look_beside_side_films(WorkingSeries& work, const Steps& steps, int threads) {
  if (!work.reference || !work.films[*work.reference].hip) return;
  const HipFilm& reference = *work.films[*work.reference].hip;
  parallel_for(work.films.size(), threads, [&](std::size_t i) {
    Working& film = work.films[i];
    if (!film.from_side || film.refused || !film.hip) return;
    look_for_lines(film, work.series.stem.fixation, steps,
                   entry_carried_over(*film.hip, reference));
  });
}

std::vector<LateralComparison> compare_side_films(const WorkingSeries& work, const Steps& steps,
                                                  int threads) {
  std::vector<std::size_t> films;
  for (std::size_t i = 0; i < work.films.size(); ++i) {
    const Working& film = work.films[i];
    if (film.from_side && !film.refused && film.hip && film.hip->lucency) films.push_back(i);
  }
  if (films.size() < 2 || !steps.compare_lines) return {};
  const auto date_of = [&](std::size_t i) { return work.films[i].out.date; };
  std::stable_sort(films.begin(), films.end(), [&](std::size_t a, std::size_t b) {
    return date_of(a) && (!date_of(b) || *date_of(a) < *date_of(b));
  });
  std::vector<LateralComparison> out(films.size() - 1);
  parallel_for(out.size(), threads, [&](std::size_t i) {
    LateralComparison& pair = out[i];
    pair.reference = films.front();
    pair.follow_up = films[i + 1];
    if (date_of(pair.reference) && date_of(pair.follow_up)) {
      pair.days = days_between(*date_of(pair.reference), *date_of(pair.follow_up));
    }
    auto zones =
        steps.compare_lines(*work.films[pair.reference].hip, *work.films[pair.follow_up].hip);
    if (!zones) return;
    pair.zones = std::move(*zones);
    if (!pair.days) {
      leave_open(pair.zones,
                 "One of the films has no date, so that nobody knows which was taken first.");
    }
  });
  std::erase_if(out, [](const LateralComparison& pair) { return pair.zones.empty(); });
  return out;
}

}  // namespace tidemark::followup
