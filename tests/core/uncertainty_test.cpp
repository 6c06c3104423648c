#include "tidemark/core/uncertainty.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <type_traits>
#include <vector>

namespace tidemark {
namespace {

// JCGM 100:2008, annex H.1 (calibration of an end gauge): all in nanometres. l = l_S + d -
// l_S (delta_alpha theta + alpha_S delta_theta), l_S = 50 mm.
std::vector<Contribution> end_gauge() {
  const double l = 50.000623e6;  // nm
  const double d = std::sqrt(5.8 * 5.8 + 3.9 * 3.9 + 6.7 * 6.7);
  return {
      {1.0, 25.0, 18.0},           // standard
      {1.0, d, 25.6},              // comparison
      {-l * -0.1, 0.58e-6, 50.0},  // difference of the expansion coefficients, theta = -0.1
      {-l * 11.5e-6, 0.029, 2.0},  // difference of the temperatures
      {-l * 0.0, 1.2e-6},          // expansion coefficient: delta_theta = 0
      {-l * 0.0, 0.41},            // temperature: delta_alpha = 0
  };
}

TEST(Combine, MatchesTheEndGaugeOfTheGum) {
  const Combined total = combine(end_gauge());
  EXPECT_NEAR(total.u, 31.71, 0.05);                 // printed: 32 nm; unrounded sum 31.7
  EXPECT_NEAR(total.degrees_of_freedom, 16.7, 0.1);  // printed: 16.7, truncated to 16
  const double k = coverage_factor(std::floor(total.degrees_of_freedom), 0.99);
  EXPECT_NEAR(k, 2.92, 0.005);
  EXPECT_NEAR(k * total.u, 93.0, 0.5);  // printed: U99 = 93 nm
}

struct FactorRow {
  double freedom, coverage, k;
  friend void PrintTo(const FactorRow& row, std::ostream* os) {
    *os << "nu = " << row.freedom << ", p = " << row.coverage;
  }
};

class CoverageFactor : public testing::TestWithParam<FactorRow> {};

TEST_P(CoverageFactor, MatchesTableG2) {
  EXPECT_NEAR(coverage_factor(GetParam().freedom, GetParam().coverage), GetParam().k, 0.005001);
}

// JCGM 100:2008, table G.2 (2 decimals). nu = 16 and infinity read; 1, 5 and 10 from memory.
INSTANTIATE_TEST_SUITE_P(Rows, CoverageFactor,
                         testing::Values(FactorRow{16, 0.95, 2.12}, FactorRow{16, 0.9545, 2.17},
                                         FactorRow{16, 0.99, 2.92},
                                         FactorRow{kInfiniteFreedom, 0.9545, 2.00},
                                         FactorRow{1, 0.95, 12.71}, FactorRow{5, 0.95, 2.57},
                                         FactorRow{10, 0.95, 2.23},
                                         FactorRow{kInfiniteFreedom, 0.95, 1.96},
                                         FactorRow{kInfiniteFreedom, 0.99, 2.58}));

TEST(Measured, KeepsTheUnitAndWidensWithFewDegreesOfFreedom) {
  const auto length = measured(Millimetres{2.1}, Millimetres{0.2}, 5.0);
  static_assert(std::is_same_v<decltype(length), const Measured<Millimetres>>);
  EXPECT_EQ(length.value.value, 2.1);
  EXPECT_EQ(length.u.value, 0.2);
  EXPECT_NEAR(length.u95.value, 0.2 * 2.5706, 1e-5);  // t(0.975, 5), any printed table
  EXPECT_NEAR(measured(1.0, 1.0).u95, 1.959964, 1e-6);
}

TEST(Combine, OfNothingIsExact) {
  EXPECT_EQ(combine({}).u, 0.0);
  EXPECT_EQ(combine({}).degrees_of_freedom, kInfiniteFreedom);
  const std::vector<Contribution> one{{-2.0, 0.5, 9.0}};
  EXPECT_NEAR(combine(one).u, 1.0, 1e-15);
  EXPECT_NEAR(combine(one).degrees_of_freedom, 9.0, 1e-12);
}

// JCGM 100:2008, annex H.2: resistance R = V / I cos(phi), reactance X = V / I sin(phi) and
// impedance Z = V / I from five simultaneous readings; means, their u and correlations as printed
// in table H.2, results as printed in table H.4 (from memory; recomputed here from H.2).
TEST(CombineCorrelated, MatchesTheImpedanceOfTheGum) {
  const double v = 4.9990;
  const double i = 19.661e-3;
  const double phi = 1.04446;
  const Eigen::Vector3d u(3.2e-3, 9.5e-6, 7.5e-4);
  Eigen::Matrix3d correlation;
  correlation << 1.0, -0.36, 0.86, -0.36, 1.0, -0.65, 0.86, -0.65, 1.0;
  const Eigen::Matrix3d covariance = u.asDiagonal() * correlation * u.asDiagonal();
  const double z = v / i;
  Eigen::Matrix3d jacobian;
  jacobian << std::cos(phi) / i, -z * std::cos(phi) / i, -z * std::sin(phi), std::sin(phi) / i,
      -z * std::sin(phi) / i, z * std::cos(phi), 1.0 / i, -z / i, 0.0;
  const std::vector<double> printed_u{0.071, 0.295, 0.236};
  const Eigen::MatrixXd results = propagate(jacobian, covariance);
  for (Eigen::Index k = 0; k < 3; ++k) {
    const auto one = combine_correlated(jacobian.row(k).transpose(), covariance);
    ASSERT_TRUE(one.has_value());
    EXPECT_NEAR(*one, printed_u[static_cast<std::size_t>(k)], 0.003) << k;  // inputs have 2 digits
    EXPECT_NEAR(*one * *one, results(k, k), 1e-12);
  }
  const double r_xz = results(1, 2) / std::sqrt(results(1, 1) * results(2, 2));
  EXPECT_NEAR(r_xz, 0.993, 0.003);
}

TEST(CombineCorrelated, WithoutCorrelationIsCombine) {
  const auto u = combine_correlated(Eigen::Vector2d(3, -4), Eigen::Matrix2d::Identity());
  ASSERT_TRUE(u.has_value());
  EXPECT_NEAR(*u, 5.0, 1e-14);
}

// Derived: the difference of two readings that share their whole error is exact.
TEST(CombineCorrelated, ASharedErrorCancels) {
  const auto u = combine_correlated(Eigen::Vector2d(1, -1), 0.09 * Eigen::Matrix2d::Ones());
  ASSERT_TRUE(u.has_value());
  EXPECT_NEAR(*u, 0.0, 1e-9);
}

TEST(CombineCorrelated, SaysWhyItCannot) {
  const Eigen::Vector2d c(1, -1);
  const Eigen::Matrix2d impossible = (Eigen::Matrix2d() << 1, 2, 2, 1).finished();
  const Eigen::Matrix2d skew = (Eigen::Matrix2d() << 1, 0.5, 0, 1).finished();
  EXPECT_EQ(combine_correlated(c, impossible).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(combine_correlated(c, skew).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(combine_correlated(c, Eigen::Matrix3d::Identity()).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(combine_correlated(c, NAN * Eigen::Matrix2d::Ones()).error().kind,
            ErrorKind::kBadInput);
}

}  // namespace
}  // namespace tidemark
