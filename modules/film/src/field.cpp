#include "tidemark/film/field.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include "blocks.h"
#include "outline.h"

namespace tidemark::film {
namespace {

constexpr double kMostSlope = 0.055;   ///< of a border against its side; 3 degrees
constexpr double kMostDepth = 0.34;    ///< of the film, from its side
constexpr double kDarkShare = 0.75;    ///< of a dark border's length that is an edge
constexpr double kBrightShare = 0.4;   ///< of a bright one's: beside metal it is none
constexpr double kMostAgainst = 0.1;   ///< of its length that is an edge the other way
constexpr double kMeanStep = 0.29;     ///< least mean step along a border, of the film's spread
constexpr double kEndsLeftOut = 0.12;  ///< of a border, where the next side's border may hide it

enum class SideOf { kLeft, kRight, kTop, kBottom };

bool is_upright(SideOf side) { return side == SideOf::kLeft || side == SideOf::kRight; }

/// The film seen from one side: its x runs along it, its y away from it, so that a border is read
/// along a row.
Raster seen_from(const Raster& image, SideOf side) {
  const bool upright = is_upright(side);
  Raster out(upright ? image.height : image.width, upright ? image.width : image.height);
  const bool from_far = side == SideOf::kRight || side == SideOf::kBottom;
  for (int depth = 0; depth < out.height; ++depth) {
    const int at = from_far ? out.height - 1 - depth : depth;
    for (int along = 0; along < out.width; ++along) {
      out.at(along, depth) = upright ? image.at(at, along) : image.at(along, at);
    }
  }
  return out;
}

/// A border seen from its side: depth + slope * (along - middle), in blocks.
struct Edge {
  int depth = 0;
  double slope = 0.0;
  double up = 0.0;    ///< share of its length along which the outside is clearly brighter
  double down = 0.0;  ///< share along which it is clearly darker
  double step = 0.0;  ///< mean step across it, outside less inside
  int halo = 0;       ///< blocks that edge enhancement makes too dark inside of a bright one

  [[nodiscard]] bool holds() const {
    return (up >= kBrightShare && down <= kMostAgainst) || down >= kDarkShare;
  }
};

/// How far a border of this slope lies from its depth in the middle, in blocks, for each place
/// along it.
std::vector<int> lean_of(double slope, int length) {
  std::vector<int> out(static_cast<std::size_t>(length));
  for (int t = 0; t < length; ++t) {
    out[static_cast<std::size_t>(t)] =
        static_cast<int>(std::floor(slope * (t - 0.5 * (length - 1)) + 0.5));
  }
  return out;
}

/// How much of a line steps up, and how much down, from inside to outside. `film` as seen_from()
/// gives it, here and below.
Edge weighed(const Raster& film, int depth, double slope, const std::vector<int>& lean,
             double least_step) {
  const int n = film.width;
  const int skip = static_cast<int>(kEndsLeftOut * n);
  int up = 0;
  int down = 0;
  double sum = 0.0;
  for (int t = skip; t < n - skip; ++t) {
    const int d = depth + lean[static_cast<std::size_t>(t)];
    if (d < 2 || d + 2 >= film.height) continue;
    const double step = film.at(t, d - 2) - film.at(t, d + 2);
    up += step > least_step ? 1 : 0;
    down += step < -least_step ? 1 : 0;
    sum += step;
  }
  const double all = std::max(1, n - 2 * skip);
  return {depth, slope, up / all, down / all, sum / all};
}

/// What a film's greys are like as a whole.
struct Greys {
  double spread = 0.0;
  double middle = 0.0;  ///< lead is brighter
};

/// Is there nothing to see outside of the border, as behind lead or a mask?
bool nothing_outside(const Raster& film, const Edge& e, const std::vector<int>& lean,
                     const Greys& greys) {
  std::vector<float> outside;
  const int n = film.width;
  const int skip = static_cast<int>(kEndsLeftOut * n);
  for (int t = skip; t < n - skip; ++t) {
    const int end = e.depth + lean[static_cast<std::size_t>(t)];
    for (int d = 0; d + 2 <= end; ++d) outside.push_back(film.at(t, d));
  }
  if (outside.size() <= static_cast<std::size_t>(n)) return false;
  if (spread(outside) > kFlat * greys.spread) return false;
  return e.step < 0.0 || quantile(outside, 0.05) >= greys.middle;
}

/// Blocks inside of a bright border that edge enhancement makes too dark, by medians along it: as
/// long as the film brightens inwards by 8 % of the step in a block, four at most. What goes on is
/// bone. House choices.
int halo_of(const Raster& film, const Edge& e, const std::vector<int>& lean) {
  constexpr int kMost = 4;
  constexpr double kStill = 0.08;
  if (e.step <= 0.0) return 0;
  const int n = film.width;
  const int skip = static_cast<int>(kEndsLeftOut * n);
  const auto grey = [&](int inwards) {
    std::vector<float> greys;
    for (int t = skip; t < n - skip; ++t) {
      const int d = e.depth + lean[static_cast<std::size_t>(t)] + inwards;
      if (d >= 0 && d < film.height) greys.push_back(film.at(t, d));
    }
    return greys.empty() ? 0.0 : quantile(std::move(greys), 0.5);
  };
  const double step = grey(-2) - grey(2);
  int halo = 0;
  while (halo < kMost && grey(3 + halo) - grey(2 + halo) > kStill * step) ++halo;
  return halo;
}

/// The border of one side: of all lines that hold, the one with the largest step.
std::optional<Edge> border_of(const Raster& film, const Greys& greys) {
  std::optional<Edge> best;
  const int n = film.width;
  const int turns = static_cast<int>(std::ceil(0.5 * kMostSlope * n));
  const int deepest = static_cast<int>(kMostDepth * film.height);
  for (int turn = -turns; turn <= turns; ++turn) {
    const double slope = 2.0 * turn / n;
    const std::vector<int> lean = lean_of(slope, n);
    for (int depth = 2; depth < deepest; ++depth) {
      const Edge e = weighed(film, depth, slope, lean, kStep * greys.spread);
      const double least = best ? std::abs(best->step) : kMeanStep * greys.spread;
      if (!e.holds() || std::abs(e.step) <= least) continue;
      if (nothing_outside(film, e, lean, greys)) best = e;
    }
  }
  if (best) best->halo = halo_of(film, *best, lean_of(best->slope, n));
  return best;
}

/// Dark beyond a border is a mask drawn over the film, or air beyond a straight stretch of skin. A
/// mask closes the top or the bottom, where no skin ends: the leg goes on below, the hip above.
void keep_dark_masks_only(std::array<std::optional<Edge>, 4>& edges) {
  const auto dark = [](const std::optional<Edge>& e) { return e && e->step < 0.0; };
  if (dark(edges[2]) || dark(edges[3])) return;
  for (auto& edge : edges) {
    if (dark(edge)) edge.reset();
  }
}

/// Blocks that a film's borders are looked for in, and the film.
struct Blocks {
  int size = 1;  ///< px
  const Raster& means;
  const Raster& pixels;
};

/// The border as a line of the film; the side itself where there is none.
Line2 line_of(SideOf side, const std::optional<Edge>& edge, const Blocks& blocks) {
  const bool upright = is_upright(side);
  const bool turned = side == SideOf::kRight || side == SideOf::kBottom;
  double place = -0.5;
  if (edge) {
    // From the far sides blocks count from the last whole one, not from the film's end.
    const int across = upright ? blocks.means.width : blocks.means.height;
    const double at = blocks.size * (edge->depth + edge->halo + 0.5 + kInwards);
    place = turned ? blocks.size * across - 1.0 - at : at;
  } else if (turned) {
    place = (upright ? blocks.pixels.width : blocks.pixels.height) - 0.5;
  }
  const double middle = blocks.size * 0.5 * (upright ? blocks.means.height : blocks.means.width);
  const double slope = edge ? edge->slope : 0.0;
  const double lean = turned ? -slope : slope;
  return upright ? Line2{Vec2(place, middle), Vec2(lean, 1.0).normalized()}
                 : Line2{Vec2(middle, place), Vec2(1.0, lean).normalized()};
}

double x_at(const Line2& l, double y) {
  return l.point.x() + (y - l.point.y()) * l.direction.x() / l.direction.y();
}
double y_at(const Line2& l, double x) {
  return l.point.y() + (x - l.point.x()) * l.direction.y() / l.direction.x();
}

Span span_of(double low, double high, int size) {
  return {std::clamp(static_cast<int>(std::ceil(low)), 0, size - 1),
          std::clamp(static_cast<int>(std::floor(high)), 0, size - 1)};
}

/// Beyond slanting borders the nearest grey of the field: along rows first, then along columns.
void fill_outside(const ExposedField& field, Raster& pixels) {
  for (int y = 0; y < pixels.height; ++y) {
    const Span in = span_of(x_at(field.left, y), x_at(field.right, y), pixels.width);
    for (int x = 0; x < in.low; ++x) pixels.at(x, y) = pixels.at(in.low, y);
    for (int x = in.high + 1; x < pixels.width; ++x) pixels.at(x, y) = pixels.at(in.high, y);
  }
  for (int x = 0; x < pixels.width; ++x) {
    const Span in = span_of(y_at(field.top, x), y_at(field.bottom, x), pixels.height);
    for (int y = 0; y < in.low; ++y) pixels.at(x, y) = pixels.at(x, in.low);
    for (int y = in.high + 1; y < pixels.height; ++y) pixels.at(x, y) = pixels.at(x, in.high);
  }
}

/// The corners of the field, from the upper left one clockwise.
std::array<Vec2, 4> corners_of(const ExposedField& f, const Raster& pixels) {
  std::array<Vec2, 4> out{meet(f.left, f.top), meet(f.right, f.top), meet(f.right, f.bottom),
                          meet(f.left, f.bottom)};
  const Vec2 far(pixels.width - 1.0, pixels.height - 1.0);
  for (Vec2& p : out) p = p.cwiseMax(Vec2::Zero()).cwiseMin(far);
  return out;
}

double area_of(const std::array<Vec2, 4>& corners) {
  double twice = 0.0;
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const Vec2& a = corners.at(i);
    const Vec2& b = corners.at((i + 1) % corners.size());
    twice += a.x() * b.y() - a.y() * b.x();
  }
  return 0.5 * std::abs(twice);
}

/// The film without margins of one grey, as exports pad films with; nothing where they are narrow
/// or on two sides, or leave hardly anything. House choices.
std::optional<Box> without_blank_margins(const Raster& pixels) {
  constexpr double kWide = 0.1;  // of the film's side: the widest margin
  constexpr double kAtAll = 0.01;
  constexpr int kSides =
      3;  // with a margin at all: beyond a thigh's skin there is air on one or two
  constexpr double kSame = 0.005;  // of the film's range: one grey but for compression
  const auto [least, most] = std::minmax_element(pixels.values.begin(), pixels.values.end());
  const double same = kSame * (*most - *least);
  const int w = pixels.width;
  const int h = pixels.height;
  const auto blank_row = [&](int y, float grey) {
    for (int x = 0; x < w; ++x) {
      if (std::abs(pixels.at(x, y) - grey) > same) return false;
    }
    return true;
  };
  const auto blank_column = [&](int x, float grey) {
    for (int y = 0; y < h; ++y) {
      if (std::abs(pixels.at(x, y) - grey) > same) return false;
    }
    return true;
  };
  Box box{{0, w - 1}, {0, h - 1}};
  const float first = pixels.at(0, 0);
  const float last = pixels.at(w - 1, h - 1);
  while (box.x.low < w - 1 && blank_column(box.x.low, first)) ++box.x.low;
  while (box.y.low < h - 1 && blank_row(box.y.low, first)) ++box.y.low;
  while (box.x.high > box.x.low && blank_column(box.x.high, last)) {
    --box.x.high;
  }
  while (box.y.high > box.y.low && blank_row(box.y.high, last)) --box.y.high;
  const std::array margins{
      box.x.low / static_cast<double>(w), (w - 1 - box.x.high) / static_cast<double>(w),
      box.y.low / static_cast<double>(h), (h - 1 - box.y.high) / static_cast<double>(h)};
  const auto sides =
      std::count_if(margins.begin(), margins.end(), [](double margin) { return margin >= kAtAll; });
  const double left = (1.0 - margins[0] - margins[1]) * (1.0 - margins[2] - margins[3]);
  const bool padded = sides >= kSides && left >= kLeastField &&
                      *std::max_element(margins.begin(), margins.end()) >= kWide;
  return padded ? std::optional(box) : std::nullopt;
}

Raster part_of(const Raster& pixels, const Box& box) {
  Raster out(box.x.high - box.x.low + 1, box.y.high - box.y.low + 1);
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      out.at(x, y) = pixels.at(box.x.low + x, box.y.low + y);
    }
  }
  return out;
}

/// Borders of lead or of masks, as find_exposed_field() tells them.
std::optional<ExposedField> find_borders(const Raster& pixels) {
  const int block = block_size_of(pixels);
  const Raster blocks = blocks_of(pixels, block);
  if (std::min(blocks.width, blocks.height) < 32) return std::nullopt;
  const Greys greys{spread(blocks.values), quantile(blocks.values, 0.5)};
  if (greys.spread <= 0.0) return std::nullopt;
  const std::array sides{SideOf::kLeft, SideOf::kRight, SideOf::kTop, SideOf::kBottom};
  std::array<std::optional<Edge>, 4> edges;
  for (std::size_t i = 0; i < sides.size(); ++i) {
    edges.at(i) = border_of(seen_from(blocks, sides.at(i)), greys);
  }
  keep_dark_masks_only(edges);
  const auto line = [&](std::size_t i) {
    return line_of(sides.at(i), edges.at(i), {block, blocks, pixels});
  };
  const ExposedField field{line(0), line(1), line(2), line(3)};
  const bool any = std::any_of(edges.begin(), edges.end(), [](const auto& e) { return bool(e); });
  const double all = static_cast<double>(pixels.width) * pixels.height;
  if (!any || area_of(corners_of(field, pixels)) < kLeastField * all) return std::nullopt;
  return field;
}

}  // namespace

std::optional<ExposedField> find_exposed_field(const Raster& pixels) {
  if (pixels.values.empty()) return std::nullopt;
  auto seen = find_borders(pixels);
  if (seen) return seen;
  // Margins so wide that no border is an edge along the film's whole side.
  const auto box = without_blank_margins(pixels);
  if (!box) return std::nullopt;
  const Raster film = part_of(pixels, *box);
  ExposedField field = find_borders(film).value_or(whole_of(film));
  for (Line2* line : {&field.left, &field.right, &field.top, &field.bottom}) {
    line->point += Vec2(box->x.low, box->y.low);
  }
  return field;
}

FilmImage within_exposed_field(FilmImage film) {
  const auto field = find_exposed_field(film.pixels);
  return within_exposed_field(std::move(film), field);
}

ExposedField whole_of(const Raster& pixels) {
  const double width = pixels.width;
  const double height = pixels.height;
  return {{Vec2(-0.5, 0.5 * height), Vec2(0.0, 1.0)},
          {Vec2(width - 0.5, 0.5 * height), Vec2(0.0, 1.0)},
          {Vec2(0.5 * width, -0.5), Vec2(1.0, 0.0)},
          {Vec2(0.5 * width, height - 0.5), Vec2(1.0, 0.0)}};
}

FilmImage within_exposed_field(FilmImage film, const std::optional<ExposedField>& field) {
  if (!field) return film;
  ExposedField f = *field;
  if (!f.within.empty()) {
    const double inwards = kInwards * block_size_of(film.pixels);
    const Affine2 view_from_stored = film.stored_from_view.inverse();
    film = within_outlines(std::move(film), f.within, inwards);
    const Vec2 first = view_from_stored.apply(film.stored_from_view.apply(Vec2::Zero()));
    for (Line2* line : {&f.left, &f.right, &f.top, &f.bottom}) line->point -= first;
  }
  const auto corners = corners_of(f, film.pixels);
  Vec2 low = corners[0];
  Vec2 high = corners[0];
  for (const Vec2& p : corners) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  fill_outside(f, film.pixels);
  cut_to(film, span_of(low.x(), high.x(), film.pixels.width),
         span_of(low.y(), high.y(), film.pixels.height));
  return film;
}

}  // namespace tidemark::film
