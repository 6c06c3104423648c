#pragma once

#include <Eigen/Core>
#include <optional>

#include "level.h"
#include "tidemark/alignment/align.h"
#include "tidemark/core/raster.h"

namespace tidemark::alignment {

/// How far the way back may lead off the way there, mm (house choice: what lies farther off is
/// another minimum, of which Alignment::runner_up tells).
inline constexpr double kWayBackMm = 3.0;

/// The films change roles: `region`, carried over by `there`, is aligned from the moving film back
/// to the fixed one on the last level but one.
/// @return by what there and back misses its start: shift of there.centre_mm (x, y mm) and turn
///         (rad) in the axes of the fixed film; nothing where the way back is lost.
[[nodiscard]] std::optional<Eigen::Vector3d> loop_error(const PreparedFilm::Levels& fixed,
                                                        const Raster& region,
                                                        const PreparedFilm::Levels& moving,
                                                        const Alignment& there,
                                                        const AlignOptions& options);

/// Two readings that differ by d scatter about their mean by d^2 / 2 (JCGM 100, 4.2.2): what there
/// and back disagree by belongs to the uncertainty of the way there.
/// @param anywhere  variances of a way there that could have ended anywhere within its reach: what
///                  counts where the way back is lost
template <int kSize>
void widen(const std::optional<Eigen::Matrix<double, kSize, 1>>& loop,
           const Eigen::Matrix<double, kSize, 1>& anywhere,
           Eigen::Matrix<double, kSize, kSize>* covariance) {
  if (loop) {
    *covariance += 0.5 * *loop * loop->transpose();
  } else {
    covariance->diagonal() += anywhere;
  }
}

/// `region` of the fixed film as it lies on the moving one, nearest pixel.
[[nodiscard]] Raster carried(const Raster& region, const PreparedFilm::Levels& fixed,
                             const PreparedFilm::Levels& moving, const Rigid2& moving_from_fixed);

}  // namespace tidemark::alignment
