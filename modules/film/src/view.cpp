#include "tidemark/film/film.h"

namespace tidemark::film {

FilmImage inverted(const FilmImage& film) {
  FilmImage out = film;
  for (float& v : out.pixels.values) v = -v;
  return out;
}

}  // namespace tidemark::film
