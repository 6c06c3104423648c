#include "orientation.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

#include "tidemark/core/cubic.h"

namespace tidemark::film {
namespace {

/// Patient direction as a number: +1 left, -1 right (horizontal); +1 foot, -1 head (vertical).
struct Letter {
  enum class Kind { kLeftRight, kHeadFoot, kFrontBack } kind;
  int sign;
};

std::optional<Letter> letter_of(const std::string& text) {
  if (text.empty()) return std::nullopt;
  switch (text.front() & ~0x20) {  // in capitals
    case 'L':
      return Letter{Letter::Kind::kLeftRight, 1};
    case 'R':
      return Letter{Letter::Kind::kLeftRight, -1};
    case 'F':
      return Letter{Letter::Kind::kHeadFoot, 1};
    case 'H':
      return Letter{Letter::Kind::kHeadFoot, -1};
    case 'A':
      return Letter{Letter::Kind::kFrontBack, 1};
    case 'P':
      return Letter{Letter::Kind::kFrontBack, -1};
    default:
      return std::nullopt;
  }
}

/// The four pixels around a point between pixels, and what each counts.
struct Taps {
  std::array<int, 4> index{};
  std::array<double, 4> weight{};
};

/// Cubic convolution at `position`, in [0, n - 1]; beyond the ends the last pixel counts again.
Taps taps_at(double position, int n) {
  position = std::min(position, static_cast<double>(n - 1));
  const int left = static_cast<int>(std::floor(position));
  Taps taps;
  taps.weight = cubic_weights(position - left);
  for (int k = 0; k < 4; ++k) {
    taps.index[static_cast<std::size_t>(k)] = std::clamp(left - 1 + k, 0, n - 1);
  }
  return taps;
}

}  // namespace

Affine2 Turn::stored_from_view(int columns, int rows) const {
  Affine2 t;
  t.linear << x_from[0], y_from[0], x_from[1], y_from[1];
  const int dx = x_from[0] + y_from[0];  // +-1: how stored x follows whichever view axis it follows
  const int dy = x_from[1] + y_from[1];
  t.offset = Vec2(dx < 0 ? columns - 1 : 0, dy < 0 ? rows - 1 : 0);
  return t;
}

bool Turn::is_identity() const { return x_from[0] == 1 && y_from[1] == 1; }

std::optional<Turn> turn_for(const std::array<std::string, 2>& patient_orientation) {
  const auto row = letter_of(patient_orientation[0]);
  const auto column = letter_of(patient_orientation[1]);
  if (!row || !column) return std::nullopt;
  const bool row_is_vertical = row->kind == Letter::Kind::kHeadFoot;
  const bool column_is_vertical = column->kind == Letter::Kind::kHeadFoot;
  if (row_is_vertical == column_is_vertical) return std::nullopt;

  const std::array<int, 2> along_row{1, 0};
  const std::array<int, 2> along_column{0, 1};
  const auto times = [](int k, std::array<int, 2> d) {
    return std::array<int, 2>{k * d[0], k * d[1]};
  };
  Turn turn;
  const Letter vertical = row_is_vertical ? *row : *column;
  const Letter horizontal = row_is_vertical ? *column : *row;
  turn.y_from = times(vertical.sign, row_is_vertical ? along_row : along_column);
  if (horizontal.kind == Letter::Kind::kLeftRight) {
    turn.x_from = times(horizontal.sign, row_is_vertical ? along_column : along_row);
  } else {
    turn.x_from = {turn.y_from[1], -turn.y_from[0]};  // a quarter turn from +y: no mirror
  }
  return turn;
}

Raster turned(Raster stored, const Turn& turn) {
  if (turn.is_identity()) return stored;
  const Affine2 stored_from_view = turn.stored_from_view(stored.width, stored.height);
  const auto x0 = static_cast<std::ptrdiff_t>(stored_from_view.offset.x());
  const auto y0 = static_cast<std::ptrdiff_t>(stored_from_view.offset.y());
  const std::ptrdiff_t width = stored.width;
  const std::ptrdiff_t step_x = turn.x_from[0] + turn.x_from[1] * width;
  const std::ptrdiff_t step_y = turn.y_from[0] + turn.y_from[1] * width;
  Raster view(turn.swaps_axes() ? stored.height : stored.width,
              turn.swaps_axes() ? stored.width : stored.height);
  constexpr int kTile = 64;  // a quarter turn row by row would miss the cache at every pixel
  for (int ty = 0; ty < view.height; ty += kTile) {
    for (int tx = 0; tx < view.width; tx += kTile) {
      const int x_end = std::min(tx + kTile, view.width);
      const int y_end = std::min(ty + kTile, view.height);
      for (int y = ty; y < y_end; ++y) {
        std::ptrdiff_t from = y0 * width + x0 + y * step_y + tx * step_x;
        for (int x = tx; x < x_end; ++x, from += step_x) {
          view.at(x, y) = stored.values[static_cast<std::size_t>(from)];
        }
      }
    }
  }
  return view;
}

Raster stretched(const Raster& image, Axis axis, double step) {
  const bool along_x = axis == Axis::kX;
  const int n_in = along_x ? image.width : image.height;
  const int n_out = static_cast<int>(std::floor((n_in - 1) / step + 1e-9)) + 1;
  std::vector<Taps> taps;
  taps.reserve(static_cast<std::size_t>(n_out));
  for (int i = 0; i < n_out; ++i) taps.push_back(taps_at(i * step, n_in));

  Raster out(along_x ? n_out : image.width, along_x ? image.height : n_out);
  for (int y = 0; y < out.height; ++y) {
    for (int x = 0; x < out.width; ++x) {
      const Taps& t = taps[static_cast<std::size_t>(along_x ? x : y)];
      double sum = 0.0;
      for (std::size_t k = 0; k < 4; ++k) {
        sum += t.weight[k] *
               static_cast<double>(along_x ? image.at(t.index[k], y) : image.at(x, t.index[k]));
      }
      out.at(x, y) = static_cast<float>(sum);
    }
  }
  return out;
}

}  // namespace tidemark::film
