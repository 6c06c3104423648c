#include "tidemark/alignment/align.h"

#include <itkMacro.h>

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <string>
#include <utility>

#include "matcher.h"
#include "search.h"
#include "tidemark/core/parallel.h"
#include "way_back.h"

namespace tidemark::alignment {
namespace {

/// Candidates that are followed on the first levels; on the last one only the best is.
constexpr std::array<std::size_t, 2> kFollowed = {5, 3};
/// Two motions are one minimum when they carry the region apart by less than this many sigma.
constexpr double kSameMinimum = 1.0;
/// How far a candidate may move on a finer level, sigma of the level before.
constexpr double kReachSigma = 3.0;
/// Fewest pixels that make an alignment (house choice).
constexpr int kFewestVotes = 200;

tl::unexpected<Error> cannot_tell(std::string wrong, std::string remedy) {
  return fail(ErrorKind::kCannotTell, "alignment", std::move(wrong), std::move(remedy));
}

double apart_mm(const Motion& a, const Motion& b, double radius_mm) {
  return std::hypot((a.shift_mm - b.shift_mm).norm(), radius_mm * (a.angle_rad - b.angle_rad));
}

/// Best first; of two that are the same minimum the better stays.
std::vector<Match> distinct(std::vector<Match> matches, double radius_mm, double same_mm) {
  std::stable_sort(matches.begin(), matches.end(),
                   [](const Match& a, const Match& b) { return a.agreement > b.agreement; });
  std::vector<Match> kept;
  for (const Match& match : matches) {
    const bool known = std::any_of(kept.begin(), kept.end(), [&](const Match& other) {
      return apart_mm(match.motion, other.motion, radius_mm) < same_mm;
    });
    if (!known) kept.push_back(match);
  }
  return kept;
}

/// One Newton step from where L-BFGS stopped, if it is small; the minimum is then exact to well
/// below the uncertainty.
Motion polished(Motion motion, const Eigen::Vector3d& step, double radius_mm) {
  if (std::hypot(step.head<2>().norm(), radius_mm * step(2)) > 0.1) return motion;
  motion.shift_mm -= step.head<2>();
  motion.angle_rad -= step(2);
  return motion;
}

/// Everything that stays the same from level to level.
struct Job {
  const PreparedFilm::Levels& fixed;
  const PreparedFilm::Levels& moving;
  const Raster& region;
  const AlignOptions& options;
  Matcher::Frame frame;
};

/// Candidates of the coarsest level, by exhaustive search and then sliding.
std::vector<Match> coarse_candidates(const Job& job, const LevelRegion& region) {
  const AlignOptions& options = job.options;
  const double angle = options.search_angle_deg * std::numbers::pi / 180.0;
  Matcher::Frame frame = job.frame;
  frame.reach_mm =
      std::hypot(options.search_along_mm, options.search_across_mm) + 2.0 * frame.radius_mm * angle;
  const Level& fixed = job.fixed.levels.front();
  const Level& moving = job.moving.levels.front();
  Matcher matcher(fixed, region, moving, frame, Freedom::kRigid, options);
  const auto starts =
      search(fixed, region, moving, frame, matcher.noise_floors(),
             {options.search_across_mm, options.search_along_mm, angle}, options, kFollowed[0]);
  std::vector<Match> matches;
  for (const Motion& start : starts) {
    const Match match = matcher.slide(start, Exactness::kNear);
    if (match.overlap >= options.least_overlap) matches.push_back(match);
  }
  return distinct(std::move(matches), frame.radius_mm, kSameMinimum * fixed.sigma_mm);
}

/// One candidate one level finer; nothing where it leaves the other film.
std::optional<Match> followed(const Job& job, const LevelRegion& region, std::size_t level,
                              const Match& candidate) {
  Matcher::Frame frame = job.frame;
  frame.base = job.frame.base.after(candidate.motion.about(frame.centre_mm));
  frame.reach_mm = kReachSigma * job.fixed.levels[level - 1].sigma_mm;
  Matcher matcher(job.fixed.levels[level], region, job.moving.levels[level], frame, Freedom::kRigid,
                  job.options);
  Match match = matcher.slide({}, Exactness::kNear);
  if (match.overlap < job.options.least_overlap) return {};
  // In terms of the common base again.
  const Rigid2 whole =
      job.frame.base.inverse().after(frame.base).after(match.motion.about(frame.centre_mm));
  match.motion = {whole.angle_rad, whole.apply(frame.centre_mm) - frame.centre_mm};
  return match;
}

/// The same candidates one level finer.
std::vector<Match> finer(const Job& job, const LevelRegion& region, std::size_t level,
                         const std::vector<Match>& candidates) {
  std::vector<std::optional<Match>> made(candidates.size());
  parallel_within(candidates.size(),
                  [&](std::size_t i) { made[i] = followed(job, region, level, candidates[i]); });
  std::vector<Match> matches;
  for (const auto& match : made) {
    if (match) matches.push_back(*match);
  }
  return distinct(std::move(matches), job.frame.radius_mm,
                  kSameMinimum * job.fixed.levels.front().sigma_mm);
}

/// Exact minimum on the finest level with the votes held fast, and its covariance.
Expected<Alignment> finish(const Job& job, const LevelRegion& region, const Match& best) {
  Matcher::Frame frame = job.frame;
  frame.base = job.frame.base.after(best.motion.about(frame.centre_mm));
  const std::size_t levels = job.fixed.levels.size();
  frame.reach_mm = kReachSigma * job.fixed.levels[levels > 1 ? levels - 2 : 0].sigma_mm;
  Matcher matcher(job.fixed.levels.back(), region, job.moving.levels.back(), frame, Freedom::kRigid,
                  job.options);
  Motion motion = matcher.slide({}, Exactness::kNear).motion;
  matcher.freeze(motion);
  motion = matcher.slide(motion, Exactness::kExact).motion;
  if (apart_mm(motion, {}, frame.radius_mm) > frame.reach_mm) {
    return cannot_tell("the best position is lost on the finest level",
                       "check the exclusion masks and the scale of both films");
  }
  const Eigen::Matrix3d scatter = matcher.scatter_at(motion, job.options.block_mm);
  const Eigen::Matrix3d curvature = matcher.curvature_at(motion, scatter);
  const Eigen::LLT<Eigen::Matrix3d> factor(curvature);
  if (factor.info() != Eigen::Success) {
    return cannot_tell("the region has no distinct best position", "use a larger region");
  }
  motion = polished(motion, factor.solve(matcher.slope_at(motion)), frame.radius_mm);
  const Match match = matcher.at(motion);
  if (match.votes < kFewestVotes) {
    return cannot_tell("too few pixels can be compared", "use a larger region or less exclusion");
  }
  const Eigen::Matrix3d inverse = factor.solve(Eigen::Matrix3d::Identity());
  Alignment out;
  out.moving_from_fixed_mm = frame.base.after(motion.about(frame.centre_mm));
  out.centre_mm = frame.centre_mm;
  out.covariance = inverse * scatter * inverse;
  out.agreement = match.agreement;
  out.overlap = best.overlap * region.total / region.wanted;
  out.votes = match.votes;
  return out;
}

Expected<Alignment> align_levels(Job job) {
  std::vector<Match> candidates;
  std::optional<LevelRegion> region;
  double runner_up = 0.0;
  for (std::size_t level = 0; level < job.fixed.levels.size(); ++level) {
    region = region_on(job.fixed.levels[level], job.region);
    if (!region) return cannot_tell("no pixel of the region may be used", "check the masks");
    if (level == 0) {
      job.frame.centre_mm = region->centre_mm;
      job.frame.radius_mm = region->radius_mm;
      candidates = coarse_candidates(job, *region);
    } else if (level + 1 < job.fixed.levels.size()) {
      candidates.resize(
          std::min(candidates.size(), kFollowed[std::min(level, kFollowed.size() - 1)]));
      candidates = finer(job, *region, level, candidates);
    }
    if (candidates.empty()) {
      return cannot_tell("too little of the region lies on the other film",
                         "check that both films show the same hip");
    }
    if (candidates.size() > 1) {
      runner_up = candidates[1].agreement / candidates[0].agreement;
    } else if (level + 1 < job.fixed.levels.size()) {
      runner_up = 0.0;
    }
  }
  auto result = finish(job, *region, candidates.front());
  if (!result) return result;
  result->runner_up = runner_up;
  const double radius = std::max(job.frame.radius_mm, 1.0);
  const double anywhere = kWayBackMm * kWayBackMm / 3.0;
  widen(loop_error(job.fixed, job.region, job.moving, *result, job.options),
        Eigen::Vector3d(anywhere, anywhere, anywhere / (radius * radius)), &result->covariance);
  return result;
}

}  // namespace

AlignOptions for_bone(AlignOptions options) {
  options.vote_finest_mm = 0.6;
  return options;
}

Expected<Alignment> align(const PreparedFilm& fixed, const Raster& region,
                          const PreparedFilm& moving, const Rigid2& start,
                          const AlignOptions& options) {
  const auto& levels = fixed.levels();
  if (region.width != levels.width || region.height != levels.height) {
    return fail(ErrorKind::kBadInput, "alignment", "the region is not of the fixed film's size",
                "draw it on the fixed film");
  }
  if (levels.levels.size() != moving.levels().levels.size()) {
    return fail(ErrorKind::kBadInput, "alignment", "the films were prepared differently",
                "prepare both with the same options");
  }
  try {
    return align_levels({levels, moving.levels(), region, options, {start, {}, 1.0, 0.0}});
  } catch (const itk::ExceptionObject& error) {
    return cannot_tell(error.GetDescription(), "check the region and the masks");
  }
}

}  // namespace tidemark::alignment
