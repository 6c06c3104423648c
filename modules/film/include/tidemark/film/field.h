#pragma once

#include <filesystem>
#include <optional>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"
#include "tidemark/film/film.h"

namespace tidemark::film {

/// The corners of a closed outline, in order; the last is joined to the first.
using Outline = std::vector<Vec2>;

/// The part of a film that the collimator left open, in px of the film's view. Each border is a
/// straight line, nearly parallel to its side of the matrix; where the field reaches that side it
/// is the side itself.
struct ExposedField {
  Line2 left;    ///< runs down
  Line2 right;   ///< runs down
  Line2 top;     ///< runs to the right
  Line2 bottom;  ///< runs to the right
  /// What the file's header says beside it: the field is what lies in each of these as well.
  std::vector<Outline> within = {};
};

/// A film and the part of it that was exposed; nothing where that is all of it.
struct FilmInField {
  FilmImage film;
  std::optional<ExposedField> field;
};

/// film::read with the field that is to be measured: find_exposed_field, and what a DICOM header
/// says of display shutter (0018,1600 to 1620) and collimator (0018,1700 to 1720). Several shapes
/// bound it together; rows and columns count from 1; a circle's radius counts columns (PS3.3
/// C.7.6.11, C.8.7.3). Shutter Presentation Value (0018,1622) is not needed: what lies outside is
/// left out, whatever grey it would be shown with.
///
/// A header is believed where the pixels do not speak against it. Shutter and collimator are each
/// left aside, with a note in film.facts.notes, where less than a quarter of the film would be
/// left, or where outside, 3 blocks (see below) off the border, on any side, there is more to see
/// than behind lead or a mask: greys scatter by more than half of the film's, or more than 2 % of
/// the blocks stand out from their neighbours by a twentieth of the film's spread (bone does on
/// many times as many). So a wrong header can make nothing of the hip disappear unsaid; a film
/// whose shutter is for show only is measured as it was taken. Missing or impossible parts of a
/// shape: that shape is not used, with a note. House choices.
/// @return as film::read does
[[nodiscard]] Expected<FilmInField> read_in_field(const std::filesystem::path& file);

/// Where lead shutters, or a mask drawn over the film afterwards, end the field.
///
/// Where no border is seen, margins of one grey (but for 0.5 % of the film's range) on three sides
/// at least, one of which takes a tenth of its side, as exports pad films with, are left out, and
/// borders are looked for within them; not where they would leave less than a quarter of the film.
/// House choices.
///
/// A border is a straight edge within 3 degrees of its side of the matrix, no farther from it
/// than a third of the film, with a mean step of 0.29 of the film's spread of greys (5 to 95 %).
/// Beyond it little is left to see: greys scatter by half of the film's at most (scatter from the
/// field fades out there). Either the outside is the brighter one along two fifths of the border
/// and hardly anywhere the darker one (metal beside lead shows no edge), and all of it brighter
/// than half of the film; or it is darker along three quarters of it and the top ends in the same
/// way, else it is air beyond the skin. On 60 films of two simulators borders have mean steps of
/// 0.31 and more, the best lines of films without any 0.27 and less. Borders are set 1.5 blocks (of
/// a 320th of the longer side) inwards, off the penumbra and the halo of edge enhancement. House
/// choices.
///
/// @return nothing where no side has a border, or where the field would be less than a quarter of
///         the film: that is no collimation but something drawn on it.
[[nodiscard]] std::optional<ExposedField> find_exposed_field(const Raster& pixels);

/// The film cut down to its exposed field: the smallest upright rectangle about it; what lies in
/// its corners beyond a slanting border or a stated outline takes the nearest grey of the field
/// along the row or column. Outlines are set inwards as borders are. stored_from_view is adapted,
/// so that stored px stay what they were. A film without borders is given back as it is.
[[nodiscard]] FilmImage within_exposed_field(FilmImage film);
/// The same where the field is known: find_exposed_field of this film's pixels.
[[nodiscard]] FilmImage within_exposed_field(FilmImage film,
                                             const std::optional<ExposedField>& field);

}  // namespace tidemark::film
