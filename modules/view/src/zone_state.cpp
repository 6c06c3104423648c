#include "zone_state.h"

namespace tidemark::view {
namespace {

int rank_of(lucency::State state) {
  switch (state) {
    case lucency::State::kPresent:
      return 3;
    case lucency::State::kCannotTell:
      return 2;
    case lucency::State::kNotSeen:
      return 1;
    case lucency::State::kAbsent:
      break;
  }
  return 0;
}

}  // namespace

const followup::ZoneResult* speaking_for(const followup::FilmResult& film, int zone) {
  const followup::ZoneResult* out = nullptr;
  for (const followup::ZoneResult& one : film.zones) {
    if (one.zone != zone) continue;
    if (out == nullptr || rank_of(one.state) > rank_of(out->state)) out = &one;
  }
  return out;
}

const followup::UnrolledFilm* unrolled_of(const followup::Result& result, std::size_t film) {
  for (const followup::UnrolledFilm& one : result.unrolled) {
    if (one.strips.back().film == film) return &one;
  }
  return nullptr;
}

}  // namespace tidemark::view
