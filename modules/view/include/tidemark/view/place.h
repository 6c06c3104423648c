#pragma once

#include <cstddef>
#include <optional>

#include "tidemark/core/geometry.h"
#include "tidemark/film/film.h"
#include "tidemark/followup/result.h"

namespace tidemark::view {

/// What a follow-up film is laid on.
enum class LaidOn { kBone, kStem };

/// The frames of a film that a placement needs. The whole film is shown, its exposed field alone is
/// measured: the two views count from different corners.
struct FilmFrame {
  Affine2 stored_from_shown;     ///< of the upright view that is shown
  Affine2 stored_from_measured;  ///< of the upright view that is measured
  int measured_width = 0;        ///< of the latter, px
  double view_px_per_stored_px = 1.0;
};
/// @param measured the same film as Steps::read gives it (film::within_exposed_field)
[[nodiscard]] FilmFrame frame_of(const film::FilmImage& shown, const film::FilmImage& measured);

/// follow_from_reference in px of the two upright views that are shown, bone on bone or stem on
/// stem, as migration found it on those that were measured.
/// @return absent when the comparison or one of its films was not measured
[[nodiscard]] std::optional<Affine2> follow_from_reference(const followup::Result& result,
                                                           const followup::ComparisonResult& pair,
                                                           const FilmFrame& reference,
                                                           const FilmFrame& follow_up,
                                                           LaidOn laid_on);

/// Where no alignment is known: head centre on head centre at one scale where both films have
/// them, else pixel on pixel. For films side by side, never to be laid over each other.
[[nodiscard]] Affine2 roughly_placed(const followup::FilmResult& reference,
                                     const followup::FilmResult& follow_up,
                                     const film::FilmImage& reference_film,
                                     const film::FilmImage& follow_up_film);

}  // namespace tidemark::view
