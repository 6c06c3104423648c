#pragma once

#include <optional>
#include <string>

#include "tidemark/core/expected.h"
#include "working.h"

// What one film, or the series as a whole, gives reason to doubt before anything is compared. Pairs
// are doubted by migration/same_hip.h.

namespace tidemark::followup {

/// Whether the other side deserves a look: nothing was found on the side that was asked for, or
/// less surely than on an ordinary film of that side, and nobody marked the stem by hand.
[[nodiscard]] bool doubts_side(const Expected<Seen>& asked, const FilmEntry& entry);

/// Why a film is not measured when the implant stands as on the other side: it is stored mirrored,
/// the side is wrong, or only the other hip on it is replaced (two different heads were found, and
/// beside the other stem the asked one is as dark as bone). Nothing when there is no such doubt.
/// @param asked   the implant on the side of the series
/// @param turned  the implant on the other side
[[nodiscard]] std::optional<std::string> stands_on_other_side(const Expected<Seen>& asked,
                                                              const Expected<Seen>& turned,
                                                              Side side);

/// Whether the circle found may be another one than the head's.
[[nodiscard]] bool doubts_head(const anatomy::Implant& implant);

/// Distance of the head's centre from the stem's axis, mm. The smallest stems in use have 30 mm
/// (common practice, no source), seen at the cosine of the angle between neck and film: 20 mm at 48
/// degrees, which no frontal film has. House choice.
inline constexpr double kLeastOffsetMm = 20.0;

/// A length as sentences say it, without decimals.
[[nodiscard]] std::string whole_mm(double value);

/// Refuses or flags films whose head lies too close to the stem's axis for a frontal view. Needs
/// the scale.
void doubt_views(WorkingSeries& work);

/// What is to be done about a film that was processed too strongly, to follow what is wrong.
inline constexpr const char* kUnprocessed =
    "; send the film as it was taken, without a viewer's window, tone curve or local contrast";

/// Why a film of odd tone is not measured.
/// @param wrong  what could not be found, or looks odd
/// @param fault  of its tone, as film::fault_of_tone says it
[[nodiscard]] std::string reason_by_tone(const std::string& wrong, const std::string& fault);

/// Flags a stated head diameter that nothing else on the films can contradict.
void doubt_head_diameter(WorkingSeries& work);

/// Why a film is not measured when what was taken for stem and head may be the bone of a hip
/// without an implant: of the head, the stem's flanks and a shaft of bone about them two are in
/// doubt. Nothing where a hand has marked head or stem.
[[nodiscard]] std::optional<std::string> may_be_bone(const anatomy::Implant& implant,
                                                     const anatomy::Femur& femur,
                                                     const FilmEntry& entry);

}  // namespace tidemark::followup
