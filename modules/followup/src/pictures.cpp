#include "pictures.h"

#include <string>
#include <utility>

#include "panel.h"
#include "seat.h"
#include "tidemark/core/parallel.h"

namespace tidemark::followup {
namespace {

std::string numbered(const std::string& stem, std::size_t i) {
  const std::string number = std::to_string(i);
  return stem + (number.size() < 2 ? "-0" : "-") + number + ".png";
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

}  // namespace

MaybePicture draw_one_film(const WorkingSeries& work, const Run& run, std::size_t i) {
  const Working& film = work.films[i];
  MaybePicture picture;
  if (film.hip && !film.refused) picture = draw_film(numbered("overlay", i), *film.hip, film.out);
  run.meter.step();
  return picture;
}

void take_film_pictures(std::vector<MaybePicture> of_films, Result& result) {
  take_pictures(std::move(of_films), result.films, &FilmResult::picture, result);
}

void draw_the_rest(const WorkingSeries& work, const Run& run, Result& result) {
  take_pictures(draw_pairs(work, run, result), result.comparisons, &ComparisonResult::picture,
                result);
  take_pictures(draw_all_zones(work, run, result), result.films, &FilmResult::zones_picture,
                result);
  take_seat_picture(work, result);
}

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

}  // namespace tidemark::followup
