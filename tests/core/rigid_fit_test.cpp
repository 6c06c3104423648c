#include "tidemark/core/rigid_fit.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <opencv2/calib3d.hpp>
#include <vector>

#include "tidemark/core/monte_carlo.h"
#include "tidemark/core/statistics.h"

namespace tidemark {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

// Derived (worked by hand): +2 degrees about the origin, then (0.4, 1.5) mm, of the reference
// point, the shoulder, a flank point and the tip of a stem; printed to 4 decimals.
TEST(RigidFit, MatchesTheWorkedStemMotion) {
  const std::vector<Vec2> before{{0, 0}, {20, -10}, {5, 60}, {8, 130}};
  const std::vector<Vec2> after{
      {0.4, 1.5}, {20.7368, -7.7959}, {3.3030, 61.6379}, {3.8582, 131.7000}};
  const auto fit = fit_rigid(before, after);
  ASSERT_TRUE(fit.has_value()) << fit.error().sentence();
  EXPECT_NEAR(fit->b_from_a.angle_rad / kDegree, 2.0, 1e-4);
  EXPECT_LT((fit->b_from_a.translation - Vec2(0.4, 1.5)).norm(), 2e-4);
  const Vec2 shift = fit->b_from_a.apply(fit->centroid_in_a) - fit->centroid_in_a;
  EXPECT_NEAR(shift.x(), -1.1755, 1e-4);
  EXPECT_NEAR(shift.y(), 1.7605, 1e-4);
  EXPECT_NEAR(fit->scale_if_free, 1.0, 1e-6);
  EXPECT_LT(fit->rms_residual, 1e-4);
}

struct Pairs {
  std::vector<Vec2> a, b;
  std::vector<double> w;
};

Pairs random_pairs(Random& random, std::size_t n, double noise) {
  const Rigid2 b_from_a{random.uniform(-3, 3), {random.uniform(-90, 90), random.uniform(-90, 90)}};
  Pairs pairs;
  for (std::size_t i = 0; i < n; ++i) {
    pairs.a.emplace_back(random.uniform(-40, 40), random.uniform(0, 150));
    const Vec2 error(random.normal(0, noise), random.normal(0, noise));
    pairs.b.emplace_back(b_from_a.apply(pairs.a.back()) + error);
    pairs.w.push_back(random.uniform(0.5, 3));
  }
  return pairs;
}

// Eigen::umeyama without scale is the same problem with equal weights (Umeyama, IEEE PAMI 13 (1991)
// 376-380), solved by a singular value decomposition; whole-number weights are repeated points.
TEST(RigidFit, AgreesWithEigenUmeyama) {
  Random random(8);
  for (int run = 0; run < 50; ++run) {
    Pairs pairs = random_pairs(random, 6, 1.0);
    Eigen::MatrixXd a(2, 12);
    Eigen::MatrixXd b(2, 12);
    Eigen::Index column = 0;
    for (std::size_t i = 0; i < 6; ++i) {
      pairs.w[i] = i % 3 == 0 ? 1.0 : (i % 3 == 1 ? 2.0 : 3.0);
      for (int repeat = 0; repeat < static_cast<int>(pairs.w[i]); ++repeat, ++column) {
        a.col(column) = pairs.a[i];
        b.col(column) = pairs.b[i];
      }
    }
    ASSERT_EQ(column, 12);
    const Eigen::MatrixXd theirs = Eigen::umeyama(a, b, false);
    const auto fit = fit_rigid(pairs.a, pairs.b, pairs.w);
    ASSERT_TRUE(fit.has_value());
    EXPECT_TRUE(fit->b_from_a.rotation().isApprox(theirs.topLeftCorner(2, 2), 1e-10));
    EXPECT_LT((fit->b_from_a.translation - theirs.topRightCorner(2, 1)).norm(), 1e-9);
    const Eigen::MatrixXd similar = Eigen::umeyama(a, b, true);
    EXPECT_NEAR(fit->scale_if_free, similar.col(0).norm(), 1e-10);
  }
}

// cv::estimateAffinePartial2D fits a similarity: its rotation is that of the rigid fit, its scale
// our scale_if_free. It refines by Levenberg-Marquardt, hence the tolerance.
TEST(RigidFit, AgreesWithOpenCvOnRotationAndScale) {
  Random random(9);
  for (int run = 0; run < 20; ++run) {
    const Pairs pairs = random_pairs(random, 8, 0.3);
    std::vector<cv::Point2d> a;
    std::vector<cv::Point2d> b;
    for (std::size_t i = 0; i < 8; ++i) {
      a.emplace_back(pairs.a[i].x(), pairs.a[i].y());
      b.emplace_back(pairs.b[i].x(), pairs.b[i].y());
    }
    const cv::Mat theirs = cv::estimateAffinePartial2D(a, b, cv::noArray(), cv::RANSAC, 1e6);
    const auto fit = fit_rigid(pairs.a, pairs.b);
    ASSERT_TRUE(fit.has_value());
    const double scale = std::hypot(theirs.at<double>(0, 0), theirs.at<double>(1, 0));
    const double angle = std::atan2(theirs.at<double>(1, 0), theirs.at<double>(0, 0));
    EXPECT_NEAR(std::remainder(angle - fit->b_from_a.angle_rad, 2 * std::numbers::pi), 0.0, 1e-5);
    EXPECT_NEAR(scale, fit->scale_if_free, 1e-5);
  }
}

// Scatter of 400 is known to 3.5 %; four times that is allowed (derived).
TEST(RigidFit, StatedUncertaintyIsTheScatterOfManyFits) {
  const std::vector<Vec2> a{{0, 0}, {20, -10}, {5, 60}, {8, 130}, {-15, 30}};
  const std::vector<double> u{0.1, 0.2, 0.3, 0.15, 0.25};
  const Rigid2 truth{0.03, {3.0, -2.0}};
  const Vec2 tip_in_a(8, 130);
  std::vector<double> w;
  for (const double one : u) w.push_back(1.0 / (one * one));
  std::vector<double> angle;
  std::vector<double> tip_x;
  std::vector<double> u_from_residuals;
  std::vector<double> chi2;
  Random random(10);
  RigidFit last;
  for (int run = 0; run < 400; ++run) {
    std::vector<Vec2> b;
    for (std::size_t i = 0; i < a.size(); ++i) {
      const Vec2 error(random.normal(0, u[i]), random.normal(0, u[i]));
      b.emplace_back(truth.apply(a[i]) + error);
    }
    last = fit_rigid(a, b, w, WeightMeaning::kInverseVariance).value();
    angle.push_back(last.b_from_a.angle_rad);
    tip_x.push_back(last.b_from_a.apply(tip_in_a).x());
    chi2.push_back(last.chi2);
    const RigidFit relative = fit_rigid(a, b, w).value();
    u_from_residuals.push_back(relative.covariance(2, 2));
  }
  EXPECT_NEAR(std::sqrt(last.covariance(2, 2)) / standard_deviation(angle).value(), 1.0, 0.14);
  EXPECT_NEAR(last.u_at(tip_in_a).x() / standard_deviation(tip_x).value(), 1.0, 0.14);
  // chi2 has 2 n - 3 = 7 degrees of freedom: mean 7, sd sqrt(14), four standard errors of 400.
  EXPECT_EQ(last.degrees_of_freedom, 7);
  EXPECT_NEAR(mean(chi2).value(), 7.0, 4 * std::sqrt(14.0) / 20);
  EXPECT_NEAR(std::sqrt(mean(u_from_residuals).value()) / standard_deviation(angle).value(), 1.0,
              0.14);
}

TEST(RigidFit, NeverMirrors) {
  const std::vector<Vec2> a{{0, 0}, {1, 0}, {0, 2}};
  const std::vector<Vec2> mirrored{{0, 0}, {-1, 0}, {0, 2}};
  const auto fit = fit_rigid(a, mirrored);
  ASSERT_TRUE(fit.has_value());
  EXPECT_GT(fit->b_from_a.rotation().determinant(), 0.0);
  EXPECT_GT(fit->rms_residual, 0.1);
}

TEST(RigidFit, SaysWhyItCannot) {
  using Points = std::vector<Vec2>;
  const Points two{{0, 0}, {1, 0}};
  EXPECT_EQ(fit_rigid(Points{{0, 0}}, Points{{0, 0}}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(fit_rigid(two, Points{{0, 0}}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(fit_rigid(two, Points{{0, 0}, {NAN, 0}}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(fit_rigid(two, two, std::vector{1.0, 0.0}).error().kind, ErrorKind::kBadInput);
  EXPECT_EQ(fit_rigid(two, two, std::vector{1.0}).error().kind, ErrorKind::kBadInput);
  const Points same{{0.1, 0.7}, {0.1, 0.7}, {0.1, 0.7}};
  const Points three{{0, 0}, {1, 0}, {0, 1}};
  EXPECT_EQ(fit_rigid(same, three).error().kind, ErrorKind::kCannotTell);
  EXPECT_EQ(fit_rigid(three, same).error().kind, ErrorKind::kCannotTell);
}

}  // namespace
}  // namespace tidemark
