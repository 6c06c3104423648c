#pragma once

#include <optional>
#include <string>

#include "tidemark/film/film.h"

namespace tidemark::film {

/// How a film's greys are spread. Numbers of a film's exposed field; a film that is shown as it was
/// exposed has them near 1 but `tied_at_top`, which is near 0.
struct Tone {
  /// Greys between the 80th and the 99th percentile over those between the 20th and the 80th, in
  /// units of what a normal distribution has (0.886). Bone and metal are the brightest fifth: near
  /// 0, a tone curve or a window has pressed them together.
  double bright_room = 1.0;
  double tied_at_top = 0.0;  ///< share of the pixels that have the one brightest grey
  /// Scatter of local means (windows of a fifth of the longer side) over that of all greys. Low
  /// where the film was evened out region by region.
  double wide_share = 1.0;

  /// Bright greys are pressed together. House choice.
  [[nodiscard]] bool is_pressed() const { return bright_room < 0.08; }
  /// They are cut off: more of the film than metal usually covers has the one brightest grey. House
  /// choice.
  [[nodiscard]] bool is_cut() const { return tied_at_top > 0.09; }
  /// Bright greys still differ from each other. House choice.
  [[nodiscard]] bool differs_at_top() const { return tied_at_top < 0.15; }
  [[nodiscard]] bool can_be_spread() const { return is_pressed() && differs_at_top(); }
  /// The film was evened out region by region. House choice.
  [[nodiscard]] bool is_levelled() const { return wide_share < 0.4; }
};

[[nodiscard]] Tone tone_of(const Raster& pixels);

/// The film with its greys spread as a normal distribution: each becomes the normal score of its
/// rank. A monotone tone curve makes no difference to the result but for rounding, so that bright
/// greys which a curve pressed together lie apart again. Equal greys stay equal.
[[nodiscard]] FilmImage with_spread_greys(FilmImage film);

/// The film, its greys spread where bright ones are pressed together but still differ; greys_spread
/// and a note of its facts then say so. A film that is not pressed is given back as it is. Bright
/// has to be what absorbs: on a film in negative it is air.
[[nodiscard]] FilmImage with_room_for_bright(FilmImage film);

/// The film with its greys spread whatever its tone, for a second look where the first left doubts;
/// greys_spread and a note say so. Nothing where they are spread already, or where too many of them
/// are the one brightest.
[[nodiscard]] std::optional<FilmImage> spread_for_second_look(const FilmImage& film);

/// The film with its dark greys drawn apart, for another look where the first left doubts;
/// greys_spread and a note say so. Where greys are as the absorption itself (the line integral, as
/// raw data and simple simulations have it), bone has a tenth of metal's: each grey becomes the
/// power 0.4 of its share of the range (0.5 to 99.8 %). Nothing where the greys are spread already,
/// or where of what is brighter than the background less than a fifth lies in the darkest 15 % of
/// that range, or more than an eighth between there and 25 %: soft tissue fills that on films that
/// are shown as usual. House choices.
[[nodiscard]] std::optional<FilmImage> dark_opened_for_second_look(const FilmImage& film);

/// The film with metal set apart from bone, for another look where the first left doubts;
/// greys_spread and a note say so. Where a film's brightest greys are cut off, as by a window set
/// for soft parts, metal is flat and bone nearly as bright, so that bone's outer edge is steeper
/// than metal's. Greys stay as they are up to the brightest bone's and rise from there so steeply
/// that what is cut off is three times as bright.
/// @param bone_share  of all that is not cut off, what is no brighter than the brightest bone: 0.99
///                    where metal's blurred edges alone are brighter, less where bone is cut off
///                    too
/// @return nothing where the greys are spread already, where less than 2 % of the film is cut off,
///         or where the brightest bone lies below 0.55 of the range as it is. House choices.
[[nodiscard]] std::optional<FilmImage> cut_off_metal_set_apart_for_second_look(
    const FilmImage& film, double bone_share);

/// The same where nothing is cut off, but metal little brighter than bone: greys stay as they are
/// up to four fifths of the way from the film's median to metal's and rise from there so steeply
/// that metal is three times as far from the median.
/// @param metal  grey of metal; of a stem, where it is thinnest
/// @return nothing where the greys are spread already, or metal is not among the brightest 8 % of
///         the film: then it is bone that was taken for a stem. House choice.
[[nodiscard]] std::optional<FilmImage> metal_set_apart_for_second_look(const FilmImage& film,
                                                                       float metal);

/// Whether bright greys have so little room that bone's edge may be taken for metal's: less than on
/// any simulated film as taken (0.43 and more), more than where they are spread at once. House
/// choice.
[[nodiscard]] bool asks_for_second_look(const FilmImage& film);

/// What processing did to a film that may keep stem and bone from being seen, as a clause of which
/// the film's greys are the subject; nothing where its tone is usual. To be asked where something
/// could not be measured.
[[nodiscard]] std::optional<std::string> fault_of_tone(const FilmImage& film);

}  // namespace tidemark::film
