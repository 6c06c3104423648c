#include "profiles.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <utility>

#include "tidemark/core/robust.h"

namespace tidemark::lucency {
namespace {

constexpr double kRowPitchMm = 0.25;
constexpr double kSmoothMm = 5.0;     // of normals
constexpr int kHalfWindowRows = 4;    // +- 1 mm along the interface
constexpr int kHalfEdgeRows = 8;      // the edge's course is smoothed over +- 2 mm
constexpr double kEdgeReachMm = 1.0;  // how far from the outline the edge may lie

/// Mean over rows first to last of one column, of what is seen.
double mean_of_rows(const Strip& strip, std::size_t first, std::size_t last, int column,
                    double& share) {
  double sum = 0.0;
  int n = 0;
  for (std::size_t r = first; r <= last; ++r) {
    const std::size_t i = strip.index(r, column);
    if (strip.seen[i] == 0) continue;
    sum += static_cast<double>(strip.values[i]);
    ++n;
  }
  share = static_cast<double>(n) / static_cast<double>(last - first + 1);
  return n > 0 ? sum / n : 0.0;
}

struct Window {
  std::size_t first;
  std::size_t last;
};

Window around(std::size_t row, int half, std::size_t rows) {
  const auto h = static_cast<std::size_t>(half);
  return {row > h ? row - h : 0, std::min(row + h, rows - 1)};
}

/// Distance of the steepest fall of each row's neighbourhood from the outline, mm.
std::vector<double> edge_offsets(const Strip& strip) {
  const std::size_t rows = strip.places.size();
  std::vector<double> offset(rows, 0.0);
  const auto columns = static_cast<std::size_t>(strip.columns);
  std::vector<double> mean(columns);
  for (std::size_t r = 0; r < rows; ++r) {
    const Window w = around(r, kHalfWindowRows, rows);
    double share = 0.0;
    for (std::size_t c = 0; c < columns; ++c) {
      mean[c] = mean_of_rows(strip, w.first, w.last, static_cast<int>(c), share);
    }
    std::size_t best = 0;
    double steepest = 0.0;
    const auto fall = [&](std::size_t c) { return mean[c - 2] - mean[c + 2]; };
    for (std::size_t c = 3; c + 3 < columns; ++c) {
      if (fall(c) > steepest) {
        steepest = fall(c);
        best = c;
      }
    }
    if (best == 0) continue;
    const double a = fall(best - 1);
    const double b = fall(best + 1);
    const double curve = 2.0 * steepest - a - b;
    const double shift = curve > 0.0 ? std::clamp(0.5 * (b - a) / curve, -1.0, 1.0) : 0.0;
    offset[r] = strip.x_mm(static_cast<int>(best)) + shift * strip.pitch_mm;
  }
  return offset;
}

std::vector<double> running_median(const std::vector<double>& values, int half) {
  std::vector<double> out(values.size());
  std::vector<double> near;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const Window w = around(i, half, values.size());
    near.assign(values.begin() + static_cast<std::ptrdiff_t>(w.first),
                values.begin() + static_cast<std::ptrdiff_t>(w.last) + 1);
    const auto middle = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
    std::nth_element(near.begin(), middle, near.end());
    out[i] = *middle;
  }
  return out;
}

/// @param metal  grey inside of the edge
double softness_of(const Strip& strip, const Window& rows, double metal) {
  constexpr double kAboutEdgeMm = 1.0;
  constexpr double kBeyondMm = 2.0;
  const auto column = [&](double x_mm) {
    return static_cast<int>(std::lround((x_mm - strip.first_mm) / strip.pitch_mm));
  };
  double share = 0.0;
  const auto value = [&](int c) { return mean_of_rows(strip, rows.first, rows.last, c, share); };
  double steepest = 0.0;
  for (int c = column(-kAboutEdgeMm); c <= column(kAboutEdgeMm); ++c) {
    steepest = std::max(steepest, (value(c - 1) - value(c + 1)) / (2.0 * strip.pitch_mm));
  }
  double outside = 0.0;
  int n = 0;
  for (int c = column(kAboutEdgeMm); c <= column(kBeyondMm); ++c, ++n) outside += value(c);
  const double step = metal - outside / n;
  if (!(steepest > 0.0) || !(step > 0.0)) return 0.0;
  return step / (std::sqrt(2.0 * std::numbers::pi) * steepest);
}

void fill(Profiles& out, const Strip& strip, std::size_t row, int half, Eigen::Index at) {
  const Window w = around(row, half, strip.places.size());
  const int first =
      static_cast<int>(std::lround((kProfileFromMm - strip.first_mm) / strip.pitch_mm));
  double share = 0.0;
  int clear = 0;
  std::array<double, kProfileSamples> outside{};
  for (int i = 0; i < kProfileSamples; ++i) {
    const double v = mean_of_rows(strip, w.first, w.last, first + i, share);
    outside[static_cast<std::size_t>(i)] = v;
    out.values(i, at) = v;
    if (clear == i && share > 0.99) ++clear;
  }
  double metal = 0.0;
  int n = 0;
  for (int c = 0; strip.x_mm(c) <= -0.75; ++c) {
    metal += mean_of_rows(strip, w.first, w.last, c, share);
    ++n;
  }
  // Median from 2 mm outwards, of what is seen; a short profile takes what it has.
  const int last = std::min(clear, 58);
  const int from = std::min(18, last / 2);
  const int middle = from + (last - from) / 2;
  std::nth_element(outside.begin() + from, outside.begin() + middle, outside.begin() + last);
  out.metal.push_back(n > 0 ? metal / n : 0.0);
  out.beyond.push_back(outside[static_cast<std::size_t>(middle)]);
  out.clear.push_back(clear);
}

/// The ends of the film's greys, a little inside of them: interpolation rounds.
struct GreyEnds {
  double low = 0.0;
  double high = 0.0;
};

GreyEnds grey_ends(const Raster& film) {
  constexpr double kRound = 1e-3;  // of the range
  if (film.values.empty()) return {};
  const auto [low, high] = std::minmax_element(film.values.begin(), film.values.end());
  const double margin = kRound * static_cast<double>(*high - *low);
  return {static_cast<double>(*low) + margin, static_cast<double>(*high) - margin};
}

/// Where many places beside the metal have the film's least or greatest grey, greys are cut off
/// there, and nobody sees what stood behind. The metal's own penumbra is bright by itself.
void hide_cut_off(Strip& strip, const GreyEnds& ends) {
  constexpr double kBesideMm = 1.0;
  constexpr double kMany = 0.01;  // of the places beside the metal. House choice
  const auto is_beside = [&](std::size_t i) {
    return strip.x_mm(static_cast<int>(i % static_cast<std::size_t>(strip.columns))) >= kBesideMm;
  };
  std::size_t beside = 0;
  std::size_t dark = 0;
  std::size_t bright = 0;
  for (std::size_t i = 0; i < strip.values.size(); ++i) {
    if (!is_beside(i) || strip.seen[i] == 0) continue;
    ++beside;
    dark += static_cast<double>(strip.values[i]) <= ends.low ? 1 : 0;
    bright += static_cast<double>(strip.values[i]) >= ends.high ? 1 : 0;
  }
  const double many = kMany * static_cast<double>(beside);
  const bool no_dark = static_cast<double>(dark) > many;
  const bool no_bright = static_cast<double>(bright) > many;
  for (std::size_t i = 0; i < strip.values.size(); ++i) {
    const auto value = static_cast<double>(strip.values[i]);
    if ((no_dark && value <= ends.low) || (no_bright && value >= ends.high && is_beside(i))) {
      strip.seen[i] = 0;
    }
  }
}

}  // namespace

Profiles take_profiles(const film::FilmImage& hip_view, const anatomy::Implant& implant,
                       double mm_per_px) {
  auto places = places_along(implant.outline_px, mm_per_px, kRowPitchMm, kSmoothMm);
  const Strip narrow = unroll(hip_view.pixels, implant.stem, implant.metal, std::move(places),
                              mm_per_px, {-kEdgeReachMm, kEdgeReachMm, 0.1});
  const std::vector<double> offset = running_median(edge_offsets(narrow), kHalfEdgeRows);
  places = narrow.places;
  for (std::size_t i = 0; i < places.size(); ++i) {
    places[i].edge_px += offset[i] / mm_per_px * places[i].out_px;
  }
  Strip strip = unroll(hip_view.pixels, implant.stem, implant.metal, std::move(places), mm_per_px,
                       {-2.0, profile_x(kProfileSamples - 1), kProfilePitchMm});
  hide_cut_off(strip, grey_ends(hip_view.pixels));
  const auto step = static_cast<std::size_t>(std::lround(kPlacePitchMm / kRowPitchMm));
  Profiles out;
  const std::size_t n = (strip.places.size() + step - 1) / step;
  out.values.resize(kProfileSamples, static_cast<Eigen::Index>(n));
  for (std::size_t k = 0; k < n; ++k) {
    out.places.push_back(strip.places[k * step]);
    fill(out, strip, k * step, kHalfWindowRows, static_cast<Eigen::Index>(k));
    const Window rows = around(k * step, kHalfWindowRows, strip.places.size());
    out.softness.push_back(softness_of(strip, rows, out.metal.back()));
  }
  return out;
}

Profiles take_profiles_beyond(const film::FilmImage& hip_view, const anatomy::Implant& implant,
                              const std::vector<Place>& places,
                              const std::vector<double>& outward_mm, double mm_per_px) {
  std::vector<Place> moved = places;
  for (std::size_t i = 0; i < moved.size(); ++i) {
    moved[i].edge_px += outward_mm[i] / mm_per_px * moved[i].out_px;
  }
  Strip strip = unroll(hip_view.pixels, implant.stem, implant.metal, std::move(moved), mm_per_px,
                       {-1.2, profile_x(kProfileSamples - 1), kProfilePitchMm});
  hide_cut_off(strip, grey_ends(hip_view.pixels));
  Profiles out;
  out.places = places;
  out.values.resize(kProfileSamples, static_cast<Eigen::Index>(places.size()));
  const int half = static_cast<int>(std::lround(kHalfWindowRows * kRowPitchMm / kPlacePitchMm));
  for (std::size_t k = 0; k < places.size(); ++k) {
    fill(out, strip, k, half, static_cast<Eigen::Index>(k));
  }
  return out;
}

}  // namespace tidemark::lucency
