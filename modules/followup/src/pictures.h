#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "run.h"
#include "working.h"

// What is drawn or kept for a screen once the numbers stand. Films and pairs in parallel.

namespace tidemark::followup {

using MaybePicture = std::optional<Picture>;

/// The overlay of film `i`; nothing for a film that is not measured.
[[nodiscard]] MaybePicture draw_one_film(const WorkingSeries& work, const Run& run, std::size_t i);

/// Puts the overlays of all films into the result, by film.
void take_film_pictures(std::vector<MaybePicture> of_films, Result& result);

/// Draws pairs, unrolled interfaces and the seat into the result.
void draw_the_rest(const WorkingSeries& work, const Run& run, Result& result);

/// The unrolled interface of each film that has lines, as pixels.
[[nodiscard]] std::vector<UnrolledFilm> unroll_films(const WorkingSeries& work, const Run& run,
                                                     const Result& result);

/// The reference film, and the measured follow-ups in its frame.
[[nodiscard]] std::optional<AlignedFilms> align_films(const WorkingSeries& work, const Run& run,
                                                      const Result& result);

}  // namespace tidemark::followup
