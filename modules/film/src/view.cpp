#include <algorithm>
#include <cstddef>

#include "tidemark/film/film.h"

namespace tidemark::film {

FilmImage as_right_hip(const FilmImage& upright, Side side) {
  FilmImage hip = upright;
  if (side == Side::kRight) return hip;
  const auto width = static_cast<std::ptrdiff_t>(hip.pixels.width);
  for (auto row = hip.pixels.values.begin(); row != hip.pixels.values.end(); row += width) {
    std::reverse(row, row + width);
  }
  Affine2 upright_from_hip;
  upright_from_hip.linear << -1.0, 0.0, 0.0, 1.0;
  upright_from_hip.offset = Vec2(static_cast<double>(width) - 1.0, 0.0);
  hip.stored_from_view = upright.stored_from_view.after(upright_from_hip);
  return hip;
}

FilmImage inverted(const FilmImage& film) {
  FilmImage out = film;
  if (out.pixels.values.empty()) return out;
  // Between the same ends, as if the file had said so: see grey_table().
  const auto [low, high] =
      std::minmax_element(film.pixels.values.begin(), film.pixels.values.end());
  const float sum = *low + *high;
  for (float& v : out.pixels.values) v = sum - v;
  return out;
}

double view_px_per_stored_px(const FilmImage& film) {
  // Row 0 of the matrix: how far stored x moves for one view pixel along the axis that follows it.
  return 1.0 / film.stored_from_view.linear.row(0).norm();
}

}  // namespace tidemark::film
