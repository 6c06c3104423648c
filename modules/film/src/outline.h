#pragma once

#include <optional>
#include <vector>

#include "tidemark/core/raster.h"
#include "tidemark/film/field.h"

namespace tidemark::film {

/// Pixels from `low` to `high`, both within.
struct Span {
  int low = 0;
  int high = 0;
};

/// Columns and rows between which anything of a mask is set.
struct Box {
  Span x;
  Span y;
};

/// Nothing for an empty mask.
[[nodiscard]] std::optional<Box> box_of(const Mask& mask);

/// Where two lines meet; not finite where they are parallel.
[[nodiscard]] Vec2 meet(const Line2& a, const Line2& b);

/// All of a film as a field.
[[nodiscard]] ExposedField whole_of(const Raster& pixels);

/// Cuts the film down to these columns and rows, within it. stored_from_view is adapted.
void cut_to(FilmImage& film, const Span& x, const Span& y);

/// The pixels whose centres lie in every outline (even-odd rule).
[[nodiscard]] Mask inside_of(const std::vector<Outline>& outlines, int width, int height);

/// The film cut down to the smallest upright rectangle about what lies in every outline (view px)
/// and at least `inwards` px off their borders (rows and columns, not slantwise); elsewhere in it
/// the nearest grey along the row, else along the column. As it is where nothing would be left.
[[nodiscard]] FilmImage within_outlines(FilmImage film, const std::vector<Outline>& outlines,
                                        double inwards);

}  // namespace tidemark::film
