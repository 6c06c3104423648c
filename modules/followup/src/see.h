#pragma once

#include <functional>

#include "run.h"
#include "working.h"

namespace tidemark::followup {

/// One look at an upright film, with its greys as stored or turned over.
using LookAtFilm = std::function<Expected<Seen>(const film::FilmImage& upright)>;

/// What is seen; with the grey values turned over (and a flag) when that shows it better.
[[nodiscard]] Expected<Seen> in_either_grey(const film::FilmImage& upright, const LookAtFilm& look);

/// Says so where the greys of the film were spread.
[[nodiscard]] Seen with_flag_of_greys(Seen seen);

/// Finds the implant on every film that was read and is not from the side: fills `seen`, or refuses
/// the film. Where nothing says which hip it is, both sides are tried and `work.side` is set.
/// Drops `upright`.
void see_implants(WorkingSeries& work, const Run& run);

}  // namespace tidemark::followup
