#include "tidemark/core/least_squares.h"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <Eigen/SVD>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <string>
#include <vector>

#include "core/nist.h"

namespace tidemark {
namespace {

/// How the columns of A come from the predictors of a set.
enum class Design { kPolynomial, kWithConstant, kWithoutConstant };

struct RegressionRow {
  std::string name;
  Design design;
  std::size_t rows;
  friend void PrintTo(const RegressionRow& row, std::ostream* os) { *os << row.name; }
};

Eigen::MatrixXd design_matrix(const nist::Regression& set, Design design) {
  const auto n = static_cast<Eigen::Index>(set.rows.size());
  const auto p = static_cast<Eigen::Index>(set.estimate.size());
  Eigen::MatrixXd a(n, p);
  for (Eigen::Index i = 0; i < n; ++i) {
    const std::vector<double>& row = set.rows[static_cast<std::size_t>(i)];
    for (Eigen::Index j = 0; j < p; ++j) {
      const auto k = static_cast<std::size_t>(j);
      if (design == Design::kPolynomial) a(i, j) = std::pow(row[1], static_cast<double>(j));
      if (design == Design::kWithConstant) a(i, j) = j == 0 ? 1.0 : row[k];
      if (design == Design::kWithoutConstant) a(i, j) = row[k + 1];
    }
  }
  return a;
}

/// What double precision allows, to first order, for columns scaled to length 1: the estimate moves
/// by eps kappa (|x| + kappa |r|) / |A|, its sd relatively by eps (kappa + |y| / |r|). Source:
/// Björck, Numerical Methods for Least Squares Problems, SIAM 1996, section 1.4 (from memory); the
/// factor for the size of the problem is a house choice.
struct Bound {
  explicit Bound(const Eigen::MatrixXd& a, const LinearFit& fit) : scale(a.colwise().norm()) {
    const Eigen::MatrixXd scaled = a * scale.cwiseInverse().asDiagonal();
    const Eigen::VectorXd singular = scaled.jacobiSvd().singularValues();
    constexpr double kSize = 10.0;
    const double kappa = singular(0) / singular(singular.size() - 1);
    const double step = kSize * std::numeric_limits<double>::epsilon() * kappa;
    estimate = step * (scale.cwiseProduct(fit.estimate).norm() +
                       kappa * fit.residuals.norm() / singular(0));
    const double r = fit.residuals.norm();
    const double y = (a * fit.estimate + fit.residuals).norm();
    relative_sd = step + kSize * std::numeric_limits<double>::epsilon() * y / r;
  }
  Eigen::VectorXd scale;
  double estimate = 0.0;  ///< of each scaled parameter
  double relative_sd = 0.0;
};

constexpr double kPrinted = 1e-14;  // relative: the sets print 15 digits

class NistRegression : public testing::TestWithParam<RegressionRow> {};

TEST_P(NistRegression, AgreesWithTheCertifiedValues) {
  const RegressionRow& row = GetParam();
  const nist::Regression set = nist::read_regression(row.name);
  ASSERT_EQ(set.rows.size(), row.rows) << "the reader lost data";
  Eigen::VectorXd y(static_cast<Eigen::Index>(set.rows.size()));
  for (Eigen::Index i = 0; i < y.size(); ++i) y(i) = set.rows[static_cast<std::size_t>(i)][0];
  const Eigen::MatrixXd a = design_matrix(set, row.design);
  const auto fit = least_squares(a, y);
  ASSERT_TRUE(fit.has_value()) << fit.error().sentence();
  const Bound bound(a, *fit);
  double fewest = 15.0;
  for (std::size_t k = 0; k < set.estimate.size(); ++k) {
    const auto j = static_cast<Eigen::Index>(k);
    const double u = std::sqrt(fit->covariance(j, j));
    fewest = std::min(
        {fewest, nist::digits(fit->estimate(j), set.estimate[k]), nist::digits(u, set.sd[k])});
    EXPECT_NEAR(fit->estimate(j), set.estimate[k],
                bound.estimate / bound.scale(j) + kPrinted * std::abs(set.estimate[k]));
    // An exact fit has no residual, only rounding, and its certified sd are 0.
    const double rounding = bound.estimate / bound.scale(j);
    EXPECT_NEAR(u, set.sd[k],
                set.sd[k] == 0.0 ? rounding : (bound.relative_sd + kPrinted) * set.sd[k]);
  }
  std::printf("%-10s fewest digits that agree with NIST: %4.1f\n", row.name.c_str(), fewest);
  const double residual_sd = std::sqrt(fit->chi2 / fit->degrees_of_freedom);
  EXPECT_NEAR(
      residual_sd, set.residual_sd,
      set.residual_sd == 0.0 ? bound.estimate : (bound.relative_sd + kPrinted) * set.residual_sd);
}

INSTANTIATE_TEST_SUITE_P(Sets, NistRegression,
                         testing::Values(RegressionRow{"Norris", Design::kPolynomial, 36},
                                         RegressionRow{"Pontius", Design::kPolynomial, 40},
                                         RegressionRow{"NoInt1", Design::kWithoutConstant, 11},
                                         RegressionRow{"NoInt2", Design::kWithoutConstant, 3},
                                         RegressionRow{"Longley", Design::kWithConstant, 16},
                                         RegressionRow{"Filip", Design::kPolynomial, 82},
                                         RegressionRow{"Wampler1", Design::kPolynomial, 21},
                                         RegressionRow{"Wampler2", Design::kPolynomial, 21},
                                         RegressionRow{"Wampler3", Design::kPolynomial, 21},
                                         RegressionRow{"Wampler4", Design::kPolynomial, 21},
                                         RegressionRow{"Wampler5", Design::kPolynomial, 21}),
                         [](const auto& row) { return row.param.name; });

// Derived: two readings of one quantity with covariance [[s1^2, c], [c, s2^2]]; the best weight of
// the first is (s2^2 - c) / (s1^2 + s2^2 - 2c), the variance (s1^2 s2^2 - c^2) / (the same).
TEST(Gls, TwoCorrelatedReadingsAreWeighedAsWorkedByHand) {
  const Eigen::MatrixXd a = Eigen::VectorXd::Ones(2);
  const Eigen::Vector2d y(1.0, 3.0);
  const Eigen::Matrix2d v = (Eigen::Matrix2d() << 4.0, 1.0, 1.0, 2.0).finished();
  const auto fit = gls(a, y, v);
  ASSERT_TRUE(fit.has_value());
  EXPECT_NEAR(fit->estimate(0), 1.0 * 0.25 + 3.0 * 0.75, 1e-14);
  EXPECT_NEAR(fit->covariance(0, 0), 7.0 / 4.0, 1e-14);
  EXPECT_EQ(fit->degrees_of_freedom, 1);
  // r' V^-1 r with a difference d = 2 of variance s1^2 + s2^2 - 2c = 4: d^2 / 4.
  EXPECT_NEAR(fit->chi2, 1.0, 1e-14);
  EXPECT_NEAR(birge_ratio(*fit), 1.0, 1e-14);
}

// Derived: with V = s^2 I the estimate is that of ordinary least squares, the covariance
// s^2 (A'A)^-1 and chi2 the sum of squares over s^2.
TEST(Gls, WithEqualVariancesIsOrdinaryLeastSquares) {
  const Eigen::MatrixXd a = (Eigen::MatrixXd(4, 2) << 1, 0, 1, 1, 1, 2, 1, 4).finished();
  const Eigen::Vector4d y(1.1, 1.9, 3.2, 4.7);
  const auto ordinary = least_squares(a, y);
  const auto general = gls(a, y, 0.25 * Eigen::Matrix4d::Identity());
  ASSERT_TRUE(ordinary.has_value() && general.has_value());
  EXPECT_TRUE(general->estimate.isApprox(ordinary->estimate, 1e-13));
  EXPECT_TRUE(general->covariance.isApprox(0.25 * (a.transpose() * a).inverse(), 1e-13));
  EXPECT_NEAR(general->chi2, ordinary->chi2 / 0.25, 1e-13);
  EXPECT_TRUE(general->residuals.isApprox(ordinary->residuals, 1e-12));
}

TEST(LeastSquares, SaysWhyItCannot) {
  const Eigen::MatrixXd twins = (Eigen::MatrixXd(3, 2) << 1, 2, 2, 4, 3, 6).finished();
  const Eigen::MatrixXd empty_column = (Eigen::MatrixXd(3, 2) << 1, 0, 2, 0, 3, 0).finished();
  const Eigen::MatrixXd one = Eigen::MatrixXd::Ones(3, 1);
  const Eigen::Vector3d y(1, 2, 4);
  EXPECT_EQ(least_squares(twins, y).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(least_squares(empty_column, y).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(least_squares(one, Eigen::Vector2d(1, 2)).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(least_squares(one.topRows(1), y.head<1>()).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(least_squares(one, Eigen::Vector3d(1, NAN, 4)).error().kind, ErrorKind::kBadInput);
  const Eigen::Matrix3d indefinite = (Eigen::Matrix3d() << 1, 2, 0, 2, 1, 0, 0, 0, 1).finished();
  const Eigen::Matrix3d skew = (Eigen::Matrix3d() << 1, 1, 0, 0, 1, 0, 0, 0, 1).finished();
  EXPECT_EQ(gls(one, y, indefinite).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(gls(one, y, skew).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(gls(one, y, Eigen::Matrix2d::Identity()).error().kind, ErrorKind::kBadInput);
}

}  // namespace
}  // namespace tidemark
