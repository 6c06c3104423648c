#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "profiles.h"

namespace tidemark::lucency {

/// Shapes of which a halo is made: erfc(x / (sqrt 2 r)) outside of a straight edge, which is what
/// an unsharp mask with a Gaussian of standard deviation r leaves beside a step (derived).
inline constexpr int kHaloShapes = 5;
inline constexpr double kHaloRadiusMm[kHaloShapes] = {0.3, 0.5, 0.9, 1.6, 2.6};

using HaloVector = Eigen::Matrix<double, kHaloShapes, 1>;
using HaloMatrix = Eigen::Matrix<double, kHaloShapes, kHaloShapes>;

/// What the film does to an edge of metal where no bone is, as shares of the step to the metal.
struct Response {
  HaloVector halo = HaloVector::Zero();        ///< amplitudes, negative for a dark halo
  HaloMatrix covariance = HaloMatrix::Zero();  ///< of one place's amplitudes about them
  int edges = 0;                               ///< independent stretches it was learnt from
};

/// Values of the halo's shapes at the samples of a profile: one column each.
[[nodiscard]] Eigen::Matrix<double, Eigen::Dynamic, kHaloShapes> halo_shapes();

/// Which places may teach the response.
struct Teachers {
  std::vector<std::size_t> bare;   ///< neck: no bone beside the metal
  std::vector<std::size_t> flank;  ///< beside bone; the least dark of them count
};

/// Learns the response from the neck and from those stretches of the flanks that are least dark
/// beside the metal: a halo is everywhere, a line only adds darkness.
[[nodiscard]] Response learn_response(const Profiles& profiles, const Teachers& teachers);

}  // namespace tidemark::lucency
