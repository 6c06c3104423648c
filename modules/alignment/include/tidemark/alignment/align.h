#pragma once

#include <Eigen/Core>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/alignment/agreement.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::alignment {

/// How films are prepared and aligned. Defaults are house choices (docs/alignment.md).
struct AlignOptions {
  std::vector<double> level_mm = {1.2, 0.6, 0.3};  ///< Gaussian sigma of each level, coarse first
  double search_along_mm = 12.0;  ///< half width of the first search along y (the shaft), mm
  double search_across_mm = 6.0;  ///< along x, mm
  double search_angle_deg = 4.0;  ///< half width of the first search of the angle
  /// Both films are bright where they absorb, so an edge keeps its polarity; the halo of edge
  /// enhancement is an edge of the other polarity and must not match.
  NgfAgreement agreement = NgfAgreement::kSquaredPositive;
  /// Noise floor of each film: this factor times this quantile (0 to 1) of the gradients of the
  /// pixels that may vote.
  double noise_floor_quantile = 0.5;
  double noise_floor_factor = 1.0;
  /// Half width of the search of one feature around the whole alignment, mm.
  double vote_search_mm = 3.0;
  /// Sigma of the finest level on which features vote, mm; finer levels that the films were
  /// prepared on are left to the whole region.
  double vote_finest_mm = 0.0;
  /// Least share of the region's weight that has to fall on usable pixels, 0 to 1.
  double least_overlap = 0.3;
  /// Pixels closer than this err together (noise, texture, overlying tissue); it sets the blocks
  /// from which the covariance is computed, mm.
  double block_mm = 3.0;
  /// Half the least distance, mm, of the two slopes that give the curvature. Where noise makes
  /// ripples, wider steps see the basin that they stand in.
  double curvature_step_mm = 0.05;
  /// Threads per registration. The result does not depend on it.
  int threads = 1;
};

/// `options` for the bone and its features: they vote at 0.6 mm. One feature has too few pixels to
/// see past the ripples that noise makes below that (docs/alignment.md has the figures).
[[nodiscard]] AlignOptions for_bone(AlignOptions options);

/// One film made ready for alignment: unit gradients with a noise floor on every level. The film
/// frame is millimetres: p_mm = mm_per_px * p_px of the hip view. Built once, used for every
/// region.
class PreparedFilm {
 public:
  struct Levels;
  explicit PreparedFilm(std::shared_ptr<const Levels> levels) : levels_(std::move(levels)) {}
  [[nodiscard]] const Levels& levels() const { return *levels_; }

 private:
  std::shared_ptr<const Levels> levels_;
};

/// @param pixels   hip view, bright = more absorbing
/// @param excluded pixels (same size) that may not vote, e.g. metal and its margin, when the bone
/// is
///                 aligned; empty for none
[[nodiscard]] Expected<PreparedFilm> prepare(const Raster& pixels, double mm_per_px,
                                             const Mask& excluded, const AlignOptions& options);

/// Result of one registration.
struct Alignment {
  Rigid2 moving_from_fixed_mm;    ///< between the mm frames of the two films
  Vec2 centre_mm = Vec2::Zero();  ///< centre of the voting region in the fixed film
  /// Covariance of (x mm, y mm, angle rad) of the motion, expressed at centre_mm, from the
  /// curvature of the measure, its residuals, and what the way back from the moving film to the
  /// fixed one disagrees by.
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();
  double agreement = 0.0;  ///< weighted mean of the squared cosine between gradients, 0 to 1
  /// Agreement of the best other minimum (more than the coarsest sigma away) as a share of the
  /// winner's, on the last level but one; 0 if there is none. Near 1: another position explains
  /// the films nearly as well, so look before you trust.
  double runner_up = 0.0;
  double overlap = 0.0;  ///< share of the region's weight that fell on usable pixels, 0 to 1
  int votes = 0;         ///< number of pixels that voted on the finest level
};

/// Aligns `moving` to `fixed` rigidly (one scale per film is in mm_per_px already).
/// @param region weights (size of the fixed film, >= 0): which pixels of the fixed film vote
/// @param start  moving_from_fixed in mm, within the search range of the truth
/// @return kCannotTell when too little overlaps or the minimum is not distinct; kNotConverged.
[[nodiscard]] Expected<Alignment> align(const PreparedFilm& fixed, const Raster& region,
                                        const PreparedFilm& moving, const Rigid2& start,
                                        const AlignOptions& options);

/// A named piece of the fixed film that votes on its own.
struct Feature {
  std::string name;  ///< e.g. "greater_trochanter"
  Raster region;     ///< weights, size of the fixed film
};

/// What one feature says after the whole region was aligned.
struct FeatureVote {
  std::string name;
  Vec2 position_mm = Vec2::Zero();  ///< weighted centre of the feature in the fixed film
  /// Where the feature really lies in the moving film minus where the whole alignment puts it,
  /// turned back into the axes of the fixed film, mm.
  Vec2 offset_mm = Vec2::Zero();
  /// Of offset_mm; holds what the feature's way back to the fixed film disagrees by.
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Zero();
  double agreement = 0.0;
  int votes = 0;
};

/// Lets each feature look for its own shift (translation only) around a given alignment.
/// Features with too few votes or no distinct minimum are left out.
[[nodiscard]] std::vector<FeatureVote> vote(const PreparedFilm& fixed, const PreparedFilm& moving,
                                            const Rigid2& moving_from_fixed_mm,
                                            const std::vector<Feature>& features,
                                            const AlignOptions& options);

}  // namespace tidemark::alignment
