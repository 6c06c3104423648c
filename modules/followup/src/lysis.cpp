#include "lysis.h"

#include "panel.h"

namespace tidemark::followup {
namespace {

lucency::LysisFilm film_of(const HipFilm& film) {
  return {film.hip_view, film.implant, film.femur, film.lucency->plan, film.scale.value};
}

}  // namespace

std::vector<lucency::ZoneLysis> lysis_of(const HipFilm& reference, const HipFilm& follow_up,
                                         const std::optional<migration::Migration>& migration) {
  std::vector<lucency::ZoneLysis> out;
  if (!reference.lucency || !follow_up.lucency) return out;
  if (!migration) {
    for (const lucency::Zone& zone : reference.lucency->plan.zones) {
      lucency::ZoneLysis one;
      one.zone = zone.number;
      one.reason = "The bone of both films could not be laid on each other.";
      out.push_back(std::move(one));
    }
    return out;
  }
  out = lucency::compare_lysis(film_of(reference), film_of(follow_up),
                               follow_from_reference(reference, follow_up, *migration));
  for (lucency::ZoneLysis& one : out) {
    if (!one.middle_px) continue;
    one.middle_px = follow_up.hip_view.stored_from_view.apply(*one.middle_px);
  }
  return out;
}

}  // namespace tidemark::followup
