#include "size.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "tidemark/core/parallel.h"

namespace tidemark::surface {
namespace {

constexpr double kFree = 0.2;  ///< of the head's diameter, logarithm: as good as free

/// The pose that was found and one as legs are laid, each with sizes to either side: a surface that
/// is too small settles in a pose far off, from where the outline alone does not lead back.
std::vector<UnknownVector> starts_of(const Belief& belief, const UnknownVector& best) {
  constexpr std::array kSizes{-0.06, -0.03, 0.0, 0.03, 0.06};
  const double version = belief.anteversion.value * std::numbers::pi / 180.0;
  UnknownVector usual = best;
  usual(kFlexion) = 0.0;
  usual(kVersion) = belief.view == View::kPa ? -version : version;
  std::vector<UnknownVector> out;
  for (const UnknownVector& pose : {best, usual}) {
    for (const double size : kSizes) {
      out.push_back(pose);
      out.back()(kLogScale) += size;
      out.back()(kHeadSize) -= size;
    }
  }
  return out;
}

}  // namespace

SizeLog size_of(const Problem& problem, const Fit& best, const Weighing& fine) {
  OutlineOnFilm film = problem.film;
  film.head_size_log_u = kFree;
  const Problem free{problem.stem,   problem.rim,    film,
                     problem.belief, problem.points, problem.spacing_mm};
  const Weighing far{.sigma_mm = 1.0, .together = fine.together, .reach_mm = 7.0};
  const auto starts = starts_of(problem.belief, best.x);
  std::vector<Fit> fits(starts.size());
  parallel_within(fits.size(), [&](std::size_t i) {
    fits[i] = descend(free, descend(free, starts[i], far, 8).x, fine, 15);
  });
  const auto least = std::min_element(fits.begin(), fits.end(),
                                      [](const Fit& a, const Fit& b) { return a.cost < b.cost; });
  // The outline scatters less about the right size than it did about the wrong one.
  const Scatter seen = scatter_of(free, least->x, fine.reach_mm);
  const double floor = problem.belief.outline_u.value;
  const Weighing own{
      .sigma_mm = std::clamp(seen.sigma_mm, floor, fine.sigma_mm),
      .together = std::clamp(seen.together, problem.belief.together.value / problem.spacing_mm,
                             fine.together),
      .reach_mm = fine.reach_mm};
  const Fit fit = descend(free, least->x, own, 15);
  const UnknownMatrix covariance = fit.information.ldlt().solve(UnknownMatrix::Identity());
  // The ball's diameter over the stated one is the surface's size over the stem's.
  return {-fit.x(kHeadSize), std::sqrt(covariance(kHeadSize, kHeadSize))};
}

}  // namespace tidemark::surface
