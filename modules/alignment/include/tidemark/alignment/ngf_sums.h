#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "tidemark/alignment/agreement.h"

/// What NormalizedGradientFieldMetric sums over its points, and the sum in the plane, four points
/// at a time. No ITK.
namespace tidemark::alignment::ngf_detail {

/// Points that are dealt with at once. Fixed, since the order of the sums follows from it.
inline constexpr std::size_t kLanes = 4;

template <unsigned VDimension>
using Real = std::array<double, VDimension>;
template <unsigned VDimension>
using Square = std::array<Real<VDimension>, VDimension>;  // [row][column]

/// How a sum changes with a linear map, whatever the map's parameters are.
template <unsigned VDimension>
struct Change {
  Square<VDimension> by_matrix{};
  Real<VDimension> by_point{};
  double by_stretch = 0.0;

  void add(const Change& other) {
    for (unsigned i = 0; i < VDimension; ++i) {
      by_point[i] += other.by_point[i];
      for (unsigned j = 0; j < VDimension; ++j) by_matrix[i][j] += other.by_matrix[i][j];
    }
    by_stretch += other.by_stretch;
  }
};

/// Sums over points that vote with weight w: of w a(c), w a(|n|) and w, and how the first two
/// change.
template <unsigned VDimension>
struct Sums {
  double agreement = 0.0;
  double energy = 0.0;
  double weight = 0.0;
  std::size_t votes = 0;
  Change<VDimension> agreement_change;
  Change<VDimension> energy_change;

  void add(const Sums& other) {
    agreement += other.agreement;
    energy += other.energy;
    weight += other.weight;
    votes += other.votes;
    agreement_change.add(other.agreement_change);
    energy_change.add(other.energy_change);
  }
};

/// The points of the fixed image that may vote, one list a quantity. The lists are longer than
/// size() by zeros, so that the last points can be read kLanes at a time as well.
template <unsigned VDimension>
class Samples {
 public:
  std::array<std::vector<double>, VDimension> at;   ///< relative to the metric's centre
  std::array<std::vector<float>, VDimension> unit;  ///< n(F) in the virtual frame
  std::vector<float> weight;                        ///< above 0
  std::vector<double> energy;                       ///< a(|n(F)|)

  [[nodiscard]] std::size_t size() const { return size_; }
  void resize(std::size_t size) {
    size_ = size;
    const std::size_t padded = size + kLanes - 1;
    for (auto& list : at) list.resize(padded);
    for (auto& list : unit) list.resize(padded);
    weight.resize(padded);
    energy.resize(padded);
    for (std::size_t n = size; n < padded; ++n) weight[n] = 0.0F;
  }
  void copy(std::size_t from, std::size_t to) {
    for (auto& list : at) list[to] = list[from];
    for (auto& list : unit) list[to] = list[from];
    weight[to] = weight[from];
    energy[to] = energy[from];
  }
  [[nodiscard]] Real<VDimension> point(std::size_t n) const {
    Real<VDimension> out{};
    for (unsigned i = 0; i < VDimension; ++i) out[i] = at[i][n];
    return out;
  }

 private:
  std::size_t size_ = 0;
};

/// T(centre + d) = image + matrix d; gradients are turned back by stretch matrix^T.
template <unsigned VDimension>
struct Affine {
  Real<VDimension> image{};
  Square<VDimension> matrix{};
  double stretch = 1.0;
};

/// Cubic B-spline coefficients on their grid.
template <unsigned VDimension>
struct Grid {
  const double* values = nullptr;
  std::array<std::ptrdiff_t, VDimension> size{};
  std::array<std::ptrdiff_t, VDimension> strides{};
};

/// What becomes of a pair of unit gradients.
struct Rule {
  NgfAgreement agreement = NgfAgreement::kSquaredCosine;
  double moving_noise_floor = 0.0;  ///< per physical unit, above 0
};

enum class Want { kValue, kDerivative };

/// A point this close to a grid line lies on it, pixels. Else rounding would decide whether the
/// outermost points vote.
inline constexpr double kOnGrid = 1e-9;

/// The sums over samples `begin` to `end` (exclusive) in the plane. `to_grid` ends on the moving
/// grid; `weights` are those of its pixels, null for 1 everywhere. The same bits on every
/// processor: a wide one does four points in one instruction, but rounds as often.
[[nodiscard]] Sums<2> sum_in_plane(const Samples<2>& samples, std::size_t begin, std::size_t end,
                                   const Affine<2>& to_grid, const Grid<2>& moving,
                                   const float* weights, const Rule& rule, Want want);

}  // namespace tidemark::alignment::ngf_detail
