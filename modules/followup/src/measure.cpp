#include "tidemark/followup/measure.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <mutex>
#include <nlohmann/json.hpp>
#include <utility>

#include "doubt.h"
#include "early.h"
#include "judged.h"
#include "lysis.h"
#include "panel.h"
#include "remember.h"
#include "seat.h"
#include "side_films.h"
#include "stem_surface.h"
#include "tidemark/core/date.h"
#include "tidemark/core/hash.h"
#include "tidemark/core/parallel.h"
#include "tidemark/film/tone.h"
#include "working.h"

namespace tidemark::followup {
namespace {

/// Below this confidence the film is also looked at with its grey values turned over. House choice.
constexpr double kTrusted = 0.5;
/// So sure must a find with the greys turned over be where the field seems to cut the stem. House
/// choice: that of `implant_uncertain`.
constexpr double kTrustedOverCut = 0.6;

/// Counts finished steps and tells the caller, one call at a time.
class Meter {
 public:
  Meter(const Options& options, std::size_t all) : options_(options), all_(all) {}
  void step() {
    if (!options_.progress) return;
    const std::lock_guard lock(mutex_);
    options_.progress(++done_, all_);
  }

 private:
  const Options& options_;
  std::size_t all_;
  std::size_t done_ = 0;
  std::mutex mutex_;
};

/// What each phase needs.
struct Run {
  const Options& options;
  const Steps& steps;
  int threads;
  Meter& meter;
};

void read_films(WorkingSeries& work, const Run& run) {
  parallel_for(work.films.size(), run.threads, [&](std::size_t i) {
    Working& film = work.films[i];
    film.out.file = film.entry.file;
    film.out.role = film.entry.role.value_or(Role::kFollowUp);
    film.out.zone_marks = film.entry.zone_marks;
    if (film.entry.excluded) {
      film.out.excluded = true;
      refuse(film, "excluded in the sheet");
      return;
    }
    auto image = run.steps.read(film.entry.path);
    if (!image) {
      film.out.unreadable = true;
      refuse(film, reason_of(image.error()));
      return;
    }
    film.out.sha256 = image->facts.sha256;
    film.upright = std::move(*image);
    run.meter.step();
  });
}

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
  if (film::has_spread_greys(seen.hip_view)) {
    seen.implant.flags.push_back(
        {"greys_spread",
         "Bright greys are pressed together on this film, as by a steep tone curve; all greys were "
         "spread evenly before anything was measured."});
  }
  return seen;
}

/// The implant under one side; with the grey values turned over when that shows it better.
Expected<Seen> see_either_grey(const Working& film, Side side, const StemFacts& stem,
                               const Steps& steps) {
  auto seen = see(*film.upright, side, film, stem, steps);
  if (seen && seen->implant.confidence >= kTrusted) return seen;
  auto turned = see(film::inverted(*film.upright), side, film, stem, steps);
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

/// Keeps what was seen on a film, or why it is not measured.
/// @param fault  of the film's tone: then its content is not what keeps the stem from being seen
void take_seen(Working& film, Expected<Seen> seen, const std::optional<std::string>& fault) {
  if (!film.refused) film.out.stem_shows = seen ? StemShows::kYes : StemShows::kNo;
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
                               " one as the film is usually shown. State it with --side."});
    }
    take_seen(work.films[i], std::move(seen), fault[i]);
  }
}

/// What the audit of the seat needs beside implant and femur.
void look_at_seat(HipFilm& hip, const Steps& steps) {
  if (!steps.read_canal) return;
  std::optional<Expected<anatomy::Pelvis>> found;
  parallel_within(2, [&](std::size_t i) {
    if (i == 0) {
      hip.canal = steps.read_canal(hip.hip_view, hip.implant, hip.femur, hip.scale.value);
    } else if (steps.find_pelvis) {
      found = steps.find_pelvis(hip.hip_view, hip.implant, hip.femur, hip.scale.value);
    }
  });
  if (!found) return;
  Expected<anatomy::Pelvis>& pelvis = *found;
  if (pelvis) {
    hip.pelvis = std::move(*pelvis);
  } else {
    hip.pelvis_reason = pelvis.error().wrong;
  }
}

/// The bone of one film, ready to be aligned if there is more than one film.
void find_bone_on(std::size_t i, WorkingSeries& work, const Run& run) {
  Working& film = work.films[i];
  HipFilm& hip = *film.hip;
  hip.hip_view = std::move(film.seen->hip_view);
  hip.side = film.seen->side;
  hip.role = work.reference == i ? Role::kReference : Role::kFollowUp;
  hip.implant = std::move(film.seen->implant);
  film.seen.reset();
  auto femur = run.steps.find_femur(
      hip.hip_view, hip.implant,
      {.scale = hip.scale.value,
       .given = on_bone(in_view(film.entry.landmarks_in_stored_px, hip.hip_view))});
  if (!femur) {
    refuse(film, reason_of(femur.error()));
    return;
  }
  hip.femur = std::move(*femur);
  describe(film);
  if (work.films.size() == 1) return;
  lay_stem(film, work, run.steps);
  auto ready = run.steps.prepare(hip);
  if (!ready) {
    refuse(film, reason_of(ready.error()));
    film.hip.reset();
    return;
  }
  film.ready = std::move(*ready);
}

/// What stands beside the stem of a film whose bone was found; the motion does not need it.
void look_beside_stem(Working& film, const WorkingSeries& work, const Run& run) {
  look_for_lines(film, work.series.stem.fixation, run.steps);
  if (film.hip->role == Role::kReference) look_at_seat(*film.hip, run.steps);
}

void look_at_films(WorkingSeries& work, const Run& run) {
  parallel_for(work.films.size(), run.threads, [&](std::size_t i) {
    Working& film = work.films[i];
    if (film.refused || film.from_side || !film.hip) return;
    if (film.seen) find_bone_on(i, work, run);  // else it was found for an early pair
    if (film.refused) return;
    look_beside_stem(film, work, run);
    run.meter.step();
  });
}

/// Why a pair cannot be compared at all, or nothing.
std::optional<std::string> obstacle(const Working& reference, const Working& follow_up) {
  const auto one = [](const Working& film, const char* role) {
    return std::string("the ") + role + " film " + film.out.file +
           " is not measured: " + film.out.reason;
  };
  if (reference.refused) return one(reference, "reference");
  if (follow_up.refused) return one(follow_up, "follow-up");
  return {};
}

std::vector<ComparisonResult> list_comparisons(const WorkingSeries& work) {
  std::vector<ComparisonResult> out;
  if (!work.reference) return out;
  const auto& reference = work.films[*work.reference].out;
  for (std::size_t i = 0; i < work.films.size(); ++i) {
    const FilmResult& film = work.films[i].out;
    const bool frontal = !film.view || *film.view == View::kAp || *film.view == View::kPa;
    if (i == *work.reference || film.excluded || !frontal) continue;
    ComparisonResult comparison;
    comparison.reference = *work.reference;
    comparison.follow_up = i;
    if (reference.date && film.date) comparison.days = days_between(*reference.date, *film.date);
    out.push_back(std::move(comparison));
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) {
    return a.days && b.days && *a.days < *b.days;
  });
  return out;
}

/// Lines beside the stem. They need no alignment.
void compare_bone(const Working& reference, const Working& follow_up, const Run& run,
                  ComparisonResult& out) {
  if (!run.steps.compare_lines || !reference.hip->lucency || !follow_up.hip->lucency) return;
  // Where the films show no one hip, the migration is refused for the same reason.
  if (auto zones = run.steps.compare_lines(*reference.hip, *follow_up.hip)) {
    out.zones = std::move(*zones);
  }
}

/// Other signs beside the stem. Only the calcar needs to know how far the stem moved.
void compare_signs(const WorkingSeries& work, ComparisonResult& out) {
  const FilmResult& reference = work.films[out.reference].out;
  const FilmResult& follow_up = work.films[out.follow_up].out;
  if (out.zones.empty() || !reference.signs || !follow_up.signs) return;
  std::optional<Measured<Millimetres>> subsidence;
  if (out.migration) subsidence = out.migration->subsidence_at_tip;
  out.signs = lucency::compare_signs(*reference.signs, *follow_up.signs, subsidence);
  out.signs->lysis =
      lysis_of(*work.films[out.reference].hip, *work.films[out.follow_up].hip, out.migration);
}

/// Why two films cannot be compared: where the tone of one of them was processed strongly, what
/// differs between them may be that alone.
std::string reason_of_pair(const Error& error, const Working& reference, const Working& follow_up) {
  for (const Working* film : {&follow_up, &reference}) {
    if (const auto fault = film::fault_of_tone(film->hip->hip_view)) {
      return "on " + film->out.file + ": " + *fault +
             ", and the two films cannot be held against each other (" + error.wrong + ")" +
             kUnprocessed;
    }
  }
  return reason_of(error);
}

/// How the stem moved from the reference film to the follow-up film, or why nobody can tell.
void compare_motion(const WorkingSeries& work, const Run& run, ComparisonResult& out) {
  const Working& reference = work.films[out.reference];
  const Working& follow_up = work.films[out.follow_up];
  auto migration =
      run.steps.compare({*reference.hip, reference.ready}, {*follow_up.hip, follow_up.ready});
  if (!migration) {
    out.reason = reason_of_pair(migration.error(), reference, follow_up);
    return;
  }
  out.flags = migration->flags;
  out.migration = std::move(*migration);
  out.status = Status::kMeasured;
}

void compare_one(const WorkingSeries& work, const Run& run, ComparisonResult& out) {
  const Working& reference = work.films[out.reference];
  const Working& follow_up = work.films[out.follow_up];
  if (const auto why_not = obstacle(reference, follow_up)) {
    out.reason = *why_not;
    return;
  }
  const bool told_early = out.migration || !out.reason.empty();
  if (!told_early) compare_motion(work, run, out);
  run.meter.step();
  compare_bone(reference, follow_up, run, out);
}

/// The pair that is told before the others; nothing when it cannot be compared at all.
ComparisonResult* early_pair(const WorkingSeries& work, const Early& early,
                             std::vector<ComparisonResult>& pairs) {
  const auto pair = std::find_if(pairs.begin(), pairs.end(),
                                 [&](const auto& one) { return one.follow_up == early.follow_up; });
  if (pair == pairs.end()) return nullptr;
  if (obstacle(work.films[pair->reference], work.films[pair->follow_up])) return nullptr;
  return &*pair;
}

/// Measures one pair with the whole machine and tells it.
void measure_early(WorkingSeries& work, const Run& run, std::vector<ComparisonResult>& pairs) {
  const auto& early = run.options.early;
  ComparisonResult* pair = early ? early_pair(work, *early, pairs) : nullptr;
  if (pair == nullptr || !stands_for(*early->before, work, pairs)) return;
  const std::array both{pair->reference, pair->follow_up};
  parallel_for(both.size(), run.threads,
               [&](std::size_t i) { find_bone_on(both.at(i), work, run); });
  if (obstacle(work.films[both[0]], work.films[both[1]])) return;
  // The depths that they show count in every pair.
  measure_side_films(work, run.steps, run.threads);
  // One call, so that it may spread over the threads.
  parallel_for(1, run.threads, [&](std::size_t) { compare_motion(work, run, *pair); });
  if (!pair->migration) return;
  early->tell(with_pair(*early->before, work, *pair, run.options));
}

/// The measured pairs once more, all of this hip together.
void settle_together(const WorkingSeries& work, const Run& run,
                     std::vector<ComparisonResult>& comparisons) {
  if (!run.steps.compare_together) return;
  std::vector<ComparisonResult*> pairs;
  std::vector<const HipFilm*> follow_ups;
  std::vector<migration::Migration> alone;
  for (ComparisonResult& pair : comparisons) {
    if (!pair.migration) continue;
    pairs.push_back(&pair);
    follow_ups.push_back(&*work.films[pair.follow_up].hip);
    alone.push_back(*pair.migration);
  }
  if (pairs.size() < 2) return;
  const HipFilm& reference = *work.films[pairs.front()->reference].hip;
  std::vector<migration::Migration> together;
  parallel_for(1, run.threads, [&](std::size_t) {  // so that it may spread over the threads
    together = run.steps.compare_together(reference, follow_ups, std::move(alone));
  });
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    pairs[i]->flags = together[i].flags;
    pairs[i]->migration = std::move(together[i]);
  }
}

std::string numbered(const std::string& stem, std::size_t i) {
  const std::string number = std::to_string(i);
  return stem + (number.size() < 2 ? "-0" : "-") + number + ".png";
}

using MaybePicture = std::optional<Picture>;

MaybePicture draw_one_film(const WorkingSeries& work, const Run& run, std::size_t i) {
  const Working& film = work.films[i];
  MaybePicture picture;
  if (film.hip && !film.refused) picture = draw_film(numbered("overlay", i), *film.hip, film.out);
  run.meter.step();
  return picture;
}

/// Fills the comparisons; gives the pictures of the films if they are wanted. Films are drawn when
/// no comparison is left to begin, so that no thread waits for the last one.
std::vector<MaybePicture> compare_and_draw_films(const WorkingSeries& work, const Run& run,
                                                 std::vector<ComparisonResult>& comparisons) {
  const bool draw = run.options.pictures == Pictures::kDraw;
  std::vector<MaybePicture> drawn(draw ? work.films.size() : 0);
  const std::size_t pairs = comparisons.size();
  parallel_for(pairs + drawn.size(), run.threads, [&](std::size_t i) {
    if (i < pairs) {
      compare_one(work, run, comparisons[i]);
    } else {
      drawn[i - pairs] = draw_one_film(work, run, i - pairs);
    }
  });
  return drawn;
}

/// What is shown of a film's interface: with the reference film's where they were compared. Nothing
/// for a film without lines.
std::optional<ZonePages> zone_pages(const WorkingSeries& work, const Result& result,
                                    std::size_t i) {
  const Working& film = work.films[i];
  if (film.refused || !film.hip) return {};
  ZonePages pages{*film.hip, result.films[i]};
  if (const auto since = lines_since(result, i)) {
    pages.reference = &*work.films[since->reference].hip;
    pages.reference_result = &result.films[since->reference];
    pages.changes = since->zones;
  }
  return pages;
}

/// The unrolled interface of each film, as pictures.
std::vector<MaybePicture> draw_all_zones(const WorkingSeries& work, const Run& run,
                                         const Result& result) {
  std::vector<MaybePicture> drawn(result.films.size());
  parallel_for(drawn.size(), run.threads, [&](std::size_t i) {
    run.meter.step();
    const auto pages = zone_pages(work, result, i);
    if (pages) drawn[i] = draw_zones(numbered("zones", i), *pages, result.length_unit);
  });
  return drawn;
}

/// The unrolled interface of each film that has lines, as pixels.
std::vector<UnrolledFilm> unroll_films(const WorkingSeries& work, const Run& run,
                                       const Result& result) {
  std::vector<std::optional<UnrolledFilm>> all(result.films.size());
  parallel_for(all.size(), run.threads, [&](std::size_t i) {
    const auto pages = zone_pages(work, result, i);
    if (!pages) return;
    const auto since = lines_since(result, i);
    all[i] = unroll_film(*pages, i, since ? std::optional(since->reference) : std::nullopt);
  });
  std::vector<UnrolledFilm> out;
  for (auto& one : all) {
    if (one) out.push_back(std::move(*one));
  }
  return out;
}

std::vector<MaybePicture> draw_pairs(const WorkingSeries& work, const Run& run,
                                     const Result& result) {
  std::vector<MaybePicture> drawn(result.comparisons.size());
  parallel_for(drawn.size(), run.threads, [&](std::size_t i) {
    const ComparisonResult& pair = result.comparisons[i];
    if (pair.migration) {
      drawn[i] = draw_pair(numbered("pair", pair.follow_up), *work.films[pair.reference].hip,
                           *work.films[pair.follow_up].hip, pair, result.length_unit);
    }
    run.meter.step();
  });
  return drawn;
}

/// The reference film, and the measured follow-ups in its frame.
std::optional<AlignedFilms> align_films(const WorkingSeries& work, const Run& run,
                                        const Result& result) {
  std::vector<const ComparisonResult*> pairs;
  for (const ComparisonResult& pair : result.comparisons) {
    if (pair.migration) pairs.push_back(&pair);
  }
  if (!work.reference) return {};
  const std::size_t first = pairs.empty() ? *work.reference : pairs.front()->reference;
  if (work.films[first].refused || !work.films[first].hip) return {};
  const HipFilm& reference = *work.films[first].hip;
  AlignedFilms out{aligned_px_per_mm(reference), std::vector<AlignedFilm>(pairs.size() + 1)};
  parallel_for(out.films.size(), run.threads, [&](std::size_t i) {
    const std::size_t index = i == 0 ? first : pairs[i - 1]->follow_up;
    const HipFilm& film = *work.films[index].hip;
    const Affine2 follow =
        i == 0 ? Affine2{} : follow_from_reference(reference, film, *pairs[i - 1]->migration);
    out.films[i] = align_film(reference, film, follow);
    out.films[i].film = index;
  });
  return out;
}

/// Hands each film or pair its picture; one that could not be drawn is left out.
template <class Pictured>
void take_pictures(std::vector<MaybePicture> drawn, std::vector<Pictured>& of,
                   std::optional<std::string> Pictured::*name, Result& result) {
  for (std::size_t i = 0; i < drawn.size(); ++i) {
    if (!drawn[i]) continue;
    of[i].*name = drawn[i]->file;
    result.pictures.push_back(std::move(*drawn[i]));
  }
}

void take_seat_picture(const WorkingSeries& work, Result& result) {
  if (!result.seat) return;
  const std::size_t i = result.seat->film;
  auto drawn = draw_seat(numbered("seat", i), *work.films[i].hip, result.films[i], *result.seat);
  if (!drawn) return;
  result.seat->picture = drawn->file;
  result.pictures.push_back(std::move(*drawn));
}

/// Names what shapes the numbers beside the films and the sheet. Threads and pictures do not.
std::string digest_of(const WorkingSeries& work, const Options& options) {
  const Series& series = work.series;
  nlohmann::ordered_json json;
  json["accept_pixels"] = options.without_scale == WithoutScale::kAcceptPixels;
  if (series.side) json["side"] = *series.side == Side::kRight ? "R" : "L";
  if (series.stem.head_diameter) json["head_diameter_mm"] = series.stem.head_diameter->value;
  if (series.stem.length) json["stem_length_mm"] = series.stem.length->value;
  if (work.surface_sha256) json["stem_surface_sha256"] = *work.surface_sha256;
  if (options.criteria) json["criteria_sha256"] = options.criteria->sha256;
  if (options.signs) {
    json["signs_sha256"] = options.signs->sha256;
    for (const auto& one : options.signs->switches) json["switches"][one.id] = one.chosen;
  }
  const std::string text = json.dump();
  return sha256_hex(text);
}

/// What every reader of the zones must know until lines are found on films of any origin alike.
void warn_of_lines(Result& result) {
  const bool told = std::any_of(result.films.begin(), result.films.end(), [](const auto& film) {
    return std::any_of(film.zones.begin(), film.zones.end(), [](const ZoneResult& zone) {
      return zone.state == lucency::State::kPresent || zone.state == lucency::State::kAbsent;
    });
  });
  if (!told) return;
  result.flags.push_back(
      {"lines_not_validated",
       "Lines by zone were right on films of one simulator and mostly left open or missed on those "
       "of another; believe the picture of the unrolled interface before any of them."});
}

Result collect(WorkingSeries& work, std::vector<ComparisonResult> comparisons,
               std::vector<LateralComparison> laterals, const Options& options) {
  Result result;
  result.tool_version = version();
  result.options_sha256 = digest_of(work, options);
  result.sheet_sha256 = work.series.sheet_sha256;
  result.hip = work.series.hip;
  result.side = work.side;
  result.length_unit = work.length_unit;
  result.flags = work.flags;
  result.comparisons = std::move(comparisons);
  result.lateral_comparisons = std::move(laterals);
  if (work.reference && work.films[*work.reference].out.calibration) {
    result.reference_scale = work.films[*work.reference].out.calibration->mm_per_px.value;
  }
  for (const Working& film : work.films) {
    result.films.push_back(film.out);
    if (film.refused) result.films.back().status = Status::kNotMeasured;
  }
  warn_of_lines(result);
  result.assessment = judged(work.series.stem, result, options);
  result.seat = audited_seat(work);
  return result;
}

}  // namespace

void refuse(Working& film, const std::string& reason) {
  if (film.refused) return;
  film.refused = true;
  film.out.reason = reason;
}

std::string reason_of(const Error& error) {
  return error.wrong + (error.remedy.empty() ? "" : "; " + error.remedy);
}

namespace {

Result measured_by(const Series& series, const Options& options, const Steps& steps) {
  assert(!series.films.empty());
  WorkingSeries work;
  work.series = series;
  for (const FilmEntry& entry : series.films) {
    work.films.push_back({});
    work.films.back().entry = entry;
  }
  const std::size_t n = series.films.size();
  // Read, see, bone; pairs; two pictures of each film and one of each pair.
  Meter meter(options, 4 * n - 1 + (options.pictures == Pictures::kDraw ? 3 * n - 1 : 0));
  const Run run{options, steps, options.threads > 0 ? options.threads : hardware_threads(), meter};
  read_films(work, run);
  settle(work);
  set_side_films_apart(work);
  work.side ? see_known_side(work, run) : see_unknown_side(work, run);
  scale_films(work, options.without_scale);
  doubt_views(work);
  doubt_head_diameter(work);
  load_stem(work, steps);
  std::vector<ComparisonResult> comparisons = list_comparisons(work);
  measure_early(work, run, comparisons);
  look_at_films(work, run);
  measure_side_films(work, steps, run.threads);
  look_beside_side_films(work, steps, run.threads);
  auto of_films = compare_and_draw_films(work, run, comparisons);
  settle_together(work, run, comparisons);
  parallel_for(comparisons.size(), run.threads,
               [&](std::size_t i) { compare_signs(work, comparisons[i]); });
  Result result =
      collect(work, std::move(comparisons), compare_side_films(work, steps, run.threads), options);
  take_pictures(std::move(of_films), result.films, &FilmResult::picture, result);
  if (options.pictures == Pictures::kDraw) {
    take_pictures(draw_pairs(work, run, result), result.comparisons, &ComparisonResult::picture,
                  result);
    take_pictures(draw_all_zones(work, run, result), result.films, &FilmResult::zones_picture,
                  result);
    take_seat_picture(work, result);
  }
  if (options.aligned == Aligned::kKeep) result.aligned = align_films(work, run, result);
  if (options.unroll == Unroll::kKeep) result.unrolled = unroll_films(work, run, result);
  return result;
}

}  // namespace

Result measure_with(const Series& series, const Options& options, const Steps& steps) {
  if (options.remember == Remember::kNone) return measured_by(series, options, steps);
  Ledger ledger(options.before);
  Result result = measured_by(series, options, remembering(steps, ledger));
  result.reuse = reuse_of(result, ledger);
  return result;
}

std::string version() { return TIDEMARK_VERSION; }

int exit_code(const Result& result) {
  const auto& films = result.films;
  const auto wanted =
      std::count_if(films.begin(), films.end(), [](const auto& film) { return !film.excluded; });
  const auto unreadable =
      std::count_if(films.begin(), films.end(), [](const auto& film) { return film.unreadable; });
  if (unreadable == wanted) return 3;
  const bool film_left = std::any_of(films.begin(), films.end(), [](const auto& film) {
    return film.status == Status::kNotMeasured && !film.excluded;
  });
  const auto& pairs = result.comparisons;
  const bool pair_left = std::any_of(pairs.begin(), pairs.end(), [](const auto& pair) {
    return pair.status == Status::kNotMeasured;
  });
  return film_left || pair_left ? 1 : 0;
}

}  // namespace tidemark::followup
