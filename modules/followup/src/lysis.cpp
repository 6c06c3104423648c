#include "lysis.h"

#include "pair.h"
#include "panel.h"

namespace tidemark::followup {
namespace {

lucency::LysisFilm film_of(const HipFilm& film) {
  return {film.hip_view, film.implant, film.femur, film.lucency->plan, film.scale.value};
}

std::vector<lucency::ZoneLysis> open_in(const lucency::ZonePlan& plan, const std::string& reason) {
  std::vector<lucency::ZoneLysis> out;
  for (const lucency::Zone& zone : plan.zones) {
    out.push_back({});
    out.back().zone = zone.number;
    out.back().reason = reason;
  }
  return out;
}

}  // namespace

std::vector<lucency::ZoneLysis> lysis_of(const HipFilm& reference, const HipFilm& follow_up,
                                         const std::optional<migration::Migration>& migration) {
  if (!reference.lucency || !follow_up.lucency) return {};
  if (!migration) {
    return open_in(reference.lucency->plan,
                   "The bone of both films could not be laid on each other.");
  }
  if (scale_trust(reference, follow_up) == lucency::ScaleTrust::kNominal) {
    return open_in(
        reference.lucency->plan,
        "Nothing gives the scale of the films, so that an area in mm² cannot be judged.");
  }
  auto out = lucency::compare_lysis(film_of(reference), film_of(follow_up),
                                    follow_from_reference(reference, follow_up, *migration));
  for (lucency::ZoneLysis& one : out) {
    if (!one.middle_px) continue;
    one.middle_px = follow_up.hip_view.stored_from_view.apply(*one.middle_px);
  }
  return out;
}

}  // namespace tidemark::followup
