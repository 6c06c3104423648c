#include <algorithm>
#include <cmath>

#include "tidemark/core/uncertainty.h"
#include "tidemark/registry/agreement.h"

namespace tidemark::registry {
namespace {

Eigen::MatrixXd weights_of(Eigen::Index categories, KappaWeights kind) {
  Eigen::MatrixXd weights = Eigen::MatrixXd::Identity(categories, categories);
  if (kind == KappaWeights::kNone || categories < 2) return weights;
  for (Eigen::Index i = 0; i < categories; ++i) {
    for (Eigen::Index j = 0; j < categories; ++j) {
      const double apart =
          static_cast<double>(std::abs(i - j)) / static_cast<double>(categories - 1);
      weights(i, j) = 1.0 - (kind == KappaWeights::kLinear ? apart : apart * apart);
    }
  }
  return weights;
}

}  // namespace

Expected<Kappa> cohens_kappa(const Eigen::MatrixXd& counts, KappaWeights kind) {
  if (counts.rows() != counts.cols() || !counts.allFinite() || (counts.array() < 0.0).any()) {
    return fail(ErrorKind::kBadInput, "kappa", "the table is not square or has counts below 0");
  }
  const double n = counts.sum();
  if (n <= 0.0) return fail(ErrorKind::kCannotTell, "kappa", "both readers judged nothing");
  const Eigen::MatrixXd p = counts / n;
  const Eigen::VectorXd row = p.rowwise().sum();
  const Eigen::VectorXd column = p.colwise().sum();
  const Eigen::MatrixXd w = weights_of(p.rows(), kind);
  Kappa out;
  out.things = static_cast<std::size_t>(std::llround(n));
  out.observed = w.cwiseProduct(p).sum();
  out.expected = row.dot(w * column);
  const double beyond = 1.0 - out.expected;
  if (beyond < 1e-12) {
    return fail(ErrorKind::kCannotTell, "kappa", "both readers used one category only");
  }
  out.value = (out.observed - out.expected) / beyond;
  const Eigen::VectorXd row_weight = w * column;
  const Eigen::VectorXd column_weight = w.transpose() * row;
  double sum = 0.0;
  for (Eigen::Index i = 0; i < p.rows(); ++i) {
    for (Eigen::Index j = 0; j < p.cols(); ++j) {
      const double term =
          w(i, j) * beyond - (row_weight[i] + column_weight[j]) * (1.0 - out.observed);
      sum += p(i, j) * term * term;
    }
  }
  const double centre = out.observed * out.expected - 2.0 * out.expected + out.observed;
  out.standard_error = std::sqrt(std::max(0.0, sum - centre * centre) / n) / (beyond * beyond);
  const double half = coverage_factor(kInfiniteFreedom) * out.standard_error;
  out.interval = {std::max(-1.0, out.value - half), std::min(1.0, out.value + half)};
  return out;
}

}  // namespace tidemark::registry
