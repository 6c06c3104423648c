#include "tidemark/view/picture.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "tidemark/core/parallel.h"

namespace tidemark::view {
namespace {

/// Share of the pixels that lie beyond black and beyond white, each: dead pixels and lead letters
/// must not set the range. House choices.
constexpr double kBeyondDark = 0.005;
constexpr double kBeyondBright = 0.0005;
constexpr int kSmallest = 256;

std::uint16_t in_16_bits(double share) {
  return static_cast<std::uint16_t>(std::lround(65535.0 * std::clamp(share, 0.0, 1.0)));
}

RasterOf<std::uint16_t> halved(const RasterOf<std::uint16_t>& from) {
  RasterOf<std::uint16_t> out(from.width / 2, from.height / 2);
  for (int y = 0; y < out.height; ++y) {
    const std::uint16_t* upper = &from.at(0, 2 * y);
    const std::uint16_t* lower = upper + from.width;
    for (int x = 0; x < out.width; ++x) {
      const auto at = 2 * static_cast<std::ptrdiff_t>(x);
      const int sum = upper[at] + upper[at + 1] + lower[at] + lower[at + 1];
      out.at(x, y) = static_cast<std::uint16_t>((sum + 2) / 4);
    }
  }
  return out;
}

/// Black and white of a film.
std::array<double, 2> range_of(const Raster& film) {
  std::vector<float> some;
  constexpr std::size_t kStride = 7;
  for (std::size_t i = 0; i < film.values.size(); i += kStride) some.push_back(film.values[i]);
  const auto at = [&](double share) {
    const auto place =
        some.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(some.size() - 1));
    std::nth_element(some.begin(), place, some.end());
    return static_cast<double>(*place);
  };
  return {at(kBeyondDark), at(1.0 - kBeyondBright)};
}

/// A row of the screen in a level of a picture: where it begins and how it goes on.
struct Walk {
  const RasterOf<std::uint16_t>* level;
  Affine2 level_from_screen;
};

Walk walk_of(const Laid& laid) {
  // The level whose pixels are about as large as those of the screen.
  const double step = laid.film_from_screen.linear.col(0).norm();
  const auto wanted = static_cast<int>(std::floor(std::log2(std::max(step, 1.0)) + 0.3));
  const int index = std::min(wanted, static_cast<int>(laid.picture->levels.size()) - 1);
  const double factor = std::ldexp(1.0, -index);
  Affine2 level_from_film;
  level_from_film.linear *= factor;
  level_from_film.offset = Vec2::Constant(0.5 * factor - 0.5);  // corners stay corners
  return {&laid.picture->levels[static_cast<std::size_t>(index)],
          level_from_film.after(laid.film_from_screen)};
}

/// Grey values of one row, -1 outside of the film.
void sample_row(const Walk& walk, int y, std::vector<int>& out) {
  const auto& level = *walk.level;
  // Fixed point, 16 bits of fraction: five times as fast as doubles.
  const Vec2 start = walk.level_from_screen.apply(Vec2(0.0, y));
  const Vec2 step = walk.level_from_screen.linear.col(0);
  const auto fixed = [](double v) { return static_cast<std::int64_t>(std::llround(v * 65536.0)); };
  std::int64_t x_fixed = fixed(start.x());
  std::int64_t y_fixed = fixed(start.y());
  const std::int64_t x_step = fixed(step.x());
  const std::int64_t y_step = fixed(step.y());
  // Left of and above the film is a very large number without a sign: one comparison each.
  const auto columns = static_cast<std::uint64_t>(std::max(level.width - 1, 0));
  const auto rows = static_cast<std::uint64_t>(std::max(level.height - 1, 0));
  const std::uint16_t* const values = level.values.data();
  for (int& grey : out) {
    const auto x = static_cast<std::uint64_t>(x_fixed >> 16);
    const auto row = static_cast<std::uint64_t>(y_fixed >> 16);
    if (x >= columns || row >= rows) {
      grey = -1;
    } else {
      const std::uint16_t* upper = values + row * (columns + 1) + x;
      const std::uint16_t* lower = upper + columns + 1;
      const auto tx = static_cast<int>((x_fixed >> 8) & 255);
      const auto ty = static_cast<int>((y_fixed >> 8) & 255);
      const int top = (upper[0] * (256 - tx) + upper[1] * tx) >> 8;
      const int below = (lower[0] * (256 - tx) + lower[1] * tx) >> 8;
      grey = (top * (256 - ty) + below * ty) >> 8;
    }
    x_fixed += x_step;
    y_fixed += y_step;
  }
}

using Table = std::array<std::uint8_t, 4096>;

Table table_of(const Window& window) {
  Table out{};
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double grey = static_cast<double>(i) / static_cast<double>(out.size() - 1);
    const double share = (grey - window.level) / std::max(window.width, 1e-3) + 0.5;
    out[i] = static_cast<std::uint8_t>(std::lround(255.0 * std::clamp(share, 0.0, 1.0)));
  }
  return out;
}

std::uint32_t colour(int red, int green, int blue) {
  return 0xFF000000U | static_cast<std::uint32_t>(red) << 16U |
         static_cast<std::uint32_t>(green) << 8U | static_cast<std::uint32_t>(blue);
}

std::uint32_t grey_colour(int grey) { return colour(grey, grey, grey); }

/// Greys as they are shown, 0 outside of the film.
void to_screen(const Table& table, std::vector<int>& greys) {
  for (int& grey : greys) {
    grey = grey < 0 ? 0 : static_cast<int>(table[static_cast<std::size_t>(grey >> 4)]);
  }
}

/// One row of the screen; `a` and `b` are those of the two films.
void mix_row(const Scene& scene, const std::vector<int>& a, const std::vector<int>& b,
             std::uint32_t* row) {
  const std::size_t n = a.size();
  switch (scene.mix) {
    case Mix::kFirst:
      std::transform(a.begin(), a.end(), row, grey_colour);
      return;
    case Mix::kSecond:
      std::transform(b.begin(), b.end(), row, grey_colour);
      return;
    case Mix::kBlend: {
      const auto share = static_cast<int>(std::lround(65536.0 * scene.share));
      for (std::size_t x = 0; x < n; ++x) {
        row[x] = grey_colour(((65536 - share) * a[x] + share * b[x] + 32768) >> 16);
      }
      return;
    }
    case Mix::kEdge: {
      const double edge = std::round(scene.share * static_cast<double>(n));
      const auto left = std::min(static_cast<std::size_t>(std::max(edge, 0.0)), n);
      std::transform(a.begin(), a.begin() + static_cast<std::ptrdiff_t>(left), row, grey_colour);
      std::transform(b.begin() + static_cast<std::ptrdiff_t>(left), b.end(), row + left,
                     grey_colour);
      return;
    }
    case Mix::kDifference:
      break;
  }
  for (std::size_t x = 0; x < n; ++x) row[x] = colour(b[x], (a[x] + b[x]) / 2, a[x]);
}

/// Room for the greys of one row.
struct Rows {
  std::vector<int> first;
  std::vector<int> second;
};

void draw_row(const Scene& scene, const std::optional<Walk>& first,
              const std::optional<Walk>& second, const Table& table, int y, Rows& rows,
              RasterOf<std::uint32_t>& out) {
  const auto n = static_cast<std::size_t>(out.width);
  const auto take = [&](const std::optional<Walk>& walk, std::vector<int>& greys) {
    greys.assign(n, 0);
    if (!walk) return;
    sample_row(*walk, y, greys);
    to_screen(table, greys);
  };
  take(first, rows.first);
  take(second, rows.second);
  mix_row(scene, rows.first, rows.second, &out.at(0, y));
}

}  // namespace

Picture picture_of(const Raster& film) {
  Picture out;
  const auto [darkest, brightest] = range_of(film);
  const double dark = darkest;
  const double span = std::max(brightest - darkest, 1e-9);
  RasterOf<std::uint16_t> level(film.width, film.height);
  std::transform(film.values.begin(), film.values.end(), level.values.begin(),
                 [&](float v) { return in_16_bits((v - dark) / span); });
  out.levels.push_back(std::move(level));
  while (std::min(out.levels.back().width, out.levels.back().height) > kSmallest) {
    out.levels.push_back(halved(out.levels.back()));
  }
  return out;
}

RasterOf<std::uint32_t> drawn(const Scene& scene, int width, int height, int threads) {
  RasterOf<std::uint32_t> out(width, height, 0xFF000000U);
  std::optional<Walk> first;
  std::optional<Walk> second;
  if (scene.first.picture != nullptr && scene.mix != Mix::kSecond) first = walk_of(scene.first);
  if (scene.second.picture != nullptr && scene.mix != Mix::kFirst) second = walk_of(scene.second);
  const Table table = table_of(scene.window);
  constexpr int kRows = 32;
  const auto bands = static_cast<std::size_t>((height + kRows - 1) / kRows);
  parallel_for(bands, threads > 0 ? threads : hardware_threads(), [&](std::size_t band) {
    const int from = static_cast<int>(band) * kRows;
    Rows room;
    for (int y = from; y < std::min(from + kRows, height); ++y) {
      draw_row(scene, first, second, table, y, room, out);
    }
  });
  return out;
}

}  // namespace tidemark::view
