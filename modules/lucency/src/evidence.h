#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "response.h"

namespace tidemark::lucency {

/// Widths of a line that are tried, mm.
[[nodiscard]] const std::vector<double>& line_widths();
/// Distances of the canal's wall that are tried, mm.
[[nodiscard]] const std::vector<double>& canal_widths();

/// What one profile says of each width of a line beside the metal.
struct PlaceEvidence {
  /// Log of the probability of the profile with a line of each width over that without one.
  std::vector<double> log_odds;
  std::vector<double> depth;         ///< expected depth of the line, grey values, positive = darker
  std::vector<double> rim_log_odds;  ///< of the line with a bright rim over that without; 0 where
                                     ///< a rim could not be told
  /// The same as log_odds of a canal whose wall is at each distance.
  std::vector<double> canal_log_odds;
  /// Log of the probability of a border at each of canal_widths() that is bright inside (a mantle's
  /// outer border) over that without.
  std::vector<double> border_log_odds;
  /// What the best explanation without a line has beside the metal: dark by `dark_depth` (grey
  /// values; not positive: not darker) up to a wall at `dark_to` (mm), beyond all that is told as
  /// a line.
  double dark_depth = 0.0;
  double dark_to = 0.0;
};

/// Noise of the mean profiles, grey values squared, by how far it reaches.
struct Noise {
  double fine = 0.0;     ///< within a pixel or two
  double texture = 0.0;  ///< Gaussian, 0.7 mm: trabeculae
  double broad = 0.0;    ///< Gaussian, 3 mm: the bone's own course
};

/// Estimates the noise from differences within the profiles; medians, so that walls do not count.
[[nodiscard]] Noise estimate_noise(const Eigen::Ref<const Eigen::MatrixXd>& profiles);

/// Shape of a line's darkness across it: (1 - x / w)^power, 0 a box, 1/2 the chord of a round gap;
/// blurred with `blur_mm`.
struct LineShape {
  double power = 0.0;
  double blur_mm = 0.2;
  /// What the enhancement adds on either side of a wall, as of the halo beside metal; absent: the
  /// halo itself.
  std::optional<HaloVector> overshoot;
};

/// How the film shows what is dark by 1 from the metal to w: at the samples of a profile.
[[nodiscard]] Eigen::VectorXd line_profile(double w, double power, double blur_mm,
                                           const HaloVector& overshoot);

/// Whether the halo learnt at the neck is moved to what the whole interface has in common first.
enum class Halo { kAsLearnt, kSettled };

/// Compares lines of all widths at all places. The background (constant, slope, broad course),
/// the metal's penumbra and the halo within its uncertainty are averaged over (Gaussian priors);
/// another wall further out is allowed for.
///
/// @param steps   local step from bone to metal of each place
/// @param contrast grey value that lines and walls differ by, typically
[[nodiscard]] std::vector<PlaceEvidence> weigh_lines(const Profiles& profiles,
                                                     const std::vector<std::size_t>& places,
                                                     const std::vector<double>& steps,
                                                     const Response& response, double contrast,
                                                     const LineShape& shape, Halo halo);

}  // namespace tidemark::lucency
