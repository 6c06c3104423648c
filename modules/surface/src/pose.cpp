#include "tidemark/surface/pose.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "fit.h"
#include "size.h"
#include "tidemark/core/parallel.h"

namespace tidemark::surface {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;
constexpr double kSpacing = 1.0;  ///< mm between the points of the outline that are used
/// How much worse than the best a minimum may fit to be kept: a likelihood of exp(-12).
constexpr double kWorstCost = 12.0;
constexpr double kSameBasin = 2.0;  ///< of the better minimum's own u. House choice
constexpr double kHeadRim = 3.0;    ///< mm beside head and cup that are left out. House choice

tl::unexpected<Error> no_pose(const char* wrong) {
  return fail(ErrorKind::kCannotTell, "stem surface", wrong,
              "check that the surface is that of the stem on the film");
}

/// Why this is not the stem on the film, where outline and head say clearly that it is of another
/// size than its surface, or else that the head's diameter is wrong.
std::optional<Error> other_size(const Problem& problem, const Fit& best, const Weighing& fine) {
  // Right surfaces: at most 0.9 % on 21 simulated films; such as are 3 % too large: 2.4 % and more.
  constexpr double kLeast = 0.02;
  constexpr double kSurely = 3.0;  // u
  const SizeLog size = size_of(problem, best, fine);
  const double u = std::hypot(size.u, problem.film.head_size_log_u);
  if (std::abs(size.value) < std::max(kLeast, kSurely * u)) return {};
  return Error{ErrorKind::kCannotTell, "stem surface",
               size.value > 0.0
                   ? "by its outline and its head the stem is larger than the surface"
                   : "by its outline and its head the stem is smaller than the surface",
               "check that the surface is of the size that was implanted, and the head's diameter"};
}

/// Points at equal steps along an open chain.
Polyline at_steps(const Polyline& chain, double step) {
  Polyline out;
  double need = 0.0;
  for (std::size_t i = 0; i + 1 < chain.size(); ++i) {
    const Vec2 d = chain[i + 1] - chain[i];
    const double length = d.norm();
    while (need < length) {
      out.push_back(chain[i] + need / length * d);
      need += step;
    }
    need -= length;
  }
  return out;
}

/// The outline with its normals. It runs down the lateral flank and up the medial one, the metal on
/// its left as seen on the film (y down): outward is to the right of the walk.
std::vector<OutlinePoint> points_of(const OutlineOnFilm& film, const std::vector<Circle2>& hidden) {
  const Polyline chain = at_steps(film.outline_mm, kSpacing);
  std::vector<OutlinePoint> out;
  for (std::size_t i = 2; i + 2 < chain.size(); ++i) {
    const bool covered = std::any_of(hidden.begin(), hidden.end(), [&](const Circle2& c) {
      return (chain[i] - c.centre).norm() < c.radius + kHeadRim;
    });
    const Vec2 way = (chain[i + 1] - chain[i - 1]).normalized();
    if (!covered && way.allFinite()) out.push_back({chain[i], Vec2(-way.y(), way.x())});
  }
  return out;
}

UnknownVector start_of(const Problem& problem, double flexion_deg, double version_deg) {
  const OutlineOnFilm& film = problem.film;
  UnknownVector x = UnknownVector::Zero();
  x(kInPlane) = film.in_plane_rad;
  x(kFlexion) = flexion_deg * kDegree;
  x(kVersion) = version_deg * kDegree;
  x(kHeadX) = film.head_mm.x();
  x(kHeadY) = film.head_mm.y();
  x(kLogScale) = film.head_diameter_log;
  x(kLogSource) = std::log(problem.belief.source.value);
  x(kBeamX) = film.middle_mm.x();
  x(kBeamY) = film.middle_mm.y();
  return x;
}

bool alike(const Fit& a, const Fit& b) {
  const UnknownVector d = a.x - b.x;
  return std::abs(d(kFlexion)) < 0.5 * kDegree && std::abs(d(kVersion)) < 0.5 * kDegree;
}

/// Keeps the best of those that came to one place; best first.
void settle(std::vector<Fit>& fits) {
  std::stable_sort(fits.begin(), fits.end(),
                   [](const Fit& a, const Fit& b) { return a.cost < b.cost; });
  std::vector<Fit> kept;
  for (const Fit& f : fits) {
    if (std::none_of(kept.begin(), kept.end(), [&](const Fit& k) { return alike(f, k); })) {
      kept.push_back(f);
    }
  }
  fits = std::move(kept);
}

/// Keeps the best of those that lie in one basin, and nothing that hardly fits: the rim is a chain
/// of triangles' edges, its misfit has ripples, and what stands in one ripple beside a minimum is
/// no other way to lay the stem.
void settle_basins(std::vector<Fit>& fits) {
  if (fits.empty()) return;
  std::stable_sort(fits.begin(), fits.end(),
                   [](const Fit& a, const Fit& b) { return a.cost < b.cost; });
  const double worst = fits.front().cost + kWorstCost;
  std::vector<Fit> kept;
  std::vector<Eigen::Matrix2d> weights;
  for (const Fit& f : fits) {
    if (!(f.cost <= worst)) continue;
    bool known = false;
    for (std::size_t k = 0; k < kept.size() && !known; ++k) {
      const Eigen::Vector2d d = (f.x - kept[k].x).segment<2>(kFlexion);
      known = d.dot(weights[k] * d) < kSameBasin * kSameBasin;
    }
    if (known) continue;
    const UnknownMatrix c = f.information.ldlt().solve(UnknownMatrix::Identity());
    kept.push_back(f);
    weights.emplace_back(c.block<2, 2>(kFlexion, kFlexion).inverse());
  }
  fits = std::move(kept);
}

/// Each fit and its mirror image, and beside both with the neck turned a little: among the ripples
/// of the fine fit a minimum is missed that lies some degrees off, the better one at times.
std::vector<Fit> with_neighbours(const std::vector<Fit>& fits) {
  constexpr double kAside = 4.0 * kDegree;
  std::vector<Fit> out;
  for (const Fit& f : fits) {
    for (const double sign : {1.0, -1.0}) {
      for (const double aside : {-kAside, 0.0, kAside}) {
        out.push_back(f);
        out.back().x(kFlexion) = sign * f.x(kFlexion);
        out.back().x(kVersion) = sign * f.x(kVersion) + aside;
      }
    }
  }
  return out;
}

void descend_all(const Problem& problem, const Weighing& weighing, int rounds,
                 std::vector<Fit>& fits) {
  parallel_within(fits.size(),
                  [&](std::size_t i) { fits[i] = descend(problem, fits[i].x, weighing, rounds); });
}

/// All minima of the coarse fit, from both sides of every sign that is hard to tell.
std::vector<Fit> coarse_minima(const Problem& problem) {
  const Weighing far{.sigma_mm = 1.0, .together = 6.0, .reach_mm = 7.0};
  std::vector<UnknownVector> starts;
  for (const double flexion : {-9.0, 0.0, 9.0}) {
    for (const double version : {-22.0, -7.0, 7.0, 22.0}) {
      starts.push_back(start_of(problem, flexion, version));
    }
  }
  std::vector<Fit> fits(starts.size());
  parallel_within(starts.size(),
                  [&](std::size_t i) { fits[i] = descend(problem, starts[i], far, 8); });
  settle(fits);
  if (fits.size() > 4) fits.resize(4);
  return fits;
}

PoseMode mode_of(const Fit& fit) {
  PoseMode mode;
  mode.pose = pose_of(fit.x);
  mode.beam = beam_of(fit.x);
  mode.neck_mm = fit.x(kNeck);
  mode.edge_mm = fit.x(kEdge);
  mode.head_size_log = fit.x(kHeadSize);
  mode.covariance = fit.information.ldlt().solve(UnknownMatrix::Identity());
  return mode;
}

/// Modes with their weights: each minimum's likelihood. Not times the room it has (Laplace): what
/// makes the room of a worse minimum wider is that Tukey's loss lets go of the points that it
/// misses.
std::vector<PoseMode> modes_of(const std::vector<Fit>& fits) {
  std::vector<PoseMode> modes;
  std::vector<double> logs;
  for (const Fit& f : fits) {
    modes.push_back(mode_of(f));
    logs.push_back(-f.cost);
  }
  const double best = *std::max_element(logs.begin(), logs.end());
  double sum = 0.0;
  for (std::size_t i = 0; i < modes.size(); ++i) sum += std::exp(logs[i] - best);
  for (std::size_t i = 0; i < modes.size(); ++i) {
    modes[i].probability = std::exp(logs[i] - best) / sum;
  }
  std::stable_sort(modes.begin(), modes.end(), [](const PoseMode& a, const PoseMode& b) {
    return a.probability > b.probability;
  });
  std::erase_if(modes, [](const PoseMode& m) { return m.probability < 1e-4; });
  double kept = 0.0;
  for (const PoseMode& m : modes) kept += m.probability;
  for (PoseMode& m : modes) m.probability /= kept;
  return modes;
}

Expected<SurfacePose> fitted(const Problem& problem) {
  constexpr double kReach = 2.0;
  if (problem.points.size() < 60) return no_pose("too little of the stem's outline is seen");
  std::vector<Fit> fits = coarse_minima(problem);
  const Weighing near{.sigma_mm = 0.3, .together = 6.0, .reach_mm = kReach};
  descend_all(problem, near, 12, fits);
  settle(fits);
  const Scatter seen = scatter_of(problem, fits.front().x, kReach);
  const Belief& b = problem.belief;
  const Weighing fine{.sigma_mm = std::max(b.outline_u.value, seen.sigma_mm),
                      .together = std::max(b.together.value / problem.spacing_mm, seen.together),
                      .reach_mm = kReach};
  fits = with_neighbours(fits);
  descend_all(problem, fine, 10, fits);
  settle_basins(fits);
  descend_all(problem, fine, 20, fits);
  settle_basins(fits);
  if (fits.empty() || fits.front().matched < 0.7 || seen.sigma_mm > 0.6) {
    return no_pose("no pose brings its silhouette onto the outline of the stem");
  }
  if (auto other = other_size(problem, fits.front(), fine)) {
    return tl::unexpected(std::move(*other));
  }
  SurfacePose out;
  out.modes = modes_of(fits);
  // Of the minimum that was chosen, which is not the one that the weights come from.
  out.scatter_mm =
      std::max(b.outline_u.value, scatter_of(problem, fits.front().x, kReach).sigma_mm);
  out.matched = fits.front().matched;
  out.neck_u_mm = has_free_neck(problem.stem) ? b.neck_u.value : 0.0;
  out.head_size_log_u = problem.film.head_size_log_u;
  return out;
}

Expected<SurfacePose> find_pose_beside(const StemModel& stem, const OutlineOnFilm& film,
                                       const Belief& belief, const std::vector<Circle2>& hidden) {
  const Rim rim(stem.mesh);
  const Problem problem{stem, rim, film, belief, points_of(film, hidden), kSpacing};
  return fitted(problem);
}

}  // namespace

double PoseMode::seen_flexion_rad() const {
  return pose.flexion_rad - head_off_beam(pose, beam).y() / beam.source_mm;
}

double PoseMode::seen_version_rad() const {
  return pose.version_rad - head_off_beam(pose, beam).x() / beam.source_mm;
}

Expected<SurfacePose> find_pose(const StemModel& stem, const OutlineOnFilm& film,
                                const Belief& belief) {
  return find_pose_beside(stem, film, belief, {{film.head_mm, film.head_radius_mm}});
}

Expected<SurfacePose> find_pose(const StemModel& stem, const StemOnFilm& seen,
                                const Belief& belief) {
  const anatomy::Implant& implant = seen.implant;
  const anatomy::FoundCircle& head = implant.head;
  // Film mm: by the head as it was measured; what that errs is unknown kLogScale.
  const double k = seen.head_diameter.value.value / (2.0 * head.circle_px.radius);
  const Vec2& distal = implant.axis.line_px.direction;
  OutlineOnFilm film{
      .outline_mm = {},
      .head_mm = k * head.circle_px.centre,
      .head_u_mm = std::max(0.05, k * head.centre_u_px),
      .head_diameter_log = 0.0,
      .head_diameter_log_u = 0.5 * head.diameter_u_px / head.circle_px.radius,
      .head_size_log_u = std::max(1e-4, seen.head_diameter.u / seen.head_diameter.value),
      .head_radius_mm = 0.5 * seen.head_diameter.value.value,
      .in_plane_rad = std::atan2(-distal.x(), distal.y()),
      .middle_mm = k * seen.middle_px};
  for (const Vec2& p : implant.outline_px) film.outline_mm.push_back(k * p);
  std::vector<Circle2> hidden{{film.head_mm, film.head_radius_mm}};
  if (implant.cup) {
    hidden.push_back({k * implant.cup->circle_px.centre, k * implant.cup->circle_px.radius});
  }
  return find_pose_beside(stem, film, belief, hidden);
}

}  // namespace tidemark::surface
