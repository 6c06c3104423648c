#include "tidemark/core/circle_fit.h"

#include <Eigen/QR>
#include <Eigen/SVD>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <unsupported/Eigen/NonLinearOptimization>
#include <utility>
#include <vector>

#include "irls.h"

namespace tidemark {
namespace {

using irls::Points;

tl::unexpected<Error> refuse(ErrorKind kind, std::string wrong, std::string remedy) {
  return fail(kind, "circle fit", std::move(wrong), std::move(remedy));
}

/// Weighted orthogonal distances of the points to a circle (cx, cy[, r]), and their derivatives, in
/// the form that Eigen's solver asks for. With `known_radius` only the centre is free.
struct OrthogonalDistance {
  const Points& p;
  std::optional<double> known_radius;
  Eigen::VectorXd root_weights;

  [[nodiscard]] Eigen::VectorXd plain(const Eigen::VectorXd& c) const {
    const double radius = known_radius ? *known_radius : c(2);
    return (p.rowwise() - c.head<2>().transpose()).rowwise().norm().array() - radius;
  }
  [[nodiscard]] Eigen::MatrixXd jacobian(const Eigen::VectorXd& c) const {
    Eigen::MatrixXd j(p.rows(), c.size());
    j.leftCols<2>() = -(p.rowwise() - c.head<2>().transpose()).rowwise().normalized();
    if (!known_radius) j.col(2).setConstant(-1.0);
    return j;
  }
  int operator()(const Eigen::VectorXd& c, Eigen::VectorXd& f) const {
    f = root_weights.cwiseProduct(plain(c));
    return 0;
  }
  int df(const Eigen::VectorXd& c, Eigen::MatrixXd& j) const {
    j = root_weights.asDiagonal() * jacobian(c);
    return 0;
  }
  [[nodiscard]] int values() const { return static_cast<int>(p.rows()); }
};

/// The model that the robust iteration moves.
struct CircleModel {
  OrthogonalDistance distance;
  Eigen::VectorXd state;  ///< cx, cy[, r]
  int max_evaluations;

  bool solve(const Eigen::VectorXd& weights) {
    distance.root_weights = weights.cwiseSqrt();
    Eigen::LevenbergMarquardt<OrthogonalDistance> solver(distance);
    solver.parameters.maxfev = max_evaluations;
    solver.parameters.ftol = 1e-14;  // the default, 1.5e-8, stops in the fourth digit of the
    solver.parameters.xtol = 1e-12;  // published sets
    const auto status = solver.minimize(state);
    return status != Eigen::LevenbergMarquardtSpace::TooManyFunctionEvaluation &&
           status != Eigen::LevenbergMarquardtSpace::ImproperInputParameters && state.allFinite() &&
           (distance.known_radius || state(2) > 0.0);
  }
  [[nodiscard]] Eigen::VectorXd residuals() const { return distance.plain(state); }

  /// The circle through three points, or the two of known radius through two points.
  [[nodiscard]] std::vector<Eigen::VectorXd> through(std::span<const Eigen::Index> at) const {
    const Vec2 first = distance.p.row(at[0]);
    const Vec2 chord = distance.p.row(at[1]).transpose() - first;
    if (!(chord.norm() > 0.0)) return {};
    const Vec2 across(-chord.y(), chord.x());
    const auto centred = [&](double along_normal) {
      return Vec2(first + 0.5 * chord + along_normal * across);
    };
    if (distance.known_radius) {
      const double excess = *distance.known_radius / chord.norm();
      if (excess < 0.5) return {};
      const double k = std::sqrt(excess * excess - 0.25);
      return {centred(k), centred(-k)};
    }
    // The centre lies as far from the third point as from the first.
    const Vec2 third = distance.p.row(at[2]).transpose() - first;
    const double twist = across.dot(third);
    if (std::abs(twist) <= 1e-9 * chord.norm() * third.norm()) return {};
    const Vec2 centre = centred(0.5 * (third.squaredNorm() - chord.dot(third)) / twist);
    return {Eigen::Vector3d(centre.x(), centre.y(), (centre - first).norm())};
  }
};

/// Linear start value: x^2 + y^2 = 2 cx x + 2 cy y + k. Biased on short arcs, so never the answer.
Eigen::VectorXd algebraic_start(const Points& p) {
  Eigen::MatrixXd a(p.rows(), 3);
  a << 2.0 * p, Eigen::VectorXd::Ones(p.rows());
  const Eigen::Vector3d s = a.colPivHouseholderQr().solve(p.rowwise().squaredNorm());
  return Eigen::Vector3d(s(0), s(1), std::sqrt(std::max(0.0, s(2) + s.head<2>().squaredNorm())));
}

/// With the radius known, start where the linear fit puts the middle of the arc, one radius away:
/// on a short arc the linear centre itself may lie much too near.
Eigen::VectorXd start_for_radius(const Points& p, double radius) {
  const Eigen::VectorXd linear = algebraic_start(p);
  const double away = linear.head<2>().norm();  // the points are centred on the origin
  if (away < 0.5 * radius) return linear.head<2>();
  return linear.head<2>() * (radius / away);
}

Expected<CircleFit> fit(std::span<const Vec2> points, std::optional<double> known_radius,
                        const CircleFitOptions& options) {
  const int parameters = known_radius ? 2 : 3;
  const auto n = static_cast<Eigen::Index>(points.size());
  if (n < parameters + 1) {
    return refuse(ErrorKind::kBadInput, "too few points (" + std::to_string(n) + ")",
                  "mark more of the edge");
  }
  const auto centred = irls::centred(points);
  if (!centred) return refuse(ErrorKind::kBadInput, "a point is not finite", "check the film");
  const auto& [p, mean] = *centred;
  const Eigen::Vector2d spread = p.jacobiSvd().singularValues();
  if (spread(1) <= 1e-9 * spread(0)) {
    return refuse(ErrorKind::kCannotTell, "the points lie on a line", "mark a longer arc");
  }

  CircleModel model{{p, known_radius, {}}, {}, options.max_evaluations};
  model.state = known_radius ? start_for_radius(p, *known_radius) : algebraic_start(p);
  if (options.start) {
    model.state.head<2>() = options.start->centre - mean.transpose();
    if (!known_radius) model.state(2) = options.start->radius;
  } else if (options.loss == Loss::kTukey) {
    irls::start_by_least_median(model, n, parameters);
  }
  const auto outcome = irls::fit(model, n, parameters, options.loss, 1e-12 * spread(0));
  if (!outcome) return refuse(ErrorKind::kNotConverged, "no minimum found", "mark a longer arc");

  const Eigen::MatrixXd j = model.distance.jacobian(model.state);
  CircleFit result;
  result.circle = {Vec2(model.state.head<2>() + mean.transpose()),
                   known_radius ? *known_radius : model.state(2)};
  result.covariance.topLeftCorner(parameters, parameters) =
      irls::covariance(*outcome, j, options.loss);
  result = irls::with_residuals(std::move(result), *outcome, parameters);
  // Written so that NaN, from a covariance that could not be inverted, fails as well.
  if (!(result.u().maxCoeff() < result.circle.radius)) {
    return refuse(ErrorKind::kCannotTell, "the arc is too short for its scatter",
                  "mark a longer arc");
  }
  return result;
}

}  // namespace

Expected<CircleFit> fit_circle(std::span<const Vec2> points, const CircleFitOptions& options) {
  return fit(points, std::nullopt, options);
}

Expected<CircleFit> fit_circle_with_radius(std::span<const Vec2> points, double radius,
                                           const CircleFitOptions& options) {
  if (!(radius > 0.0) || !std::isfinite(radius)) {
    return refuse(ErrorKind::kBadInput, "the given radius is not positive", "check the diameter");
  }
  return fit(points, radius, options);
}

}  // namespace tidemark
