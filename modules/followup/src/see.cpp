#include "see.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include "doubt.h"
#include "has_flag.h"
#include "tidemark/core/parallel.h"
#include "tidemark/core/sampling.h"
#include "tidemark/film/tone.h"

namespace tidemark::followup {
namespace {

/// Below this confidence the film is also looked at with its grey values turned over. House choice.
constexpr double kTrusted = 0.5;
/// So sure must a find with the greys turned over be where the field seems to cut the stem. House
/// choice: that of `implant_uncertain`.
constexpr double kTrustedOverCut = 0.6;

constexpr const char* kUncertain = "implant_uncertain";

/// What another look at the film may better of a find: little speaks for it, its head is in doubt
/// or lies as near to the stem's axis as only a lateral film shows it, no end of the stem is seen.
/// @return how many of these
std::size_t doubts_of(const anatomy::Implant& implant, const StemFacts& stem) {
  const auto is_doubt = [](const Flag& flag) {
    return flag.id == kUncertain || flag.id == "head_in_doubt" || flag.id == "head_off_neck" ||
           flag.id == "tip_outside_field";
  };
  const auto flags = std::count_if(implant.flags.begin(), implant.flags.end(), is_doubt);
  constexpr Millimetres kUsualHead{32.0};
  const Circle2& head = implant.head.circle_px;
  const double mm_per_px = stem.head_diameter.value_or(kUsualHead).value / (2.0 * head.radius);
  const double off_axis = std::abs(signed_distance(implant.axis.line_px, head.centre));
  return static_cast<std::size_t>(flags) + (off_axis * mm_per_px < kLeastOffsetMm ? 1 : 0);
}

/// Width of a stem half way down, px.
double width_px(const anatomy::Implant& implant) {
  const Line2& axis = implant.axis.line_px;
  const double middle = 0.5 * (along(axis, implant.shoulder.px) + along(axis, implant.tip.px));
  const double reach = 0.1 * implant.head.circle_px.radius;
  double left = 0.0;
  double right = 0.0;
  for (const Vec2& p : implant.outline_px) {
    if (std::abs(along(axis, p) - middle) > reach) continue;
    left = std::min(left, signed_distance(axis, p));
    right = std::max(right, signed_distance(axis, p));
  }
  return right - left;
}

/// Grey of a stem where it is thin: lower quartile along its axis, from its shoulder half way to
/// the tip. Farther on a find that went wrong may have left the metal.
std::optional<float> metal_grey(const film::FilmImage& view, const anatomy::Implant& implant) {
  const Line2& axis = implant.axis.line_px;
  const double from = along(axis, implant.reference_px);
  const double to = 0.5 * (from + along(axis, implant.tip.px));
  std::vector<float> greys;
  const int steps = static_cast<int>(to - from);
  for (int i = 0; i < steps; ++i) {
    const auto grey = sample_linear(view.pixels, axis.point + (from + i) * axis.direction);
    if (grey) greys.push_back(static_cast<float>(*grey));
  }
  if (greys.empty()) return {};
  const auto quarter = greys.begin() + static_cast<std::ptrdiff_t>(greys.size() / 4);
  std::nth_element(greys.begin(), quarter, greys.end());
  return *quarter;
}

/// Whether what was found with the greys spread counts: it leaves fewer doubts, and none of the
/// stem itself that the first find has not; or none as the first find and a stem that is clearly
/// narrower. Metal lies within bone, so that a wider one is a cortex taken for it. House choice.
bool second_counts(const Expected<anatomy::Implant>& first,
                   const Expected<anatomy::Implant>& second, const StemFacts& stem) {
  constexpr double kClearly = 0.08;  // of the head's diameter, some 3 mm
  if (!second) return false;
  const std::size_t left = doubts_of(*second, stem);
  if (!first) return left == 0;
  const std::size_t doubts = doubts_of(*first, stem);
  // That the field cuts a stem is no doubt which a stem that fits worse could take away.
  if (has_flag(second->flags, kUncertain) && !has_flag(first->flags, kUncertain)) return false;
  if (doubts > 0 || left > 0) return left < doubts;
  const double head_px = 2.0 * first->head.circle_px.radius;
  return width_px(*second) < width_px(*first) - kClearly * head_px;
}

/// What another look saw, drawn on the film as it is: greys that a look sets apart move the stem's
/// edges, and make bright bone look like metal. None where the film as it is, asked under that
/// look's head, does not show the same stem.
std::optional<anatomy::Implant> on_film_as_it_is(const film::FilmImage& view,
                                                 const anatomy::Implant& seen,
                                                 anatomy::ImplantOptions options,
                                                 const StemFacts& stem, const Steps& steps) {
  // House choices: what two looks at one stem differ by, of the head's diameter and in radians.
  constexpr double kSameTip = 0.04;
  constexpr double kSameAxis = 0.01;
  options.given.head_centre_px = seen.head.circle_px.centre;
  options.given.head_diameter_px = 2.0 * seen.head.circle_px.radius;
  auto plain = steps.find_implant(view, options);
  if (!plain || doubts_of(*plain, stem) > 0 || !seen.shows_tip()) return {};
  const double tip_off = (plain->tip.px - seen.tip.px).norm();
  const Vec2& a = plain->axis.line_px.direction;
  const Vec2& b = seen.axis.line_px.direction;
  if (tip_off > kSameTip * *options.given.head_diameter_px) return {};
  if (std::abs(a.x() * b.y() - a.y() * b.x()) > kSameAxis) return {};
  plain->head = seen.head;
  plain->cup = seen.cup;
  plain->confidence = seen.confidence;
  plain->flags = seen.flags;
  return std::move(*plain);
}

Expected<Seen> see(const film::FilmImage& upright, Side side, const Working& film,
                   const StemFacts& stem, const Steps& steps) {
  auto hip_view = film::with_room_for_bright(film::as_right_hip(upright, side));
  const anatomy::ImplantOptions options{
      .head_diameter = stem.head_diameter,
      .scale_hint = scale_hint_of(film.entry, upright),
      .given = on_implant(in_view(film.entry.landmarks_in_stored_px, hip_view))};
  auto implant = steps.find_implant(hip_view, options);
  const auto is_sure = [&] { return implant && doubts_of(*implant, stem) == 0; };
  bool set_apart = false;
  const auto look_again = [&](std::optional<film::FilmImage> other, bool bone_is_dark) {
    if (!other) return false;
    auto again = steps.find_implant(*other, options);
    const bool no_worse = implant && again && doubts_of(*again, stem) <= doubts_of(*implant, stem);
    if (!second_counts(implant, again, stem) && !(bone_is_dark && no_worse)) return false;
    hip_view = std::move(*other);
    implant = std::move(again);
    return true;
  };
  if (!is_sure()) look_again(film::dark_opened_for_second_look(hip_view), true);
  if (!is_sure() || film::asks_for_second_look(hip_view)) {
    for (const double bone_share : {0.99, 0.95}) {
      set_apart |=
          look_again(film::cut_off_metal_set_apart_for_second_look(hip_view, bone_share), false);
    }
    look_again(film::spread_for_second_look(hip_view), false);
  }
  const auto metal =
      implant && !is_sure() ? metal_grey(hip_view, *implant) : std::optional<float>();
  if (metal) {
    set_apart |= look_again(film::metal_set_apart_for_second_look(hip_view, *metal), false);
  }
  if (!implant) return tl::unexpected(implant.error());
  if (set_apart) {
    auto as_it_is = film::with_room_for_bright(film::as_right_hip(upright, side));
    if (auto plain = on_film_as_it_is(as_it_is, *implant, options, stem, steps)) {
      return with_flag_of_greys({std::move(as_it_is), side, std::move(*plain)});
    }
  }
  return with_flag_of_greys({std::move(hip_view), side, std::move(*implant)});
}

/// The implant under one side.
Expected<Seen> see_either_grey(const Working& film, Side side, const StemFacts& stem,
                               const Steps& steps) {
  return in_either_grey(*film.upright, [&](const film::FilmImage& upright) {
    return see(upright, side, film, stem, steps);
  });
}

/// What the search says of the film's content. A stem that the field cuts, or that the film's greys
/// may hide, is not taken for one that is not there.
StemShows shown_by(const Expected<Seen>& seen, const std::optional<std::string>& fault) {
  if (seen) return StemShows::kYes;
  const Error& why = seen.error();
  const bool may_be_there =
      fault || why.wrong == anatomy::kStemLeavesField || why.kind != ErrorKind::kCannotTell;
  return may_be_there ? StemShows::kUntold : StemShows::kNo;
}

/// Keeps what was seen on a film, or why it is not measured.
/// @param fault  of the film's tone: then its content is not what keeps the stem from being seen
void take_seen(Working& film, Expected<Seen> seen, const std::optional<std::string>& fault) {
  if (!film.refused) film.out.stem_shows = shown_by(seen, fault);
  if (!seen) {
    refuse(film, fault ? reason_by_tone(seen.error().wrong, *fault) : reason_of(seen.error()));
  }
  if (!film.refused) film.seen = std::move(*seen);
}

void see_known_side(WorkingSeries& work, const Run& run) {
  parallel_for(work.films.size(), run.threads, [&](std::size_t i) {
    Working& film = work.films[i];
    if (film.refused || film.from_side) return;
    auto seen = see_either_grey(film, *work.side, work.series.stem, run.steps);
    if (doubts_side(seen, film.entry)) {
      const auto turned =
          see(*film.upright, opposite(*work.side), film, work.series.stem, run.steps);
      if (const auto why = stands_on_other_side(seen, turned, *work.side)) refuse(film, *why);
    }
    const auto fault = seen ? std::nullopt : film::fault_of_tone(*film.upright);
    take_seen(film, std::move(seen), fault);
    film.upright.reset();
    run.meter.step();
  });
}

/// Both sides are looked for on every film; the side with more confidence in all counts for all.
void see_unknown_side(WorkingSeries& work, const Run& run) {
  using Both = std::array<Expected<Seen>, 2>;
  std::vector<std::optional<Both>> both(work.films.size());
  std::vector<std::optional<std::string>> fault(work.films.size());
  parallel_for(work.films.size(), run.threads, [&](std::size_t i) {
    Working& film = work.films[i];
    if (film.refused || film.from_side) return;
    both[i] = Both{see_either_grey(film, Side::kRight, work.series.stem, run.steps),
                   see_either_grey(film, Side::kLeft, work.series.stem, run.steps)};
    if (!both[i]->at(0) || !both[i]->at(1)) fault[i] = film::fault_of_tone(*film.upright);
    film.upright.reset();
    run.meter.step();
  });
  std::array<double, 2> confidence{};
  for (const auto& one : both) {
    for (std::size_t side = 0; one && side < 2; ++side) {
      if (one->at(side)) confidence.at(side) += one->at(side)->implant.confidence;
    }
  }
  const std::size_t chosen = confidence[1] > confidence[0] ? 1 : 0;
  if (confidence.at(chosen) > 0.0) work.side = chosen == 0 ? Side::kRight : Side::kLeft;
  for (std::size_t i = 0; i < work.films.size(); ++i) {
    if (!both[i]) continue;
    Expected<Seen>& seen = both[i]->at(chosen);
    const Side side = chosen == 0 ? Side::kRight : Side::kLeft;
    if (const auto why = stands_on_other_side(seen, both[i]->at(1 - chosen), side)) {
      refuse(work.films[i], *why);
    }
    if (seen) {
      seen->implant.flags.push_back(
          {"side_assumed", std::string("Nothing says which hip this is; it was taken for the ") +
                               word_of(side) +
                               " one as the film is usually shown. State the side."});
    }
    take_seen(work.films[i], std::move(seen), fault[i]);
  }
}

}  // namespace

Seen with_flag_of_greys(Seen seen) {
  if (seen.hip_view.greys_pressed) {
    seen.implant.flags.push_back(
        {"greys_spread",
         "Bright greys are pressed together on this film, as by a steep tone curve; all greys were "
         "spread evenly before anything was measured."});
  } else if (seen.hip_view.greys_spread) {
    seen.implant.flags.push_back({"greys_spread",
                                  "Stem and head are seen better on this film with its greys "
                                  "spread out; it was measured so."});
  }
  return seen;
}

Expected<Seen> in_either_grey(const film::FilmImage& upright, const LookAtFilm& look) {
  auto seen = look(upright);
  if (seen && seen->implant.confidence >= kTrusted) return seen;
  auto turned = look(film::inverted(upright));
  if (!turned || (seen && seen->implant.confidence >= turned->implant.confidence)) return seen;
  // A stem that the field cuts leaves pieces that look like one with the greys turned over.
  const bool cut = !seen && seen.error().wrong == anatomy::kStemLeavesField;
  if (cut && turned->implant.confidence < kTrustedOverCut) return seen;
  turned->implant.flags.push_back(
      {"grey_inverted",
       "The stem shows only with the grey values turned over: the file says the "
       "wrong photometric interpretation or none."});
  return turned;
}

void see_implants(WorkingSeries& work, const Run& run) {
  work.side ? see_known_side(work, run) : see_unknown_side(work, run);
}

}  // namespace tidemark::followup
