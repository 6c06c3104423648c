#include "tidemark/core/least_squares.h"

#include <Eigen/Cholesky>
#include <Eigen/QR>
#include <cmath>
#include <string>
#include <utility>

namespace tidemark {
namespace {

/// Columns count as dependent below this ratio of the smallest to the largest pivot. The columns of
/// the hardest published set (Filip, a polynomial of degree 10) reach 1e-10.
constexpr double kRankThreshold = 1e-13;

tl::unexpected<Error> refuse(ErrorKind kind, std::string wrong, std::string remedy) {
  return fail(kind, "least squares", std::move(wrong), std::move(remedy));
}

/// Solves min |y - A x| and gives (A'A)^-1 as covariance.
Expected<LinearFit> solve(const Eigen::MatrixXd& a, const Eigen::VectorXd& y) {
  const Eigen::VectorXd scale = a.colwise().norm();
  if (!(scale.minCoeff() > 0.0)) {
    return refuse(ErrorKind::kCannotTell, "an unknown has no influence on the data",
                  "add observations that show it");
  }
  const Eigen::VectorXd unscale = scale.cwiseInverse();
  Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(a * unscale.asDiagonal());
  qr.setThreshold(kRankThreshold);
  if (qr.rank() < a.cols()) {
    return refuse(ErrorKind::kCannotTell, "the unknowns cannot be told apart from the data",
                  "add observations that differ");
  }
  LinearFit fit;
  fit.estimate = unscale.asDiagonal() * qr.solve(y);
  fit.residuals = y - a * fit.estimate;
  // One step of refinement with the residuals wins the last digits of ill-conditioned sets.
  fit.estimate += unscale.asDiagonal() * qr.solve(fit.residuals);
  fit.residuals = y - a * fit.estimate;
  const Eigen::MatrixXd r_inverse =
      qr.matrixR().topRows(a.cols()).triangularView<Eigen::Upper>().solve(
          Eigen::MatrixXd::Identity(a.cols(), a.cols()));
  const Eigen::MatrixXd root = unscale.asDiagonal() * (qr.colsPermutation() * r_inverse);
  fit.covariance = root * root.transpose();
  fit.chi2 = fit.residuals.squaredNorm();
  fit.degrees_of_freedom = static_cast<int>(a.rows() - a.cols());
  return fit;
}

bool fits_together(const Eigen::MatrixXd& a, const Eigen::VectorXd& y) {
  return a.cols() > 0 && a.rows() == y.size() && a.allFinite() && y.allFinite();
}

}  // namespace

Expected<LinearFit> least_squares(const Eigen::MatrixXd& a, const Eigen::VectorXd& y) {
  if (!fits_together(a, y) || a.rows() <= a.cols()) {
    return refuse(ErrorKind::kBadInput, "needs more finite observations than unknowns",
                  "add observations");
  }
  auto fit = solve(a, y);
  if (fit) fit->covariance *= fit->chi2 / fit->degrees_of_freedom;
  return fit;
}

Expected<LinearFit> gls(const Eigen::MatrixXd& a, const Eigen::VectorXd& y,
                        const Eigen::MatrixXd& v) {
  if (!fits_together(a, y) || a.rows() < a.cols()) {
    return refuse(ErrorKind::kBadInput, "needs as many finite observations as unknowns",
                  "add observations");
  }
  if (v.rows() != y.size() || v.cols() != y.size() || !v.allFinite() ||
      !v.isApprox(v.transpose(), 1e-9)) {
    return refuse(ErrorKind::kBadInput, "the covariance of the data is not square and symmetric",
                  "check the covariance");
  }
  const Eigen::LLT<Eigen::MatrixXd> root(v);
  if (root.info() != Eigen::Success) {
    return refuse(ErrorKind::kBadInput, "the covariance of the data is not positive definite",
                  "check the covariance");
  }
  // V = L L': with L^-1 the errors become independent and of size 1.
  auto fit = solve(root.matrixL().solve(a), root.matrixL().solve(y));
  if (fit) fit->residuals = y - a * fit->estimate;
  return fit;
}

double birge_ratio(const LinearFit& fit) {
  return fit.degrees_of_freedom > 0 ? std::sqrt(fit.chi2 / fit.degrees_of_freedom) : 1.0;
}

}  // namespace tidemark
