#pragma once

#include <cstddef>

#include "tidemark/followup/result.h"

namespace tidemark::view {

/// What stands for a zone that has several interfaces: one with a line, else one that is open
/// ("cannot tell", then "not seen"). So "no line" is said only where no interface can have one.
/// @return of `film`; null: it has no such zone
[[nodiscard]] const followup::ZoneResult* speaking_for(const followup::FilmResult& film, int zone);

/// The film's interface unrolled, which is its last strip; null: it has none.
[[nodiscard]] const followup::UnrolledFilm* unrolled_of(const followup::Result& result,
                                                        std::size_t film);

}  // namespace tidemark::view
