#pragma once

#include <Eigen/Core>
#include <vector>

#include "strip.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/film/film.h"

namespace tidemark::lucency {

/// Mean profiles across the stem's edge, one column each, from kProfileFromMm outwards.
inline constexpr double kProfilePitchMm = 0.1;
inline constexpr double kProfileFromMm = 0.2;
inline constexpr int kProfileSamples = 78;  ///< up to 7.9 mm
inline constexpr double kPlacePitchMm = 0.5;

/// Distance of sample i of a profile from the metal's edge, mm.
[[nodiscard]] constexpr double profile_x(int i) { return kProfileFromMm + kProfilePitchMm * i; }

struct Profiles {
  std::vector<Place> places;   ///< every kPlacePitchMm along the whole outline, on the refined edge
  Eigen::MatrixXd values;      ///< kProfileSamples x places, grey values
  std::vector<double> metal;   ///< grey inside of the metal's edge
  std::vector<double> beyond;  ///< median grey from 2 to 6 mm outside
  std::vector<int> clear;      ///< samples before the first that the film does not show
  /// Width of the metal's edge, mm: its step over its steepest fall and sqrt(2 pi), the standard
  /// deviation of the blur of a straight edge (derived). 0 where there is no fall. A round stem's
  /// dome reads wider, edge enhancement narrower. Empty beyond another border than the metal's.
  std::vector<double> softness;
};

/// Unrolls the film along the whole outline, moves each place to the steepest fall (smoothed along
/// the outline) and averages over a window of 2 mm along the interface.
[[nodiscard]] Profiles take_profiles(const film::FilmImage& hip_view,
                                     const anatomy::Implant& implant, double mm_per_px);

/// The same across another border that lies `outward_mm[i]` outside of the metal at place i (the
/// mantle's): profiles begin there, `metal` is the grey inside of it. Places stay on the metal.
[[nodiscard]] Profiles take_profiles_beyond(const film::FilmImage& hip_view,
                                            const anatomy::Implant& implant,
                                            const std::vector<Place>& places,
                                            const std::vector<double>& outward_mm,
                                            double mm_per_px);

}  // namespace tidemark::lucency
