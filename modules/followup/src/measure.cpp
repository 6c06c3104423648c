#include "tidemark/followup/measure.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <mutex>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>
#include <string_view>
#include <utility>

#include "doubt.h"
#include "early.h"
#include "has_flag.h"
#include "judged.h"
#include "lysis.h"
#include "one_day.h"
#include "open_changes.h"
#include "pictures.h"
#include "remember.h"
#include "scale_by_stem.h"
#include "seat.h"
#include "see.h"
#include "side_films.h"
#include "stem_surface.h"
#include "tidemark/assessment/trust.h"
#include "tidemark/core/date.h"
#include "tidemark/core/hash.h"
#include "tidemark/core/parallel.h"
#include "tidemark/film/tone.h"
#include "tidemark/followup/doubts.h"
#include "tidemark/migration/same_hip.h"
#include "working.h"

namespace tidemark::followup {
namespace {

void read_films(WorkingSeries& work, const Run& run) {
  parallel_for(work.films.size(), run.threads, [&](std::size_t i) {
    Working& film = work.films[i];
    film.out.file = film.entry.file;
    film.out.role = film.entry.role.value_or(Role::kFollowUp);
    film.out.role_stated = film.entry.role.has_value();
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
  hip.implant.reference_px = anatomy::reference_point(hip.implant, hip.scale.value);
  film.seen.reset();
  auto femur = run.steps.find_femur(
      hip.hip_view, hip.implant,
      {.scale = hip.scale.value,
       .given = on_bone(in_view(film.entry.landmarks_in_stored_px, hip.hip_view)),
       .lesser_level = {}});
  if (!femur) {
    refuse(film, reason_of(femur.error()));
    return;
  }
  if (const auto why = may_be_bone(hip.implant, *femur, film.entry)) {
    film.out.stem_shows = StemShows::kNo;
    refuse(film, *why);
    film.hip.reset();
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
  if ((reference.out.view == View::kPa) != (follow_up.out.view == View::kPa)) {
    return "one of the films is taken from the front (AP), the other from behind (PA), which "
           "shifts bone beside the stem by more than what is looked for";
  }
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
  // By the films' own dates, so that an undated reference film takes no order from them. Undated
  // ones first, so that none of them passes for the latest.
  const auto key = [&](const ComparisonResult& pair) {
    const auto& date = work.films[pair.follow_up].out.date;
    return std::pair(date.has_value(), date.value_or(Date{}));
  };
  std::stable_sort(out.begin(), out.end(),
                   [&](const auto& a, const auto& b) { return key(a) < key(b); });
  return out;
}

/// Lines beside the stem. They need no alignment.
void compare_bone(const Working& reference, const Working& follow_up, const Run& run,
                  ComparisonResult& out) {
  if (!run.steps.compare_lines || !reference.hip->lucency || !follow_up.hip->lucency) return;
  // Where the films show no one hip, the migration is refused for the same reason.
  auto zones = run.steps.compare_lines(*reference.hip, *follow_up.hip);
  if (!zones) return;
  out.zones = std::move(*zones);
  if (const auto none = no_time_between(out.days)) leave_open(out.zones, *none);
}

/// How well lengths along the stem on both films of a pair can be held against each other: their
/// scales, and the stretch that unlike poses make.
double length_ratio_u(const std::optional<migration::Migration>& migration) {
  if (!migration || !migration->measured) return 0.0;
  const migration::PairMeasured& pair = *migration->measured;
  double square = pair.scale_ratio_u * pair.scale_ratio_u;
  for (const auto& draw : pair.pose.draws) {
    square += draw.probability * draw.stretch * draw.stretch;
  }
  return std::sqrt(square);
}

/// The motion as the calcar needs it; nothing where the tip's is not known.
std::optional<lucency::StemShift> stem_shift(const HipFilm& reference,
                                             const std::optional<migration::Migration>& migration) {
  if (!migration || !migration->subsidence_at_tip) return {};
  const anatomy::Implant& implant = reference.implant;
  const Line2& axis = implant.axis.line_px;
  const double above_tip_px = along(axis, implant.tip.px) - along(axis, implant.reference_px);
  return lucency::StemShift{*migration->subsidence_at_tip, migration->medial,
                            Millimetres{above_tip_px * reference.scale.value.value},
                            migration->tilt_change};
}

/// Other signs beside the stem. Only the calcar needs to know how far the stem moved.
void compare_signs(const WorkingSeries& work, ComparisonResult& out) {
  const FilmResult& reference = work.films[out.reference].out;
  const FilmResult& follow_up = work.films[out.follow_up].out;
  if (out.zones.empty() || !reference.signs || !follow_up.signs) return;
  out.signs = lucency::compare_signs(*reference.signs, *follow_up.signs,
                                     stem_shift(*work.films[out.reference].hip, out.migration),
                                     length_ratio_u(out.migration));
  out.signs->lysis =
      lysis_of(*work.films[out.reference].hip, *work.films[out.follow_up].hip, out.migration);
  if (const auto none = no_time_between(out.days)) leave_open(*out.signs, *none);
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

/// A motion as that of the pair, with the flags of one that no stem makes.
void take(migration::Migration migration, ComparisonResult& out) {
  const auto order = out.days.value_or(0) < 0 ? migration::Order::kBeforeReference
                                              : migration::Order::kAfterReference;
  const auto of_motion = migration::doubts(migration, order);
  out.flags = migration.flags;
  out.flags.insert(out.flags.end(), of_motion.begin(), of_motion.end());
  out.migration = std::move(migration);
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
  take(std::move(*migration), out);
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

/// Whether a pair may not be of this hip, or not aligned rightly: it then tells the others nothing
/// of where the features lie. What the reference film carries as well is common to all pairs.
bool is_distrusted(const WorkingSeries& work, const ComparisonResult& pair) {
  const auto untrusted = assessment::untrusted_flags();
  const auto& of_film = work.films[pair.follow_up].out.flags;
  const auto& of_reference = work.films[pair.reference].out.flags;
  return std::any_of(untrusted.begin(), untrusted.end(), [&](std::string_view id) {
    return has_flag(pair.flags, id) || (has_flag(of_film, id) && !has_flag(of_reference, id));
  });
}

/// The measured pairs once more, all of this hip together: one that is distrusted listens only.
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
    if (is_distrusted(work, pair)) alone.back().depths.reset();
  }
  if (pairs.size() < 2) return;
  const HipFilm& reference = *work.films[pairs.front()->reference].hip;
  std::vector<migration::Migration> together;
  parallel_for(1, run.threads, [&](std::size_t) {  // so that it may spread over the threads
    together = run.steps.compare_together(reference, follow_ups, std::move(alone));
  });
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    take(std::move(together[i]), *pairs[i]);
  }
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
       "Lines by zone were mostly right on films of one simulator; on those of another many were "
       "left open, and lines were told where none is, above all on lateral films. Believe the "
       "picture of the unrolled interface before any of them."});
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
    FilmResult& told = result.films.back();
    if (film.refused) told.status = Status::kNotMeasured;
    if (told.signs && film.hip && !film.hip->in_pixels) {
      const auto& scale = film.hip->scale;
      told.signs = lucency::with_scale_u(std::move(*told.signs), scale.u.value / scale.value.value);
    }
  }
  flag_broken_promise(result);
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

/// Films and the pieces of a film fill the threads by parallel_for. OpenCV's own would only be more
/// of them, in an arena that the program's end takes away while they may still be leaving it.
void keep_opencv_on_our_threads() {
  static std::once_flag once;
  std::call_once(once, [] { cv::setNumThreads(1); });
}

Result measured_by(const Series& series, const Options& options, const Steps& steps) {
  assert(!series.films.empty());
  keep_opencv_on_our_threads();
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
  see_implants(work, run);
  scale_films(work, options.without_scale);
  settle_scales_by_stem(work);
  doubt_views(work);
  doubt_head_diameter(work);
  load_stem(work, steps);
  std::vector<ComparisonResult> comparisons = list_comparisons(work);
  measure_early(work, run, comparisons);
  look_at_films(work, run);
  measure_side_films(work, steps, run.threads);
  look_beside_side_films(work, steps, run.threads);
  leave_disagreements_open(work);
  auto of_films = compare_and_draw_films(work, run, comparisons);
  settle_together(work, run, comparisons);
  parallel_for(comparisons.size(), run.threads,
               [&](std::size_t i) { compare_signs(work, comparisons[i]); });
  Result result =
      collect(work, std::move(comparisons), compare_side_films(work, steps, run.threads), options);
  take_film_pictures(std::move(of_films), result);
  if (options.pictures == Pictures::kDraw) draw_the_rest(work, run, result);
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
  return film_left || pair_left || lacks_reference(result) ? 1 : 0;
}

}  // namespace tidemark::followup
