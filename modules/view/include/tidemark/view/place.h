#pragma once

#include <cstddef>
#include <optional>

#include "tidemark/core/geometry.h"
#include "tidemark/film/film.h"
#include "tidemark/followup/result.h"

namespace tidemark::view {

/// What a follow-up film is laid on.
enum class LaidOn { kBone, kStem };

/// The frame of a film that a placement needs.
struct FilmFrame {
  int width = 0;  ///< of the upright view, px
  double view_px_per_stored_px = 1.0;
};
[[nodiscard]] FilmFrame frame_of(const film::FilmImage& film);

/// follow_from_reference in px of the two upright views (film::FilmImage::pixels), bone on bone or
/// stem on stem, as migration found it.
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
