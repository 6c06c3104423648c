#include "tidemark/alignment/ngf_sums.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstring>

// GCC makes one version for processors with AVX2 and one for all others, and the loader chooses.
// Instrumented programs start before the loader's choice can be made.
#if defined(__x86_64__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define TIDEMARK_BY_PROCESSOR __attribute__((target_clones("avx2", "default")))
#else
#define TIDEMARK_BY_PROCESSOR
#endif
#define TIDEMARK_INLINE [[gnu::always_inline]] inline

namespace tidemark::alignment::ngf_detail {
namespace {

// Lanes are points. Vectors of the compiler, not Eigen's: these follow the version that they are
// inlined in, Eigen's packets are chosen for the whole file.
using Four = double __attribute__((vector_size(32)));
using FourFloats = float __attribute__((vector_size(16)));
using FourIndices = std::int32_t __attribute__((vector_size(16)));
using FourFlags = std::int64_t __attribute__((vector_size(32)));

TIDEMARK_INLINE Four all(double value) { return Four{value, value, value, value}; }

TIDEMARK_INLINE Four load(const double* from) {
  Four out;
  std::memcpy(&out, from, sizeof(out));
  return out;
}

TIDEMARK_INLINE Four load(const float* from) {
  FourFloats out;
  std::memcpy(&out, from, sizeof(out));
  return __builtin_convertvector(out, Four);
}

TIDEMARK_INLINE Four root(Four of) {
  return Four{std::sqrt(of[0]), std::sqrt(of[1]), std::sqrt(of[2]), std::sqrt(of[3])};
}

TIDEMARK_INLINE double total(Four of) { return (of[0] + of[1]) + (of[2] + of[3]); }

struct Pair {
  Four x;
  Four y;
};

/// Weights of the four B-splines that reach a point `t` (0 to 1) past its second knot, and of their
/// derivatives.
struct Taps {
  std::array<Four, 4> value;
  std::array<Four, 4> slope;
  std::array<Four, 4> bend;
};

/// Multiplied with, since a division takes as long as ten multiplications.
constexpr double kSixth = 1.0 / 6.0;

TIDEMARK_INLINE Taps taps_of(Four t) {
  const Four s = 1.0 - t;
  const Four tt = t * t;
  const Four ss = s * s;
  return {{kSixth * ss * s, 4.0 * kSixth - tt + 0.5 * tt * t, 4.0 * kSixth - ss + 0.5 * ss * s,
           kSixth * tt * t},
          {-0.5 * ss, -2.0 * t + 1.5 * tt, 2.0 * s - 1.5 * ss, 0.5 * tt},
          {s, 3.0 * t - 2.0, 3.0 * s - 2.0, t}};
}

TIDEMARK_INLINE Four dot(const std::array<Four, 4>& a, const std::array<Four, 4>& b) {
  return (a[0] * b[0] + a[1] * b[1]) + (a[2] * b[2] + a[3] * b[3]);
}

/// Four neighbours in a row at each of four places: out[neighbour], lane = place.
TIDEMARK_INLINE std::array<Four, 4> neighbours(const std::array<const double*, 4>& places,
                                               std::ptrdiff_t offset) {
  const Four a = load(places[0] + offset);
  const Four b = load(places[1] + offset);
  const Four c = load(places[2] + offset);
  const Four d = load(places[3] + offset);
  const Four ab_even = __builtin_shufflevector(a, b, 0, 4, 2, 6);
  const Four ab_odd = __builtin_shufflevector(a, b, 1, 5, 3, 7);
  const Four cd_even = __builtin_shufflevector(c, d, 0, 4, 2, 6);
  const Four cd_odd = __builtin_shufflevector(c, d, 1, 5, 3, 7);
  return {__builtin_shufflevector(ab_even, cd_even, 0, 1, 4, 5),
          __builtin_shufflevector(ab_odd, cd_odd, 0, 1, 4, 5),
          __builtin_shufflevector(ab_even, cd_even, 2, 3, 6, 7),
          __builtin_shufflevector(ab_odd, cd_odd, 2, 3, 6, 7)};
}

/// First and second derivatives of the spline, per step of its grid.
struct Jet {
  Pair gradient;
  Four xx;
  Four xy;
  Four yy;
};

TIDEMARK_INLINE Jet jet_at(const std::array<const double*, 4>& cells, std::ptrdiff_t row,
                           const Pair& part, bool with_bend) {
  const Taps x = taps_of(part.x);
  const Taps y = taps_of(part.y);
  Jet jet{{all(0.0), all(0.0)}, all(0.0), all(0.0), all(0.0)};
  for (unsigned k = 0; k < 4; ++k) {
    const auto in_row = neighbours(cells, (static_cast<std::ptrdiff_t>(k) - 1) * row - 1);
    const Four value = dot(x.value, in_row);
    const Four slope = dot(x.slope, in_row);
    jet.gradient.x += y.value[k] * slope;
    jet.gradient.y += y.slope[k] * value;
    if (!with_bend) continue;
    jet.xx += y.value[k] * dot(x.bend, in_row);
    jet.xy += y.slope[k] * slope;
    jet.yy += y.bend[k] * value;
  }
  return jet;
}

TIDEMARK_INLINE Four agreement_of(Four cosine, NgfAgreement kind) {
  if (kind == NgfAgreement::kSquaredCosine) return cosine * cosine;
  if (kind == NgfAgreement::kCosine) return cosine;
  const Four positive = cosine > 0.0 ? cosine : all(0.0);
  return kind == NgfAgreement::kSquaredPositive ? positive * positive : positive;
}

TIDEMARK_INLINE Four agreement_slope(Four cosine, NgfAgreement kind) {
  if (kind == NgfAgreement::kSquaredCosine) return 2.0 * cosine;
  if (kind == NgfAgreement::kCosine) return all(1.0);
  const Four positive = cosine > 0.0 ? cosine : all(0.0);
  if (kind == NgfAgreement::kSquaredPositive) return 2.0 * positive;
  return cosine > 0.0 ? all(1.0) : all(0.0);
}

/// Change that is still spread over the lanes.
struct WideChange {
  Pair by_point{all(0.0), all(0.0)};
  std::array<Pair, 2> by_matrix{by_point, by_point};  // [row].column
  Four by_stretch = all(0.0);

  TIDEMARK_INLINE void add(const Pair& point, const Pair& at) {
    by_point.x += point.x;
    by_point.y += point.y;
    by_matrix[0].x += point.x * at.x;
    by_matrix[0].y += point.x * at.y;
    by_matrix[1].x += point.y * at.x;
    by_matrix[1].y += point.y * at.y;
  }
  TIDEMARK_INLINE void add_turn(const Pair& gradient, const Pair& to_matrix) {
    by_matrix[0].x += gradient.x * to_matrix.x;
    by_matrix[0].y += gradient.x * to_matrix.y;
    by_matrix[1].x += gradient.y * to_matrix.x;
    by_matrix[1].y += gradient.y * to_matrix.y;
  }
  [[nodiscard]] TIDEMARK_INLINE Change<2> narrow() const {
    return {{{{total(by_matrix[0].x), total(by_matrix[0].y)},
              {total(by_matrix[1].x), total(by_matrix[1].y)}}},
            {total(by_point.x), total(by_point.y)},
            total(by_stretch)};
  }
};

struct WideSums {
  Four agreement = all(0.0);
  Four energy = all(0.0);
  Four weight = all(0.0);
  FourFlags votes{0, 0, 0, 0};
  WideChange agreement_change;
  WideChange energy_change;

  [[nodiscard]] TIDEMARK_INLINE Sums<2> narrow() const {
    return {total(agreement),
            total(energy),
            total(weight),
            static_cast<std::size_t>(votes[0] + votes[1] + votes[2] + votes[3]),
            agreement_change.narrow(),
            energy_change.narrow()};
  }
};

/// Where four points land: their cells, and their place within, 0 to 1.
struct Landed {
  std::array<std::ptrdiff_t, 4> offsets;
  Pair part;
};

/// Points beyond the grid, whose `weight` becomes 0, land on its first inner cell.
TIDEMARK_INLINE Landed land(const Pair& at, const Affine<2>& map, const Grid<2>& grid,
                            Four* weight) {
  const Four x = map.matrix[0][0] * at.x + map.matrix[0][1] * at.y + map.image[0];
  const Four y = map.matrix[1][0] * at.x + map.matrix[1][1] * at.y + map.image[1];
  const Four from_x = x + kOnGrid;
  const Four from_y = y + kOnGrid;
  // A pixel before the cell and two behind its first; NaN fails as well.
  const FourFlags inside = (from_x >= 1.0) & (from_x < static_cast<double>(grid.size[0] - 2)) &
                           (from_y >= 1.0) & (from_y < static_cast<double>(grid.size[1] - 2));
  *weight = inside ? *weight : all(0.0);
  const FourIndices column = __builtin_convertvector(inside ? from_x : all(1.0), FourIndices);
  const FourIndices row = __builtin_convertvector(inside ? from_y : all(1.0), FourIndices);
  Landed out{{},
             {(inside ? x : all(1.0)) - __builtin_convertvector(column, Four),
              (inside ? y : all(1.0)) - __builtin_convertvector(row, Four)}};
  for (unsigned lane = 0; lane < kLanes; ++lane) {
    out.offsets[lane] = column[lane] + row[lane] * grid.strides[1];
  }
  return out;
}

/// Takes the moving image's weights into `weight`; @return whether any of them changes with the
/// place, `slope` then is how, per step of the grid, times the weight before. Bilinear.
TIDEMARK_INLINE bool weigh(const float* weights, std::ptrdiff_t row, const Landed& landed,
                           Four* weight, Pair* slope) {
  bool changes = false;
  for (unsigned lane = 0; lane < kLanes; ++lane) {
    const float* first = weights + landed.offsets[lane];
    const std::array<double, 4> w = {first[0], first[1], first[row], first[row + 1]};
    if (w[0] == w[1] && w[0] == w[2] && w[0] == w[3]) {  // nearly everywhere: 0 or 1
      (*weight)[lane] *= w[0];
      continue;
    }
    const double x = landed.part.x[lane];
    const double y = landed.part.y[lane];
    const double value =
        (1.0 - y) * ((1.0 - x) * w[0] + x * w[1]) + y * ((1.0 - x) * w[2] + x * w[3]);
    if (value > 0.0) {
      (*slope).x[lane] = (*weight)[lane] * ((1.0 - y) * (w[1] - w[0]) + y * (w[3] - w[2]));
      (*slope).y[lane] = (*weight)[lane] * ((1.0 - x) * (w[2] - w[0]) + x * (w[3] - w[1]));
      changes = true;
    }
    (*weight)[lane] *= std::max(value, 0.0);
  }
  return changes;
}

}  // namespace

TIDEMARK_BY_PROCESSOR
Sums<2> sum_in_plane(const Samples<2>& samples, std::size_t begin, std::size_t end,
                     const Affine<2>& to_grid, const Grid<2>& moving, const float* weights,
                     const Rule& rule, Want want) {
  if (moving.size[0] < 4 || moving.size[1] < 4) return {};
  const auto& m = to_grid.matrix;
  const double floor2 = rule.moving_noise_floor * rule.moving_noise_floor;
  WideSums sums;
  for (std::size_t n = begin; n < end; n += kLanes) {
    const auto left = static_cast<std::int64_t>(end - n);
    const FourFlags asked = FourFlags{0, 1, 2, 3} < left;
    Four weight = asked ? load(&samples.weight[n]) : all(0.0);
    const Pair at{load(&samples.at[0][n]), load(&samples.at[1][n])};
    const Landed landed = land(at, to_grid, moving, &weight);
    Pair weight_slope{all(0.0), all(0.0)};
    const bool rim =
        weights != nullptr && weigh(weights, moving.strides[1], landed, &weight, &weight_slope);
    if (!(total(weight) > 0.0)) continue;

    const Jet jet = jet_at({moving.values + landed.offsets[0], moving.values + landed.offsets[1],
                            moving.values + landed.offsets[2], moving.values + landed.offsets[3]},
                           moving.strides[1], landed.part, want == Want::kDerivative);
    const Pair unit{load(&samples.unit[0][n]), load(&samples.unit[1][n])};
    const Pair turned{to_grid.stretch * (m[0][0] * jet.gradient.x + m[1][0] * jet.gradient.y),
                      to_grid.stretch * (m[0][1] * jet.gradient.x + m[1][1] * jet.gradient.y)};
    const Four per_length = 1.0 / root(turned.x * turned.x + turned.y * turned.y + floor2);
    const Four cosine = (unit.x * turned.x + unit.y * turned.y) * per_length;
    const Four agreement = agreement_of(cosine, rule.agreement);
    const Four energy = load(&samples.energy[n]);
    sums.agreement += weight * agreement;
    sums.energy += weight * energy;
    sums.weight += weight;
    sums.votes -= weight > 0.0;
    if (want == Want::kValue) continue;

    const Four slope = weight * agreement_slope(cosine, rule.agreement);
    const Four along = cosine * per_length;
    // Change of the cosine with the turned gradient, with the matrix, with the point.
    const Pair by_turned{(unit.x - along * turned.x) * per_length,
                         (unit.y - along * turned.y) * per_length};
    const Pair to_matrix{to_grid.stretch * by_turned.x, to_grid.stretch * by_turned.y};
    const Pair on_grid{m[0][0] * to_matrix.x + m[0][1] * to_matrix.y,
                       m[1][0] * to_matrix.x + m[1][1] * to_matrix.y};
    const Pair to_point{jet.xx * on_grid.x + jet.xy * on_grid.y,
                        jet.xy * on_grid.x + jet.yy * on_grid.y};
    sums.agreement_change.add({slope * to_point.x, slope * to_point.y}, at);
    sums.agreement_change.add_turn({slope * jet.gradient.x, slope * jet.gradient.y}, to_matrix);
    sums.agreement_change.by_stretch += slope * (by_turned.x * turned.x + by_turned.y * turned.y);
    if (!rim) continue;
    sums.agreement_change.add({agreement * weight_slope.x, agreement * weight_slope.y}, at);
    sums.energy_change.add({energy * weight_slope.x, energy * weight_slope.y}, at);
  }
  return sums.narrow();
}

}  // namespace tidemark::alignment::ngf_detail
