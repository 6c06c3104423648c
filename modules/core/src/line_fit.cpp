#include "tidemark/core/line_fit.h"

#include <Eigen/SVD>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>

#include "irls.h"

namespace tidemark {
namespace {

using irls::Points;

tl::unexpected<Error> refuse(ErrorKind kind, std::string wrong, std::string remedy) {
  return fail(kind, "line fit", std::move(wrong), std::move(remedy));
}

/// The model that the robust iteration moves.
struct LineModel {
  const Points& p;
  Eigen::VectorXd state = Eigen::Vector4d(0.0, 0.0, 0.0, 1.0);  ///< centroid, unit direction

  [[nodiscard]] Vec2 centroid() const { return state.head<2>(); }
  [[nodiscard]] Vec2 direction() const { return state.tail<2>(); }

  bool solve(const Eigen::VectorXd& weights) {
    const double total = weights.sum();
    if (!(total > 0.0)) return false;
    const Vec2 middle = p.transpose() * weights / total;
    // Singular vectors of the points themselves: squaring into moments would halve the digits.
    const Points q = weights.cwiseSqrt().asDiagonal() * (p.rowwise() - middle.transpose());
    Vec2 turned = q.jacobiSvd(Eigen::ComputeFullV).matrixV().col(0);
    if (turned.dot(direction()) < 0.0) turned = -turned;  // or the residuals would change sign
    state << middle, turned;
    return true;
  }
  [[nodiscard]] Eigen::VectorXd residuals() const {
    return (p.rowwise() - centroid().transpose()) * Vec2(-direction().y(), direction().x());
  }
  /// The line through two points.
  [[nodiscard]] std::vector<Eigen::VectorXd> through(std::span<const Eigen::Index> at) const {
    const Vec2 first = p.row(at[0]);
    const Vec2 chord = p.row(at[1]).transpose() - first;
    if (!(chord.norm() > 0.0)) return {};
    return {(Eigen::Vector4d() << first, chord.normalized()).finished()};
  }
};

}  // namespace

double LineFit::offset_u_at(double along) const {
  return std::sqrt(offset_u * offset_u + 2.0 * along * offset_direction_covariance +
                   along * along * direction_u_rad * direction_u_rad);
}

Expected<LineFit> fit_line(std::span<const Vec2> points, const LineFitOptions& options) {
  constexpr int kParameters = 2;
  constexpr double kLargestDirectionU = 0.3;  // rad
  const auto n = static_cast<Eigen::Index>(points.size());
  if (n < 3) {
    return refuse(ErrorKind::kBadInput, "fewer than three points", "mark more of the line");
  }
  const auto centred = irls::centred(points);
  if (!centred) return refuse(ErrorKind::kBadInput, "a point is not finite", "check the film");
  const auto& [p, mean] = *centred;
  const double size = p.norm();
  if (!(size > 0.0)) {
    return refuse(ErrorKind::kCannotTell, "the points coincide", "mark two places apart");
  }
  LineModel model{p};
  if (options.loss == Loss::kTukey) irls::start_by_least_median(model, n, kParameters);
  const auto outcome = irls::fit(model, n, kParameters, options.loss, 1e-14 * size);
  if (!outcome) {
    return refuse(ErrorKind::kNotConverged, "the robust fit does not settle",
                  "mark more of the line");
  }
  const bool towards_y =
      model.direction().y() > 0.0 || (model.direction().y() == 0.0 && model.direction().x() > 0.0);
  LineFit fit;
  fit.line = {Vec2(model.centroid() + mean.transpose()),
              towards_y ? model.direction() : Vec2(-model.direction())};
  // A shift o and a small turn a of the line move it by o + along * a at each point.
  Eigen::MatrixXd j(n, kParameters);
  j << Eigen::VectorXd::Ones(n), (p.rowwise() - model.centroid().transpose()) * fit.line.direction;
  const Eigen::MatrixXd covariance = irls::covariance(*outcome, j, options.loss);
  fit.offset_u = std::sqrt(covariance(0, 0));
  fit.direction_u_rad = std::sqrt(covariance(1, 1));
  fit.offset_direction_covariance = covariance(0, 1);
  fit = irls::with_residuals(std::move(fit), *outcome, kParameters);
  if (!(fit.direction_u_rad < kLargestDirectionU)) {
    return refuse(ErrorKind::kCannotTell, "the points scatter as far across the line as along it",
                  "mark a longer stretch");
  }
  return fit;
}

}  // namespace tidemark
