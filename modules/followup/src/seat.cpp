#include "seat.h"

namespace tidemark::followup {

std::optional<SeatResult> audited_seat(const WorkingSeries& work) {
  if (!work.reference) return {};
  const Working& film = work.films[*work.reference];
  if (film.refused || !film.hip || !film.hip->canal) return {};
  const HipFilm& hip = *film.hip;
  const Plan& plan = work.series.plan;
  std::optional<lucency::CalcarSign> calcar;
  if (film.out.signs) calcar = film.out.signs->calcar;
  const assessment::SeatEvidence evidence{
      .implant = hip.implant,
      .femur = hip.femur,
      .canal = *hip.canal,
      .scale = hip.scale,
      .tilt = film.out.tilt,
      .calcar = calcar,
      .pelvis = hip.pelvis ? &*hip.pelvis : nullptr,
      .pelvis_reason = hip.pelvis_reason,
      .plan = {.greater_trochanter_to_head_centre = plan.greater_trochanter_to_head_centre,
               .stem_tilt = plan.stem_tilt,
               .leg_length_difference = plan.leg_length_difference,
               .leg_length_change = plan.leg_length_change},
      .lengths = work.length_unit == LengthUnit::kMillimetres ? assessment::Lengths::kMillimetres
                                                              : assessment::Lengths::kPixels};
  SeatResult out{*work.reference, assessment::audit_seat(evidence), {}};
  for (assessment::SeatItem& item : out.items) {
    for (assessment::SeatPlace& place : item.places) {
      for (Vec2& p : place.px) p = hip.hip_view.stored_from_view.apply(p);
    }
  }
  return out;
}

}  // namespace tidemark::followup
