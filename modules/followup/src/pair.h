#pragma once

#include "tidemark/alignment/memory.h"
#include "tidemark/followup/steps.h"

namespace tidemark::followup {

/// Cuts the film down to the femur and makes it ready to be aligned.
[[nodiscard]] Expected<std::shared_ptr<const PreparedHip>> prepare(const HipFilm& film);

/// Migration of the stem between two prepared films of the same hip.
/// @param memory  registrations that were asked for before; null: none are kept
[[nodiscard]] Expected<migration::Migration> compare(const FilmOfPair& reference,
                                                     const FilmOfPair& follow_up,
                                                     alignment::Memory* memory = nullptr);

/// The migrations of several follow-up films against one reference film, in the same order: each
/// was derived alone, and is derived again with what the other pairs told of the depths at which
/// the features of this femur register (migration::with_others). Those that cannot be are as they
/// were.
[[nodiscard]] std::vector<migration::Migration> compare_together(
    const HipFilm& reference, const std::vector<const HipFilm*>& follow_ups,
    std::vector<migration::Migration> alone);

/// What became of the lines of two films that were both looked at. Needs no alignment of the bone.
/// @return kCannotTell when the films do not show one hip (migration::doubts).
[[nodiscard]] Expected<std::vector<lucency::ZoneChange>> compare_lines(const HipFilm& reference,
                                                                       const HipFilm& follow_up);

/// Standard uncertainty of what the scales of both films of a pair have in common, relative. The
/// nominal head of lengths in pixels cancels in them. Of scales that the sheet gives, half of the
/// variance is taken to be common (one machine, one way to lay legs; house choice), while their
/// ratio keeps all of it.
[[nodiscard]] double shared_scale_u(const HipFilm& reference);

/// Whether limits in mm hold beside the stem of a pair.
[[nodiscard]] lucency::ScaleTrust scale_trust(const HipFilm& reference, const HipFilm& follow_up);

}  // namespace tidemark::followup
