#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

namespace tidemark::migration {

/// Where a feature lies behind (+) the plane of the stem, mm, with its spread between people.
/// From the proximal femora of 8 people (open CT surfaces, testdata/README.md), measured against
/// the shaft's axis; stem placed on that axis within 3 mm. The calcar from the neck's anteversion
/// (PoseModel, derived).
struct Depth {
  double mean_mm = 0.0;
  double sd_mm = 6.0;
};
[[nodiscard]] Depth depth_of(const std::string& feature);

/// Number of features with a depth of their own: the five of regions.h, and the bone as a whole.
inline constexpr int kDepths = 6;
using DepthVector = Eigen::Matrix<double, kDepths, 1>;
using DepthMatrix = Eigen::Matrix<double, kDepths, kDepths>;

/// Where the features of one hip register, mm behind the stem's reference point, as far as it is
/// known: they lie where they lie on every film of that hip.
struct Depths {
  DepthVector mean_mm = DepthVector::Zero();
  DepthMatrix covariance = DepthMatrix::Identity();  ///< mm^2
};

/// Place of a feature in Depths; that of the bone as a whole for any other name.
[[nodiscard]] int depth_index(const std::string& feature);

/// Before anything of this hip is measured: depth_of, and the stem before or behind the shaft's
/// axis by `stem_depth_mm`, which moves all depths alike.
[[nodiscard]] Depths depths_of_people(double stem_depth_mm);

/// `before` with what other pairs of the same hip learnt. Each of `others` is what one pair knew
/// after its films, having begun with `before`; what it added is its information less that of
/// `before` (Gaussian messages; information adds for independent pairs, JCGM 100 has no name for
/// it). A pair that is less sure in a direction than before says nothing there, of the mean
/// neither. All pairs share the reference film, taken for half of each one's error (house choice):
/// n pairs then know 2 n / (n + 1) times what one knows (derived), so each of the n - 1 others
/// counts by 1 / (n + 1), one pair's worth together at most.
[[nodiscard]] Depths with_others(const Depths& before, const std::vector<const Depths*>& others);

}  // namespace tidemark::migration
