#include "outline.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>

namespace tidemark::film {
namespace {

/// Where an outline crosses the middle of a row, ascending.
std::vector<double> crossings_of(const Outline& outline, double y) {
  std::vector<double> out;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const Vec2& a = outline[i];
    const Vec2& b = outline[(i + 1) % outline.size()];
    if ((a.y() <= y) == (b.y() <= y)) continue;
    out.push_back(a.x() + (b.x() - a.x()) * (y - a.y()) / (b.y() - a.y()));
  }
  std::sort(out.begin(), out.end());
  return out;
}

/// Takes away what lies in a row outside of an outline.
void keep_inside(const Outline& outline, int y, Mask& mask) {
  const std::vector<double> at = crossings_of(outline, y);
  int next = 0;  // the first pixel that is not yet decided
  for (std::size_t i = 0; i + 1 < at.size(); i += 2) {
    const double first = std::clamp(std::ceil(at[i]), 0.0, static_cast<double>(mask.width));
    const double last = std::clamp(std::floor(at[i + 1]), -1.0, mask.width - 1.0);
    for (; next < static_cast<int>(first); ++next) mask.at(next, y) = 0;
    next = std::max(next, static_cast<int>(last) + 1);
  }
  for (; next < mask.width; ++next) mask.at(next, y) = 0;
}

/// One row or column of a raster.
template <class T>
struct LineOf {
  T* first;
  std::size_t step;
  int size;

  [[nodiscard]] T& at(int i) const { return first[static_cast<std::size_t>(i) * step]; }
};

template <class T>
LineOf<T> row_of(RasterOf<T>& raster, int y) {
  return {&raster.at(0, y), 1, raster.width};
}

template <class T>
LineOf<T> column_of(RasterOf<T>& raster, int x) {
  return {&raster.at(x, 0), static_cast<std::size_t>(raster.width), raster.height};
}

/// For each place of a line the nearest place that is inside; nothing where none is.
std::vector<int> nearest_inside(const LineOf<std::uint8_t>& line) {
  constexpr int kNone = -1;
  std::vector<int> out(static_cast<std::size_t>(line.size), kNone);
  int before = kNone;
  for (int i = 0; i < line.size; ++i) {
    if (line.at(i) != 0) before = i;
    out[static_cast<std::size_t>(i)] = before;
  }
  int after = kNone;
  for (int i = line.size - 1; i >= 0; --i) {
    if (line.at(i) != 0) after = i;
    int& nearest = out[static_cast<std::size_t>(i)];
    if (after != kNone && (nearest == kNone || after - i < i - nearest)) nearest = after;
  }
  if (before == kNone) out.clear();
  return out;
}

/// Fills what is outside from the nearest inside; a line without any stays as it is.
void fill(const LineOf<std::uint8_t>& inside, const LineOf<float>& grey) {
  const std::vector<int> from = nearest_inside(inside);
  if (from.empty()) return;
  for (int i = 0; i < grey.size; ++i) grey.at(i) = grey.at(from[static_cast<std::size_t>(i)]);
  for (int i = 0; i < inside.size; ++i) inside.at(i) = 1;
}

/// Takes away what lies within `by` places of one outside; the line's own ends are none.
void shrink(const LineOf<std::uint8_t>& inside, int by) {
  std::vector<bool> outside(static_cast<std::size_t>(inside.size));
  for (int i = 0; i < inside.size; ++i) outside[static_cast<std::size_t>(i)] = inside.at(i) == 0;
  int before = by;  // places since the last one outside
  int after = by;
  for (int i = 0; i < inside.size; ++i) {
    const int j = inside.size - 1 - i;
    before = outside[static_cast<std::size_t>(i)] ? 0 : before + 1;
    after = outside[static_cast<std::size_t>(j)] ? 0 : after + 1;
    if (before <= by) inside.at(i) = 0;
    if (after <= by) inside.at(j) = 0;
  }
}

Raster cut(const Raster& pixels, const Span& x, const Span& y) {
  Raster out(x.high - x.low + 1, y.high - y.low + 1);
  for (int row = 0; row < out.height; ++row) {
    const auto from =
        pixels.values.begin() + static_cast<std::ptrdiff_t>(y.low + row) * pixels.width + x.low;
    std::copy(from, from + out.width,
              out.values.begin() + static_cast<std::ptrdiff_t>(row) * out.width);
  }
  return out;
}

}  // namespace

Vec2 meet(const Line2& a, const Line2& b) {
  const double across = a.direction.x() * b.direction.y() - a.direction.y() * b.direction.x();
  const Vec2 between = b.point - a.point;
  const double along_a = between.x() * b.direction.y() - between.y() * b.direction.x();
  return a.point + a.direction * (along_a / across);
}

std::optional<Box> box_of(const Mask& mask) {
  Box out{{mask.width, -1}, {mask.height, -1}};
  for (int y = 0; y < mask.height; ++y) {
    for (int x = 0; x < mask.width; ++x) {
      if (mask.at(x, y) == 0) continue;
      out.x = {std::min(out.x.low, x), std::max(out.x.high, x)};
      out.y = {std::min(out.y.low, y), std::max(out.y.high, y)};
    }
  }
  if (out.x.high < out.x.low) return std::nullopt;
  return out;
}

void cut_to(FilmImage& film, const Span& x, const Span& y) {
  film.pixels = cut(film.pixels, x, y);
  Affine2 view_from_cut;
  view_from_cut.offset = Vec2(x.low, y.low);
  film.stored_from_view = film.stored_from_view.after(view_from_cut);
}

Mask inside_of(const std::vector<Outline>& outlines, int width, int height) {
  Mask mask(width, height, 1);
  for (const Outline& outline : outlines) {
    for (int y = 0; y < height; ++y) keep_inside(outline, y, mask);
  }
  return mask;
}

FilmImage within_outlines(FilmImage film, const std::vector<Outline>& outlines, double inwards) {
  Raster& grey = film.pixels;
  Mask mask = inside_of(outlines, grey.width, grey.height);
  const int by = static_cast<int>(std::ceil(inwards));
  for (int y = 0; y < mask.height; ++y) shrink(row_of(mask, y), by);
  for (int x = 0; x < mask.width; ++x) shrink(column_of(mask, x), by);
  const auto box = box_of(mask);
  if (!box) return film;
  for (int y = 0; y < mask.height; ++y) fill(row_of(mask, y), row_of(grey, y));
  for (int x = box->x.low; x <= box->x.high; ++x) fill(column_of(mask, x), column_of(grey, x));
  cut_to(film, box->x, box->y);
  return film;
}

}  // namespace tidemark::film
