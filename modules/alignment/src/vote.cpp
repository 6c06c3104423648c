#include <itkMacro.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <optional>

#include "matcher.h"
#include "search.h"
#include "tidemark/alignment/align.h"

namespace tidemark::alignment {
namespace {

/// Fewest pixels on the finest level that make a vote (house choice).
constexpr int kFewestVotes = 60;
/// Expected size of offsets, as a share of the search: keeps a straight edge, which says nothing
/// along itself, from sliding away (house choice). It bends the offset, never its covariance.
constexpr double kPriorShare = 0.5;
constexpr int kMaxSteps = 20;
constexpr double kStepDone = 1e-4;  // mm

struct Site {
  const PreparedFilm::Levels& fixed;
  const PreparedFilm::Levels& moving;
  const Rigid2& base;
  const AlignOptions& options;
};

/// Weight of the prior in units of the disagreement: the scatter of the slope over the curvature
/// is the disagreement that one standard deviation costs.
double prior_weight(const Matcher::Shape& shape, double prior_mm) {
  const double curvature = shape.curvature.trace();
  if (!(curvature > 0.0)) return 0.0;
  return shape.scatter.trace() / curvature / (prior_mm * prior_mm);
}

/// Newton steps of the disagreement plus prior; negative curvature is turned positive, so that
/// every step goes downhill.
Motion descend(Matcher* matcher, Motion motion, double prior_mm, double longest_mm,
               const AlignOptions& options) {
  for (int step = 0; step < kMaxSteps; ++step) {
    const auto shape = matcher->shape_at(motion, options.block_mm);
    const double prior = prior_weight(shape, prior_mm);
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(shape.curvature);
    const Vec2 slope = shape.slope + prior * motion.shift_mm;
    Vec2 move = Vec2::Zero();
    for (Eigen::Index i = 0; i < 2; ++i) {
      const Vec2 axis = eigen.eigenvectors().col(i);
      const double bend = std::max(std::abs(eigen.eigenvalues()(i)) + prior, 1e-12);
      move -= axis.dot(slope) / bend * axis;
    }
    if (move.norm() > longest_mm) move *= longest_mm / move.norm();
    motion.shift_mm += move;
    if (move.norm() < kStepDone) break;
  }
  return motion;
}

/// Sandwich covariance, no direction better known than the curvature says and none worse than
/// the search itself would leave it.
Eigen::Matrix2d covariance_of(const Matcher::Shape& shape, double search_mm) {
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(shape.curvature);
  const double widest = search_mm * search_mm / 3.0;  // variance of a uniform within the search
  const double scale = std::max(shape.scatter.trace(), 1e-300);
  const double least = std::sqrt(scale / widest);  // curvature that gives the widest
  Eigen::Vector2d inverse;
  for (Eigen::Index i = 0; i < 2; ++i) {
    inverse(i) = 1.0 / std::max(eigen.eigenvalues()(i), least);
  }
  const Eigen::Matrix2d pseudo =
      eigen.eigenvectors() * inverse.asDiagonal() * eigen.eigenvectors().transpose();
  Eigen::Matrix2d covariance = pseudo * shape.scatter * pseudo;
  // A direction without curvature has next to no scatter either: say what is known, the search.
  for (Eigen::Index i = 0; i < 2; ++i) {
    if (eigen.eigenvalues()(i) > least) continue;
    const Vec2 axis = eigen.eigenvectors().col(i);
    covariance += std::max(0.0, widest - axis.dot(covariance * axis)) * axis * axis.transpose();
  }
  return covariance;
}

std::optional<FeatureVote> vote_of(const Site& site, const Feature& feature) {
  const AlignOptions& options = site.options;
  if (feature.region.width != site.fixed.width || feature.region.height != site.fixed.height) {
    return std::nullopt;
  }
  const double prior_mm = kPriorShare * options.vote_search_mm;
  Motion motion;
  for (std::size_t level = 0; level < site.fixed.levels.size(); ++level) {
    const Level& fixed = site.fixed.levels[level];
    const Level& moving = site.moving.levels[level];
    const bool last = level + 1 == site.fixed.levels.size();
    const auto region = region_on(fixed, feature.region, site.fixed.mm_per_px);
    if (!region || region->total < options.least_overlap * region->wanted) {
      if (last) return std::nullopt;
      continue;  // the margins of a coarse level may swallow a small feature
    }
    const Matcher::Frame frame{site.base, region->centre_mm, region->radius_mm,
                               1.5 * options.vote_search_mm};
    Matcher matcher(fixed, *region, moving, frame, Freedom::kShift, options);
    if (last) matcher.freeze(motion);
    motion = descend(&matcher, motion, prior_mm, fixed.sigma_mm, options);
    if (motion.shift_mm.norm() > options.vote_search_mm) return std::nullopt;
    if (!last) continue;
    const auto shape = matcher.shape_at(motion, options.block_mm);
    if (shape.match.votes < kFewestVotes || shape.match.overlap < options.least_overlap ||
        !(shape.match.agreement > 0.0)) {
      return std::nullopt;
    }
    return FeatureVote{.name = feature.name,
                       .position_mm = region->centre_mm,
                       .offset_mm = motion.shift_mm,
                       .covariance = covariance_of(shape, options.vote_search_mm),
                       .agreement = shape.match.agreement,
                       .votes = shape.match.votes};
  }
  return std::nullopt;
}

}  // namespace

std::vector<FeatureVote> vote(const PreparedFilm& fixed, const PreparedFilm& moving,
                              const Rigid2& moving_from_fixed_mm,
                              const std::vector<Feature>& features, const AlignOptions& options) {
  std::vector<FeatureVote> votes;
  if (fixed.levels().levels.size() != moving.levels().levels.size()) return votes;
  const Site site{fixed.levels(), moving.levels(), moving_from_fixed_mm, options};
  for (const Feature& feature : features) {
    try {
      if (const auto vote = vote_of(site, feature)) votes.push_back(*vote);
    } catch (const itk::ExceptionObject&) {
      continue;  // outside the moving film: this feature has no vote
    }
  }
  return votes;
}

}  // namespace tidemark::alignment
