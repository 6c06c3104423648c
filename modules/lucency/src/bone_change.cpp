#include "bone_change.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

#include "tidemark/core/robust.h"
#include "tidemark/core/sampling.h"

namespace tidemark::lucency {
namespace {

// All lengths are house choices.
constexpr double kAboveEntryMm = 3.0;
constexpr double kBelowTipMm = 10.0;
constexpr double kReachMm = 42.0;     ///< of the plane to either side of the stem axis
constexpr double kPenumbraMm = 0.8;   ///< nearer to metal a grey is not even averaged
constexpr double kFarMm = 20.0;       ///< from the metal: farther is not beside the stem
constexpr double kBorderMm = 1.5;     ///< inside of the femur's outer border
constexpr double kSmoothMm = 0.6;     ///< standard deviation
constexpr double kToleranceMm = 1.0;  ///< by which the films may lie off each other
constexpr double kHaloMm = 7.0;       ///< how far what all places have in common is taken off
constexpr double kAboutMm = 15.0;     ///< radius of what a place is held against
constexpr double kSoftMm = 5.0;       ///< beyond the outer border: soft tissue
/// Of the stem's length in bone: above, bone is broad and halo, canal and cortex mean little.
constexpr double kShaftFrom = 0.3;
constexpr std::size_t kFewest = 200;  ///< cells of a flank

using Cells = std::vector<double>;
using Flags = std::vector<unsigned char>;

constexpr double kUnseen = std::numeric_limits<double>::quiet_NaN();

BonePlane plane_of(const LysisFilm& film) {
  BonePlane out;
  out.origin_px = film.plan.axis_px.point;
  out.distal = film.plan.axis_px.direction;
  out.medial = Vec2(out.distal.y(), -out.distal.x());
  out.px_per_mm = 1.0 / film.scale.value;
  for (const Zone& zone : film.plan.zones) {
    if (zone.flank == Flank::kTip) out.tip_mm = zone.from.value;
  }
  const auto cells = [](double mm) { return static_cast<int>(std::lround(mm / kCellMm)) + 1; };
  out.rows = cells(out.tip_mm + kBelowTipMm + kAboveEntryMm);
  out.columns = cells(2.0 * kReachMm);
  return out;
}

template <class Visit>
void for_each_cell(const BonePlane& plane, const Visit& visit) {
  for (int r = 0; r < plane.rows; ++r) {
    for (int c = 0; c < plane.columns; ++c) visit(r, c, plane.index(r, c));
  }
}

std::size_t size_of(const BonePlane& plane) {
  return static_cast<std::size_t>(plane.rows) * static_cast<std::size_t>(plane.columns);
}

/// A film in the cells of the plane, each the mean of four places; not a number beyond the film.
Cells sampled(const BonePlane& plane, const Raster& film, const Affine2& film_from_reference) {
  Cells out(size_of(plane), kUnseen);
  constexpr double kQuarter = 0.25 * kCellMm;
  for_each_cell(plane, [&](int r, int c, std::size_t i) {
    double sum = 0.0;
    for (int k = 0; k < 4; ++k) {
      const double level = plane.level_mm(r) + (k % 2 == 0 ? -kQuarter : kQuarter);
      const double across = plane.across_mm(c) + (k < 2 ? -kQuarter : kQuarter);
      const auto value = sample_linear(film, film_from_reference.apply(plane.px(level, across)));
      sum += value ? *value : kUnseen;
    }
    out[i] = 0.25 * sum;
  });
  return out;
}

void mark_metal(const BonePlane& plane, const Mask& metal, const Affine2& film_from_reference,
                Flags& out) {
  for_each_cell(plane, [&](int r, int c, std::size_t i) {
    const Vec2 p = film_from_reference.apply(plane.px(plane.level_mm(r), plane.across_mm(c)));
    const int x = static_cast<int>(std::lround(p.x()));
    const int y = static_cast<int>(std::lround(p.y()));
    if (metal.contains(x, y) && metal.at(x, y) != 0) out[i] = 1;
  });
}

/// Distance from the marked cells, mm, by steps to the eight neighbours: up to 8 % too long.
/// Source: chamfer distances (Borgefors 1986, from memory).
Cells distance_from(const BonePlane& plane, const Flags& marked) {
  Cells out(size_of(plane), 1e6);
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (marked[i] != 0) out[i] = 0.0;
  }
  const auto relax = [&](int r, int c, int dr, int dc) {
    if (!plane.contains(r + dr, c + dc)) return;
    double& here = out[plane.index(r, c)];
    here = std::min(here, out[plane.index(r + dr, c + dc)] + kCellMm * std::hypot(dr, dc));
  };
  for (const int way : {1, -1}) {
    for (int a = 0; a < plane.rows; ++a) {
      const int r = way > 0 ? a : plane.rows - 1 - a;
      for (int b = 0; b < plane.columns; ++b) {
        const int c = way > 0 ? b : plane.columns - 1 - b;
        for (const int dc : {-1, 0, 1}) relax(r, c, -way, dc);
        relax(r, c, 0, -way);
      }
    }
  }
  return out;
}

/// The femur's outer border on both sides, mm from the axis by row; not a number where not found.
struct Borders {
  Cells lateral;
  Cells medial;
};

void widen(const BonePlane& plane, const Polyline& chain, const Affine2& reference_from_film,
           double side, Cells& border) {
  Vec2 before = Vec2::Zero();
  for (std::size_t k = 0; k < chain.size(); ++k) {
    const Vec2 from_origin = reference_from_film.apply(chain[k]) - plane.origin_px;
    const Vec2 at =
        Vec2(from_origin.dot(plane.distal), from_origin.dot(plane.medial)) / plane.px_per_mm;
    if (k > 0 && at.x() != before.x()) {
      const auto [low, high] = std::minmax(before.x(), at.x());
      const auto row_of = [&](double level) { return (level - plane.level_mm(0)) / kCellMm; };
      const int first = std::max(0, static_cast<int>(std::ceil(row_of(low))));
      const int last = std::min(plane.rows - 1, static_cast<int>(std::floor(row_of(high))));
      for (int r = first; r <= last; ++r) {
        const double part = (plane.level_mm(r) - before.x()) / (at.x() - before.x());
        const double across = before.y() + part * (at.y() - before.y());
        double& there = border[static_cast<std::size_t>(r)];
        if (!(side * there >= side * across)) there = across;
      }
    }
    before = at;
  }
}

Borders borders_of(const BonePlane& plane, const anatomy::Femur& femur,
                   const Affine2& reference_from_film) {
  const auto rows = static_cast<std::size_t>(plane.rows);
  Borders out{Cells(rows, kUnseen), Cells(rows, kUnseen)};
  for (const Polyline* chain : {&femur.lateral_outline_px, &femur.lateral_cortex_px,
                                &femur.greater_trochanter_outline_px}) {
    widen(plane, *chain, reference_from_film, -1.0, out.lateral);
  }
  for (const Polyline* chain : {&femur.lesser_trochanter_outline_px, &femur.medial_cortex_px}) {
    widen(plane, *chain, reference_from_film, 1.0, out.medial);
  }
  return out;
}

/// Both films in the plane, and what of it is bone.
struct Laid {
  BonePlane plane;
  Cells reference;
  Cells follow_up;
  Cells from_metal_mm;
  std::array<Borders, 2> borders;
  Flags bone;
  Flags known;  ///< seen on both films, clear of the metal's penumbra
  Flags valid;
};

/// Within the outer border of its own flank on both films. Where that was not found, what lies
/// there is not known to be bone.
bool is_bone(const Laid& laid, int row, double across) {
  const auto r = static_cast<std::size_t>(row);
  return std::all_of(laid.borders.begin(), laid.borders.end(), [&](const Borders& borders) {
    return across < 0.0 ? across > borders.lateral[r] + kBorderMm
                        : across < borders.medial[r] - kBorderMm;
  });
}

Laid lay(const LysisFilm& reference, const LysisFilm& follow_up,
         const Affine2& follow_from_reference) {
  Laid out{plane_of(reference), {}, {}, {}, {}, {}, {}, {}};
  const BonePlane& plane = out.plane;
  const Affine2 same;
  out.reference = sampled(plane, reference.hip_view.pixels, same);
  out.follow_up = sampled(plane, follow_up.hip_view.pixels, follow_from_reference);
  Flags metal(size_of(plane), 0);
  mark_metal(plane, reference.implant.metal, same, metal);
  mark_metal(plane, follow_up.implant.metal, follow_from_reference, metal);
  out.from_metal_mm = distance_from(plane, metal);
  out.borders = {borders_of(plane, reference.femur, same),
                 borders_of(plane, follow_up.femur, follow_from_reference.inverse())};
  out.bone.assign(size_of(plane), 0);
  out.known = out.valid = out.bone;
  for_each_cell(plane, [&](int r, int c, std::size_t i) {
    const bool seen = std::isfinite(out.reference[i]) && std::isfinite(out.follow_up[i]);
    out.known[i] = seen && out.from_metal_mm[i] > kPenumbraMm ? 1 : 0;
    const bool beside = out.from_metal_mm[i] > kMetalMm && out.from_metal_mm[i] < kFarMm;
    out.bone[i] = beside && is_bone(out, r, plane.across_mm(c)) ? 1 : 0;
    out.valid[i] = out.known[i] != 0 && out.bone[i] != 0 ? 1 : 0;
  });
  return out;
}

/// Gaussian mean of what is known; nothing else leaks in.
Cells smoothed(const BonePlane& plane, const Cells& values, const Flags& known) {
  constexpr int kHalf = 4;
  std::array<double, kHalf + 1> kernel{};
  for (int k = 0; k <= kHalf; ++k) {
    kernel.at(static_cast<std::size_t>(k)) = std::exp(-0.5 * std::pow(k * kCellMm / kSmoothMm, 2));
  }
  Cells sum(values.size(), 0.0);
  Cells weight(values.size(), 0.0);
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (known[i] == 0) continue;
    sum[i] = values[i];
    weight[i] = 1.0;
  }
  const auto pass = [&](const Cells& in, int dr, int dc) {
    Cells out(in.size(), 0.0);
    for_each_cell(plane, [&](int r, int c, std::size_t i) {
      for (int k = -kHalf; k <= kHalf; ++k) {
        const int y = r + k * dr;
        const int x = c + k * dc;
        if (!plane.contains(y, x)) continue;
        out[i] += kernel.at(static_cast<std::size_t>(std::abs(k))) * in[plane.index(y, x)];
      }
    });
    return out;
  };
  sum = pass(pass(sum, 0, 1), 1, 0);
  weight = pass(pass(weight, 0, 1), 1, 0);
  for (std::size_t i = 0; i < sum.size(); ++i) sum[i] = weight[i] > 0.0 ? sum[i] / weight[i] : 0.0;
  return sum;
}

/// The cells of a flank that are judged, as (row, column).
std::vector<Disc::Step> flank_cells(const Laid& laid, bool lateral) {
  std::vector<Disc::Step> out;
  for_each_cell(laid.plane, [&](int r, int c, std::size_t i) {
    if (laid.valid[i] != 0 && (laid.plane.across_mm(c) < 0.0) == lateral) out.push_back({r, c});
  });
  return out;
}

/// Weighted least squares with Tukey's bisquare, after a start with Huber's weights.
Eigen::VectorXd robust_fit(const Eigen::MatrixXd& inputs, const Eigen::VectorXd& values) {
  constexpr int kRounds = 12;
  constexpr int kGentle = 3;
  Eigen::VectorXd weight = Eigen::VectorXd::Ones(values.size());
  Eigen::VectorXd found = Eigen::VectorXd::Zero(inputs.cols());
  std::vector<double> off(static_cast<std::size_t>(values.size()));
  for (int round = 0; round < kRounds; ++round) {
    const Eigen::MatrixXd weighted = weight.asDiagonal() * inputs;
    found = (weighted.transpose() * inputs).ldlt().solve(weighted.transpose() * values);
    const Eigen::VectorXd left = values - inputs * found;
    for (std::size_t i = 0; i < off.size(); ++i) {
      off[i] = std::abs(left(static_cast<Eigen::Index>(i)));
    }
    const double sigma = kSigmaPerMad * median(off).value_or(0.0);
    if (!(sigma > 0.0)) break;
    const Loss loss = round < kGentle ? Loss::kHuber : Loss::kTukey;
    for (Eigen::Index i = 0; i < left.size(); ++i) weight(i) = robust_weight(loss, left(i) / sigma);
  }
  return found;
}

/// What the follow-up film shows in a flank where nothing changed, by the reference film: its
/// greys under the curve of another room (a parabola), brighter or darker slowly along the stem.
void expect(const Laid& laid, const Cells& then, const Cells& now,
            const std::vector<Disc::Step>& cells, Cells& expected) {
  const auto n = static_cast<Eigen::Index>(cells.size());
  std::vector<double> greys;
  greys.reserve(cells.size());
  for (const auto& cell : cells) greys.push_back(then[laid.plane.index(cell.row, cell.column)]);
  const double middle = median(greys).value_or(0.0);
  const double spread =
      std::max(1e-9, kSigmaPerMad * median_absolute_deviation(greys).value_or(0.0));
  Eigen::MatrixXd inputs(n, 6);
  Eigen::VectorXd values(n);
  for (Eigen::Index k = 0; k < n; ++k) {
    const auto& cell = cells[static_cast<std::size_t>(k)];
    const double grey = (greys[static_cast<std::size_t>(k)] - middle) / spread;
    const double at = 2.0 * laid.plane.level_mm(cell.row) / laid.plane.tip_mm - 1.0;
    inputs.row(k) << 1.0, grey, grey * grey, at, at * at, at * at * at;
    values(k) = now[laid.plane.index(cell.row, cell.column)];
  }
  const Eigen::VectorXd fit = inputs * robust_fit(inputs, values);
  for (Eigen::Index k = 0; k < n; ++k) {
    const auto& cell = cells[static_cast<std::size_t>(k)];
    expected[laid.plane.index(cell.row, cell.column)] = fit(k);
  }
}

/// What all places of the shaft as far from the metal have in common is processing (halo, blur):
/// it is added to what is expected.
void expect_halo(const Laid& laid, const Cells& now, Cells& expected) {
  constexpr auto kBins = static_cast<std::size_t>(kHaloMm / kCellMm);
  std::array<std::vector<double>, kBins> left;
  const auto bin_of = [&](std::size_t i) {
    return static_cast<std::size_t>(laid.from_metal_mm[i] / kCellMm);
  };
  for_each_cell(laid.plane, [&](int r, int, std::size_t i) {
    const double level = laid.plane.level_mm(r);
    const bool shaft = level > kShaftFrom * laid.plane.tip_mm && level < laid.plane.tip_mm - 4.0;
    if (laid.valid[i] == 0 || !shaft || bin_of(i) >= kBins) return;
    left.at(bin_of(i)).push_back(now[i] - expected[i]);
  });
  constexpr std::size_t kEnough = 40;
  std::array<double, kBins> common{};
  double far = 0.0;
  for (std::size_t k = 0; k < kBins; ++k) {
    if (left.at(k).size() < kEnough) continue;
    common.at(k) = far = median(left.at(k)).value_or(0.0);
  }
  for (std::size_t k = 0; k < kBins; ++k) {
    common.at(k) = left.at(k).size() < kEnough ? 0.0 : common.at(k) - far;
  }
  for (std::size_t i = 0; i < expected.size(); ++i) {
    const double at = laid.from_metal_mm[i] / kCellMm - 0.5;
    if (at < 0.0 || at >= static_cast<double>(kBins) - 1.0) continue;
    const auto k = static_cast<std::size_t>(at);
    const double part = at - static_cast<double>(k);
    expected[i] += (1.0 - part) * common.at(k) + part * common.at(k + 1);
  }
}

/// Medians of what is left over about the nodes of a coarse grid.
class Surroundings {
 public:
  /// @param least what is left over less than this is no surroundings
  Surroundings(const Laid& laid, const std::vector<Disc::Step>& cells, const Cells& left,
               double least)
      : columns_(laid.plane.columns / kStep + 2), rows_(laid.plane.rows / kStep + 2) {
    std::vector<std::pair<Disc::Step, double>> some;
    for (const auto& cell : cells) {
      const double value = left[laid.plane.index(cell.row, cell.column)];
      if (cell.row % 2 == 0 && cell.column % 2 == 0 && value > least)
        some.emplace_back(cell, value);
    }
    constexpr int kReach = static_cast<int>(kAboutMm / kCellMm);
    constexpr std::size_t kEnough = 40;
    std::vector<double> near;
    for (int y = 0; y < rows_; ++y) {
      for (int x = 0; x < columns_; ++x) {
        near.clear();
        for (const auto& [cell, value] : some) {
          const int down = cell.row - y * kStep;
          const int aside = cell.column - x * kStep;
          if (down * down + aside * aside <= kReach * kReach) near.push_back(value);
        }
        nodes_.push_back(near.size() < kEnough ? kUnseen : median(near).value_or(0.0));
      }
    }
  }

  /// Between the nodes that have a value; 0 where none of the four does.
  [[nodiscard]] double at(const Disc::Step& cell) const {
    double sum = 0.0;
    double weights = 0.0;
    const int y = cell.row / kStep;
    const int x = cell.column / kStep;
    for (int k = 0; k < 4; ++k) {
      const int j = y + k / 2;
      const int i = x + k % 2;
      const double node = nodes_[static_cast<std::size_t>(j) * static_cast<std::size_t>(columns_) +
                                 static_cast<std::size_t>(i)];
      if (!std::isfinite(node)) continue;
      const double weight = (1.0 - std::abs(cell.row - j * kStep) / double{kStep}) *
                            (1.0 - std::abs(cell.column - i * kStep) / double{kStep});
      sum += weight * node;
      weights += weight;
    }
    return weights > 1e-9 ? sum / weights : 0.0;
  }

 private:
  static constexpr int kStep = 8;  // cells: 4 mm
  int columns_;
  int rows_;
  std::vector<double> nodes_;
};

/// Adds the surroundings to what is expected; looked at twice, so that a large area that has become
/// darker is not its own surroundings.
void expect_surroundings(const Laid& laid, const std::vector<Disc::Step>& cells, const Cells& now,
                         Cells& expected) {
  constexpr double kFar = 3.0;  ///< standard deviations
  double least = -std::numeric_limits<double>::infinity();
  for (int look = 0; look < 2; ++look) {
    Cells left(now.size(), 0.0);
    std::vector<double> of_cells;
    for (const auto& cell : cells) {
      const std::size_t i = laid.plane.index(cell.row, cell.column);
      left[i] = now[i] - expected[i];
      of_cells.push_back(left[i]);
    }
    if (look == 1) least = -kFar * kSigmaPerMad * median_absolute_deviation(of_cells).value_or(0.0);
    const Surroundings around(laid, cells, left, least);
    for (const auto& cell : cells) {
      expected[laid.plane.index(cell.row, cell.column)] += around.at(cell);
    }
  }
}

/// Grey step of the follow-up film from the soft tissue beside the shaft to the bone beside the
/// stem.
double bone_step(const Laid& laid, const Cells& expected) {
  std::vector<double> soft;
  std::vector<double> bone;
  for_each_cell(laid.plane, [&](int r, int c, std::size_t i) {
    const double level = laid.plane.level_mm(r);
    if (level < kShaftFrom * laid.plane.tip_mm || level > laid.plane.tip_mm) return;
    if (laid.valid[i] != 0) bone.push_back(expected[i]);
    const double across = laid.plane.across_mm(c);
    const auto row = static_cast<std::size_t>(r);
    const Borders& borders = laid.borders[1];
    const bool beside = std::abs(borders.lateral[row] - kSoftMm - across) < 0.5 * kCellMm ||
                        std::abs(borders.medial[row] + kSoftMm - across) < 0.5 * kCellMm;
    if (beside && laid.known[i] != 0) soft.push_back(laid.follow_up[i]);
  });
  if (soft.empty() || bone.empty()) return 0.0;
  return *median(bone) - *median(soft);
}

/// Greatest (or with `sign` -1 least) value within the tolerance about each cell that is known.
Cells greatest_about(const Laid& laid, const Cells& values, double sign) {
  const Disc disc = disc_of(kToleranceMm);
  Cells out(values.size(), kUnseen);
  for_each_cell(laid.plane, [&](int r, int c, std::size_t i) {
    if (laid.valid[i] == 0) return;
    double best = sign * values[i];
    for (const auto& step : disc.steps) {
      const int y = r + step.row;
      const int x = c + step.column;
      if (!laid.plane.contains(y, x)) continue;
      const std::size_t k = laid.plane.index(y, x);
      if (laid.known[k] != 0) best = std::max(best, sign * values[k]);
    }
    out[i] = sign * best;
  });
  return out;
}

}  // namespace

double BonePlane::level_mm(int row) const { return kCellMm * row - kAboveEntryMm; }
double BonePlane::across_mm(int column) const { return kCellMm * column - kReachMm; }
Vec2 BonePlane::px(double level_mm, double across_mm) const {
  return origin_px + px_per_mm * (level_mm * distal + across_mm * medial);
}

Disc disc_of(double radius_mm) {
  Disc out;
  const int reach = static_cast<int>(radius_mm / kCellMm);
  for (int r = -reach; r <= reach; ++r) {
    for (int c = -reach; c <= reach; ++c) {
      if (kCellMm * std::hypot(r, c) <= radius_mm + 1e-9) out.steps.push_back({r, c});
    }
  }
  return out;
}

std::optional<BoneChange> bone_change(const LysisFilm& reference, const LysisFilm& follow_up,
                                      const Affine2& follow_from_reference) {
  Laid laid = lay(reference, follow_up, follow_from_reference);
  const Cells then = smoothed(laid.plane, laid.reference, laid.known);
  const Cells now = smoothed(laid.plane, laid.follow_up, laid.known);
  Cells expected(now.size(), 0.0);
  std::array<std::vector<Disc::Step>, 2> flanks{flank_cells(laid, true), flank_cells(laid, false)};
  for (auto& cells : flanks) {
    if (cells.size() >= kFewest) {
      expect(laid, then, now, cells, expected);
      continue;
    }
    for (const auto& cell : cells) laid.valid[laid.plane.index(cell.row, cell.column)] = 0;
    cells.clear();
  }
  if (flanks[0].empty() && flanks[1].empty()) return {};
  expect_halo(laid, now, expected);
  for (const auto& cells : flanks) expect_surroundings(laid, cells, now, expected);
  const double step = bone_step(laid, expected);
  if (!(step > 0.0)) return {};
  const Cells brightest = greatest_about(laid, now, 1.0);
  const Cells darkest = greatest_about(laid, now, -1.0);
  BoneChange out{laid.plane, laid.bone, laid.valid, Cells(now.size(), 0.0), {}, {}};
  out.sure_darker = out.sure_brighter = out.depth;
  for (std::size_t i = 0; i < now.size(); ++i) {
    if (laid.valid[i] == 0) continue;
    out.depth[i] = (expected[i] - now[i]) / step;
    out.sure_darker[i] = (expected[i] - brightest[i]) / step;
    out.sure_brighter[i] = (darkest[i] - expected[i]) / step;
  }
  return out;
}

}  // namespace tidemark::lucency
