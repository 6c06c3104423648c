#include <itkMacro.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <optional>

#include "matcher.h"
#include "search.h"
#include "tidemark/alignment/align.h"
#include "tidemark/core/parallel.h"
#include "way_back.h"

namespace tidemark::alignment {
namespace {

/// Fewest pixels on the finest level that make a vote (house choice).
constexpr int kFewestVotes = 60;
/// Curvature along a direction, as a share of the steepest, below which the direction counts as one
/// in which the feature says nothing (house choice; a straight edge in noise has about 0.01).
constexpr double kFlat = 0.05;
constexpr int kRounds = 15;
/// A step this short ends the descent, mm on the finest level; before it, as a share of sigma: the
/// next level goes on from there.
constexpr double kStepDone = 1e-3;
constexpr double kCoarseStepDone = 0.02;
/// After a step this short, mm, the curvature is kept while steps shrink: it is taken over 0.05 mm
/// and more and would hardly change.
constexpr double kCurvatureHolds = 0.02;

struct Site {
  const PreparedFilm::Levels& fixed;
  const PreparedFilm::Levels& moving;
  const Rigid2& base;
  const AlignOptions& options;
};

/// Levels on which features vote, coarse first: at least one.
std::size_t voting_levels(const PreparedFilm::Levels& film, const AlignOptions& options) {
  const auto finer = [&](const Level& level) { return level.sigma_mm < options.vote_finest_mm; };
  const auto end = std::find_if(film.levels.begin() + 1, film.levels.end(), finer);
  return static_cast<std::size_t>(end - film.levels.begin());
}

/// The Newton step; negative curvature is turned positive, so that every step goes downhill. A
/// direction with next to no curvature (along a straight edge) is left alone: there noise alone
/// would carry the feature away.
Vec2 newton_step(const Eigen::Matrix2d& curvature, const Vec2& slope, double longest_mm) {
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(curvature);
  const Eigen::Vector2d bend = eigen.eigenvalues().cwiseAbs();
  Vec2 move = Vec2::Zero();
  for (Eigen::Index i = 0; i < 2; ++i) {
    if (!(bend(i) > kFlat * bend.maxCoeff())) continue;
    const Vec2 axis = eigen.eigenvectors().col(i);
    move -= axis.dot(slope) / bend(i) * axis;
  }
  return move.norm() > longest_mm ? Vec2(longest_mm / move.norm() * move) : move;
}

/// Newton's method from `motion`, steps no longer than `longest_mm`, until one is below `done_mm`.
Motion descend(Matcher* matcher, Motion motion, double longest_mm, double done_mm,
               const AlignOptions& options) {
  std::optional<Eigen::Matrix2d> curvature;
  Vec2 before = Vec2::Zero();
  for (int round = 0; round < kRounds; ++round) {
    if (!curvature) {
      curvature = matcher->curvature_at(motion, matcher->scatter_at(motion, options.block_mm));
    }
    Vec2 move = newton_step(*curvature, matcher->slope_at(motion), longest_mm);
    // Back again: the slope changes faster here than the curvature, taken over a wide step, says.
    const bool back = move.dot(before) < 0.0;
    if (back) move *= 0.5;
    motion.shift_mm += move;
    const double length = move.norm();
    if (length < done_mm) break;
    const bool shrinks = back || length < 0.5 * before.norm();
    if (length > kCurvatureHolds || !shrinks) curvature.reset();
    before = move;
  }
  return motion;
}

/// Sandwich covariance; in a direction in which the feature says nothing, that of a uniform
/// distribution over the search.
Eigen::Matrix2d covariance_of(const Eigen::Matrix2d& curvature, const Eigen::Matrix2d& scatter,
                              double search_mm) {
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(curvature);
  const double widest = search_mm * search_mm / 3.0;
  const double flat = kFlat * eigen.eigenvalues().cwiseAbs().maxCoeff();
  Eigen::Matrix2d inverse = Eigen::Matrix2d::Zero();
  Eigen::Matrix2d unknown = Eigen::Matrix2d::Zero();
  for (Eigen::Index i = 0; i < 2; ++i) {
    const Vec2 axis = eigen.eigenvectors().col(i);
    const double bend = eigen.eigenvalues()(i);
    if (bend > flat && axis.dot(scatter * axis) < widest * bend * bend) {
      inverse += axis * axis.transpose() / bend;
    } else {
      unknown += widest * axis * axis.transpose();
    }
  }
  return inverse * scatter * inverse + unknown;
}

/// By what the way there and back misses its start, in the axes of the fixed film, mm.
std::optional<Vec2> loop_of(const Site& site, const Feature& feature, std::size_t level,
                            const Vec2& centre_mm, const Motion& there) {
  const AlignOptions& options = site.options;
  const Rigid2 found = site.base.after(there.about(centre_mm));
  const auto voters =
      region_on(site.moving.levels[level], carried(feature.region, site.fixed, site.moving, found));
  if (!voters) return std::nullopt;
  const Matcher::Frame frame{found.inverse(), voters->centre_mm, voters->radius_mm,
                             1.5 * options.vote_search_mm};
  Matcher matcher(site.moving.levels[level], *voters, site.fixed.levels[level], frame,
                  Freedom::kShift, options);
  Motion back;
  matcher.freeze(back);
  back = descend(&matcher, back, site.fixed.levels[level].sigma_mm, kStepDone, options);
  if (back.shift_mm.norm() > options.vote_search_mm) return std::nullopt;
  return Vec2(found.rotation().transpose() * back.shift_mm);
}

std::optional<FeatureVote> vote_of(const Site& site, const Feature& feature) {
  const AlignOptions& options = site.options;
  if (feature.region.width != site.fixed.width || feature.region.height != site.fixed.height) {
    return std::nullopt;
  }
  Motion motion;
  const std::size_t levels = voting_levels(site.fixed, options);
  for (std::size_t level = 0; level < levels; ++level) {
    const Level& fixed = site.fixed.levels[level];
    const Level& moving = site.moving.levels[level];
    const bool last = level + 1 == levels;
    const auto region = region_on(fixed, feature.region);
    if (!region || region->total < options.least_overlap * region->wanted) {
      if (last) return std::nullopt;
      continue;  // the margins of a coarse level may swallow a small feature
    }
    const Matcher::Frame frame{site.base, region->centre_mm, region->radius_mm,
                               1.5 * options.vote_search_mm};
    Matcher matcher(fixed, *region, moving, frame, Freedom::kShift, options);
    if (last) matcher.freeze(motion);
    motion = descend(&matcher, motion, fixed.sigma_mm,
                     last ? kStepDone : kCoarseStepDone * fixed.sigma_mm, options);
    if (motion.shift_mm.norm() > options.vote_search_mm) return std::nullopt;
    if (!last) continue;
    const Match match = matcher.at(motion);
    if (match.votes < kFewestVotes || match.overlap < options.least_overlap ||
        !(match.agreement > 0.0)) {
      return std::nullopt;
    }
    const Eigen::Matrix2d scatter = matcher.scatter_at(motion, options.block_mm);
    Eigen::Matrix2d covariance =
        covariance_of(matcher.curvature_at(motion, scatter), scatter, options.vote_search_mm);
    const double anywhere = options.vote_search_mm * options.vote_search_mm / 3.0;
    widen(loop_of(site, feature, level, region->centre_mm, motion), Vec2(anywhere, anywhere),
          &covariance);
    return FeatureVote{.name = feature.name,
                       .position_mm = region->centre_mm,
                       .offset_mm = motion.shift_mm,
                       .covariance = covariance,
                       .agreement = match.agreement,
                       .votes = match.votes};
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
  std::vector<std::optional<FeatureVote>> cast(features.size());
  parallel_within(features.size(), [&](std::size_t i) {
    try {
      cast[i] = vote_of(site, features[i]);
    } catch (const itk::ExceptionObject&) {
      cast[i].reset();  // outside the moving film: this feature has no vote
    }
  });
  for (const auto& one : cast) {
    if (one) votes.push_back(*one);
  }
  return votes;
}

}  // namespace tidemark::alignment
