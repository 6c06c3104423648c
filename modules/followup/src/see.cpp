#include "see.h"

#include <array>
#include <optional>
#include <utility>
#include <vector>

#include "doubt.h"
#include "tidemark/core/parallel.h"
#include "tidemark/film/tone.h"

namespace tidemark::followup {
namespace {

/// Below this confidence the film is also looked at with its grey values turned over. House choice.
constexpr double kTrusted = 0.5;
/// So sure must a find with the greys turned over be where the field seems to cut the stem. House
/// choice: that of `implant_uncertain`.
constexpr double kTrustedOverCut = 0.6;

Expected<Seen> see(const film::FilmImage& upright, Side side, const Working& film,
                   const StemFacts& stem, const Steps& steps) {
  Seen seen{film::with_room_for_bright(film::as_right_hip(upright, side)), side, {}};
  anatomy::ImplantOptions options{
      .head_diameter = stem.head_diameter,
      .scale_hint = scale_hint_of(film.entry, upright),
      .given = on_implant(in_view(film.entry.landmarks_in_stored_px, seen.hip_view))};
  auto implant = steps.find_implant(seen.hip_view, options);
  if (!implant) return tl::unexpected(implant.error());
  seen.implant = std::move(*implant);
  return with_flag_of_greys(std::move(seen));
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
  if (seen.hip_view.greys_spread) {
    seen.implant.flags.push_back(
        {"greys_spread",
         "Bright greys are pressed together on this film, as by a steep tone curve; all greys were "
         "spread evenly before anything was measured."});
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
