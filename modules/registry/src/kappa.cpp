#include <algorithm>
#include <cmath>
#include <vector>

#include "tidemark/core/statistics.h"
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

/// Sets the error and the interval, or the reason why there are none.
void jackknife(ClusteredKappa& out, const Eigen::MatrixXd& sum,
               const std::vector<const Eigen::MatrixXd*>& clusters, KappaWeights kind) {
  if (clusters.size() < 2) {
    out.reason = "fewer than two patients have such zones";
    return;
  }
  std::vector<double> without;
  for (const Eigen::MatrixXd* cluster : clusters) {
    const auto rest = cohens_kappa(sum - *cluster, kind);
    if (!rest) {
      out.reason = "without one of the patients there is no kappa";
      return;
    }
    without.push_back(rest->value);
  }
  const auto spread = standard_deviation(without);
  constexpr double kSame = 1e-9;  // sums of fractions do not meet to the last digit
  if (!spread || *spread < kSame) {
    out.reason = "agreement does not vary from patient to patient";
    return;
  }
  const auto h = static_cast<double>(clusters.size());
  out.standard_error = *spread * (h - 1.0) / std::sqrt(h);
  const double half = coverage_factor(h - 1.0) * *out.standard_error;
  out.interval = Interval{std::max(-1.0, out.value - half), std::min(1.0, out.value + half)};
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

Expected<ClusteredKappa> clustered_kappa(std::span<const Eigen::MatrixXd> by_cluster,
                                         KappaWeights kind) {
  std::vector<const Eigen::MatrixXd*> clusters;
  Eigen::MatrixXd sum;
  for (const Eigen::MatrixXd& cluster : by_cluster) {
    if (sum.size() == 0) sum = Eigen::MatrixXd::Zero(cluster.rows(), cluster.cols());
    if (cluster.rows() != sum.rows() || cluster.cols() != sum.cols()) {
      return fail(ErrorKind::kBadInput, "kappa", "the tables are not of one size");
    }
    sum += cluster;
    if (cluster.sum() > 0.0) clusters.push_back(&cluster);
  }
  const auto whole = cohens_kappa(sum, kind);
  if (!whole) return tl::unexpected(whole.error());
  ClusteredKappa out{
      whole->things, clusters.size(), whole->observed, whole->expected, whole->value, {}, {}, {}};
  jackknife(out, sum, clusters, kind);
  return out;
}

}  // namespace tidemark::registry
