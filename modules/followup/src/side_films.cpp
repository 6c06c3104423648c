#include "side_films.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string_view>
#include <utility>

#include "doubt.h"
#include "has_flag.h"
#include "open_changes.h"
#include "scale.h"
#include "side_facing.h"
#include "tidemark/core/date.h"
#include "tidemark/core/parallel.h"
#include "tidemark/film/tone.h"
#include "tidemark/followup/doubts.h"
#include "tidemark/migration/side_view.h"

namespace tidemark::followup {
namespace {

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

/// The frontal film by whose levels a film from the side goes: the lowest rank, then the nearest in
/// time, as the stem may sink from day to day; the reference film is the first of equals.
/// @param rank  of a film that shows the stem's tip; absent: it does not show what is asked for
template <class Rank>
const Working* nearest_frontal(const Working& side, const WorkingSeries& work, const Rank& rank) {
  const Working* best = nullptr;
  std::pair<int, int> best_key;
  const auto offer = [&](const Working& film) {
    if (film.from_side || film.refused || !film.hip || !film.hip->implant.shows_tip()) return;
    const std::optional<int> its_rank = rank(*film.hip);
    if (!its_rank) return;
    const auto& a = film.out.date;
    const auto& b = side.out.date;
    constexpr int kUnknown = 1000000;  // days, more than a life
    const std::pair key(*its_rank, a && b ? std::abs(days_between(*a, *b)) : kUnknown);
    if (best != nullptr && !(key < best_key)) return;
    best = &film;
    best_key = key;
  };
  offer(work.films[*work.reference]);
  for (const Working& film : work.films) offer(film);
  return best;
}

/// One that saw the level at which the stem enters the bone, rather than assumed it.
const Working* frontal_with_entry(const Working& side, const WorkingSeries& work) {
  return nearest_frontal(side, work, [](const HipFilm& hip) -> std::optional<int> {
    if (!hip.lucency) return {};
    return hip.lucency->plan.entry_assumed ? 1 : 0;
  });
}

/// One that shows the lesser trochanter; else the reference film.
const Working& frontal_with_lesser(const Working& side, const WorkingSeries& work) {
  const Working* film = nearest_frontal(side, work, [](const HipFilm& hip) -> std::optional<int> {
    if (!hip.femur.lesser_trochanter) return {};
    return 0;
  });
  return film != nullptr ? *film : work.films[*work.reference];
}

/// What the stem may have sunk by between the films, where they are not of one day (house choice).
Millimetres sunk_between(const Working& side, const Working& frontal) {
  constexpr double kSunkMm = 2.0;
  const bool same_day = side.out.date && side.out.date == frontal.out.date;
  return {same_day ? 0.0 : kSunkMm};
}

/// Where the stem enters the bone by the frontal film: as far from the tip, on the back of the
/// outline. From the side the trochanters hide the border of the cut neck.
std::optional<CarriedEntry> entry_carried_over(const Working& film, const WorkingSeries& work) {
  const Working* from_front = frontal_with_entry(film, work);
  const HipFilm& side = *film.hip;
  if (from_front == nullptr || !side.implant.shows_tip()) return {};
  const HipFilm& frontal = *from_front->hip;
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
  const double u = std::hypot(carried_u(above_tip_px, side, frontal).value,
                              sunk_between(film, *from_front).value);
  return CarriedEntry{*best, {u}, assumed_flag(frontal.lucency->plan)};
}

/// The scale as results state it; but for one that is given it is the reference film's, by the
/// head.
ScaleResult stated_scale(const Working& film, const FilmResult& reference) {
  const double k = film::view_px_per_stored_px(film.hip->hip_view);
  if (film.entry.scale) return per_stored_px("given", film.hip->scale, "given in the sheet", k);
  return per_stored_px(reference.calibration->method, film.hip->scale,
                       "by the head, as large as on the reference film", k);
}

/// Whether patient or side of a film from the side are not those of the reference film, by their
/// headers. Where both contradict the sheet's side they do not contradict each other.
bool may_be_another_hip(const FilmResult& film, const FilmResult& reference) {
  constexpr const char* kSide = "side_contradicts_header";
  return has_flag(film.flags, "patient_differs") ||
         (has_flag(film.flags, kSide) && !has_flag(reference.flags, kSide));
}

/// Why a film on which the stem was found shows no depths (migration::side_view).
std::string why_no_view(const FromSide& seen, const HipFilm& frontal) {
  if (!seen.hip.implant.shows_tip()) {
    return "the field ends above the stem's tip, from which the depths are counted; "
           "take the film with the whole stem on it";
  }
  if (!frontal.implant.shows_tip()) {
    return "the reference film's field ends above the stem's tip, from which the depths are "
           "counted; another lateral film will not help";
  }
  return "too little of the shaft's cortices is seen for its axis; "
         "take the film with more of the femur on it";
}

void measure_one(Working& film, const WorkingSeries& work, const Steps& steps) {
  const Working& frontal = work.films[*work.reference];
  const Working& level = frontal_with_lesser(film, work);
  const FrontalFilm reference{*frontal.hip, frontal.out.view.value_or(View::kAp), *level.hip,
                              sunk_between(film, level)};
  auto faced = look_with_back_known(film, reference, steps);
  if (!faced) {
    const auto fault = film::fault_of_tone(*film.upright);
    refuse(film, fault ? reason_by_tone(faced.error().wrong, *fault) : reason_of(faced.error()));
  }
  film.upright.reset();
  if (!faced) return;
  FromSide& seen = faced->seen;
  if (!seen.view) {
    refuse(film, why_no_view(seen, *frontal.hip));
    return;
  }
  film.hip = std::move(seen.hip);
  film.facing = faced->facing;
  describe(film);
  film.out.calibration = stated_scale(film, frontal.out);
  film.out.tilt.reset();  // what it would show is the stem's lean
  film.out.side_view = migration::in_doubt(*seen.view, faced->facing.wrong);
  film.out.flags.insert(film.out.flags.end(), faced->flags.begin(), faced->flags.end());
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
  parallel_for(films.size(), threads, [&](std::size_t i) { measure_one(*films[i], work, steps); });
  std::vector<migration::SideView> views;
  for (Working* film : films) {
    if (!film->out.side_view) continue;
    if (may_be_another_hip(film->out, reference->out)) {
      film->out.flags.push_back(
          {kSideViewNotUsed,
           "By its file this lateral film is of another patient or of the other side than the "
           "reference film: no comparison uses its depth and lean, and zones 8 to 14 are left "
           "open. Check that it belongs to this hip."});
      continue;
    }
    views.push_back(*film->out.side_view);
  }
  if (!views.empty()) reference->hip->side_view = migration::combined(views);
}

void look_beside_side_films(WorkingSeries& work, const Steps& steps, int threads) {
  if (!work.reference || !work.films[*work.reference].hip) return;
  parallel_for(work.films.size(), threads, [&](std::size_t i) {
    Working& film = work.films[i];
    if (!film.from_side || film.refused || !film.hip) return;
    if (!uses_side_view(film.out)) {
      leave_zones_open(film, work.series.stem.fixation, "This lateral film may show another hip.");
      return;
    }
    if (film.facing && film.facing->wrong >= 0.5) {
      leave_zones_open(film, work.series.stem.fixation,
                       "Front and back of this film cannot be told apart.");
      return;
    }
    look_for_lines(film, work.series.stem.fixation, steps, entry_carried_over(film, work));
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
    const auto& first = work.films[pair.reference].facing;
    const auto& later = work.films[pair.follow_up].facing;
    if (first && later) {
      if (const auto doubt = facings_in_doubt(*first, *later)) leave_open(pair.zones, *doubt);
    }
    if (const auto none = no_time_between(pair.days)) leave_open(pair.zones, *none);
    if (!pair.days) {
      leave_open(pair.zones,
                 "One of the films has no date, so that nobody knows which was taken first.");
    }
  });
  std::erase_if(out, [](const LateralComparison& pair) { return pair.zones.empty(); });
  return out;
}

}  // namespace tidemark::followup
