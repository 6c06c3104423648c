#pragma once

#include <optional>
#include <string>

#include "working.h"

namespace tidemark::followup {

/// Length of the stem from its shoulder to its tip along its axis, px of the hip view; nothing
/// where the field ends above the tip.
[[nodiscard]] std::optional<Measured<Pixels>> stem_on_film(const anatomy::Implant& implant);

/// A scale per view px as results state it: per stored px along a row.
/// @param view_per_stored film::view_px_per_stored_px of the film
[[nodiscard]] ScaleResult per_stored_px(std::string method,
                                        const Measured<MillimetresPerPixel>& per_view_px,
                                        std::string note, double view_per_stored);

/// The scale that the sheet gives a film, per view px. Needs FilmEntry::scale.
[[nodiscard]] Measured<MillimetresPerPixel> given_per_view_px(const FilmEntry& entry,
                                                              double view_per_stored);

}  // namespace tidemark::followup
