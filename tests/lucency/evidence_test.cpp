#include "../../modules/lucency/src/evidence.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <unsupported/Eigen/NonLinearOptimization>
#include <vector>

#include "tidemark/core/robust.h"

namespace tidemark::lucency {
namespace {

double cdf(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

// Derived: a box convolved with a Gaussian is a difference of error functions; inside of the metal
// the box goes on, so that only its far border is left.
TEST(LineProfile, IsTheAnalyticConvolution) {
  for (const double w : {0.5, 1.0, 2.0, 3.0}) {
    const auto profile = line_profile(w, 0.0, 0.2, HaloVector::Zero());
    for (int i = 0; i < kProfileSamples; ++i) {
      EXPECT_NEAR(profile(i), cdf((w - profile_x(i)) / 0.2), 2e-3) << w << " " << profile_x(i);
    }
  }
}

// Derived: an unsharp mask of gain g and radius r adds g (step - step smoothed by r). The halo
// beside a step is then -g/2 erfc(x / (sqrt 2 r)) per unit of step; smoothing by the blur adds the
// variances.
TEST(LineProfile, ShowsTheOvershootOfAnUnsharpMask) {
  constexpr double kGain = 0.8;
  constexpr double kBlur = 0.2;
  for (int k = 1; k < kHaloShapes; ++k) {
    HaloVector halo = HaloVector::Zero();
    halo(k) = -0.5 * kGain;
    const double r = std::hypot(kBlur, kHaloRadiusMm[k]);
    const auto profile = line_profile(2.0, 0.0, kBlur, halo);
    for (int i = 0; i < kProfileSamples; ++i) {
      const double d = 2.0 - profile_x(i);
      const double expected = cdf(d / kBlur) + kGain * (cdf(d / kBlur) - cdf(d / r));
      EXPECT_NEAR(profile(i), expected, 4e-3) << k << " " << profile_x(i);
    }
  }
}

// Derived: sqrt(1 - x / w), the chord of a thin gap about a round stem; far from its ends the blur
// of 0.1 mm changes it by less than its curvature, 0.5 blur^2 f'' < 0.001.
TEST(LineProfile, AChordFallsAsARoot) {
  const auto profile = line_profile(3.0, 0.5, 0.1, HaloVector::Zero());
  for (int i = 4; profile_x(i) < 2.3; ++i) {
    EXPECT_NEAR(profile(i), std::sqrt(1.0 - profile_x(i) / 3.0), 0.03) << profile_x(i);
  }
}

/// Profiles of one place: constant bone, a box-shaped line, a little white noise.
Profiles drawn(double width, double depth, double noise, int places) {
  Profiles p;
  p.values.resize(kProfileSamples, places);
  std::mt19937_64 random(11);
  for (int c = 0; c < places; ++c) {
    for (int i = 0; i < kProfileSamples; ++i) {
      double sum = -6.0;
      for (int k = 0; k < 12; ++k) sum += static_cast<double>(random() >> 11U) * 0x1.0p-53;
      p.values(i, c) = 1000.0 - depth * cdf((width - profile_x(i)) / 0.2) + noise * sum;
    }
    p.places.push_back({Vec2(0.0, c), Vec2::UnitX(), kPlacePitchMm * c});
    p.metal.push_back(2500.0);
    p.beyond.push_back(1000.0);
    p.clear.push_back(kProfileSamples);
  }
  return p;
}

/// The same profile for a general-purpose optimiser: level, depth, width.
struct BoxFit {
  Eigen::VectorXd y;
  int operator()(const Eigen::VectorXd& c, Eigen::VectorXd& f) const {
    for (int i = 0; i < kProfileSamples; ++i) {
      f(i) = c(0) - c(1) * cdf((c(2) - profile_x(i)) / 0.2) - y(i);
    }
    return 0;
  }
  int df(const Eigen::VectorXd& c, Eigen::MatrixXd& j) const {
    for (int i = 0; i < kProfileSamples; ++i) {
      const double z = (c(2) - profile_x(i)) / 0.2;
      const double density = std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi) / 0.2;
      j(i, 0) = 1.0;
      j(i, 1) = -cdf(z);
      j(i, 2) = -c(1) * density;
    }
    return 0;
  }
  [[nodiscard]] int inputs() const { return 3; }
  [[nodiscard]] int values() const { return kProfileSamples; }
};

double fitted_width(const Eigen::VectorXd& y) {
  BoxFit model{y};
  Eigen::LevenbergMarquardt<BoxFit> solver(model);
  Eigen::VectorXd c(3);
  c << y.tail(20).mean(), y.tail(20).mean() - y.head(4).mean(), 1.5;
  solver.minimize(c);
  return c(2);
}

// Reference: Levenberg-Marquardt of the Eigen library on the same profiles with the same model. The
// widths tried are 0.1 mm apart: the best of them is the one nearest to the optimiser's.
TEST(WeighLines, AgreesWithAGeneralOptimiser) {
  for (const double width : {0.8, 1.04, 1.5, 2.27, 3.0}) {
    const Profiles profiles = drawn(width, 250.0, 12.0, 60);
    std::vector<std::size_t> places;
    for (std::size_t i = 0; i < 60; ++i) places.push_back(i);
    Response response;
    response.covariance.diagonal().setConstant(1e-4);
    const auto evidence = weigh_lines(profiles, places, std::vector<double>(60, 1500.0), response,
                                      300.0, {0.0, 0.2, {}}, Halo::kAsLearnt);
    ASSERT_EQ(evidence.size(), 60U);
    std::vector<double> apart;
    std::vector<double> odds;
    std::vector<double> depth;
    std::vector<double> theirs;
    for (std::size_t p = 0; p < 60; ++p) {
      const auto& all = evidence[p].log_odds;
      const auto best =
          static_cast<std::size_t>(std::max_element(all.begin(), all.end()) - all.begin());
      theirs.push_back(fitted_width(profiles.values.col(static_cast<Eigen::Index>(p))));
      apart.push_back(std::abs(line_widths()[best] - theirs.back()));
      odds.push_back(all[best]);
      depth.push_back(evidence[p].depth[best]);
    }
    // Half a step of the widths tried, and the background's freedom; single places may be wild,
    // which is what their neighbours are heard for.
    EXPECT_LE(median(apart).value_or(1.0), 0.06) << width;
    EXPECT_NEAR(median(theirs).value_or(0.0), width, 0.01) << width;
    EXPECT_NEAR(median(depth).value_or(0.0), 250.0, 30.0) << width;
    EXPECT_GT(median(odds).value_or(0.0), 20.0) << width;
  }
}

TEST(WeighLines, PlainBoneSpeaksAgainstALine) {
  const Profiles profiles = drawn(1.0, 0.0, 12.0, 60);
  std::vector<std::size_t> places;
  for (std::size_t i = 0; i < 60; ++i) places.push_back(i);
  Response response;
  response.covariance.diagonal().setConstant(1e-4);
  const auto evidence = weigh_lines(profiles, places, std::vector<double>(60, 1500.0), response,
                                    300.0, {0.0, 0.2, {}}, Halo::kAsLearnt);
  for (const PlaceEvidence& e : evidence) {
    for (std::size_t i = 8; i < 29; ++i) EXPECT_LT(e.log_odds[i], 3.0) << line_widths()[i];
  }
}

// White noise of a known size.
TEST(EstimateNoise, FindsWhiteNoise) {
  const Profiles profiles = drawn(0.0, 0.0, 20.0, 200);
  const Noise noise = estimate_noise(profiles.values);
  EXPECT_NEAR(std::sqrt(noise.fine), 20.0, 2.0);
  // Texture keeps its floor of half of the fine part.
  EXPECT_LE(noise.texture, 0.6 * noise.fine);
}

}  // namespace
}  // namespace tidemark::lucency
