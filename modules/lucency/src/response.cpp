#include "response.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "tidemark/core/robust.h"

namespace tidemark::lucency {
namespace {

constexpr std::size_t kStretch = 6;  // places: 3 mm
/// Amplitudes at the stem differ from those at the neck, which is round and thinner: this share
/// of the halo (house choice; see docs/lucency.md).
constexpr double kOtherMetal = 0.25;
/// What a film without enhancement may still show beside metal, as a share of the step.
constexpr double kFloor = 0.012;
/// Without a bare edge any halo of this size is possible.
constexpr double kUnknown = 0.25;
/// The flanks' least dark stretches: these quantiles of their darkness (house choice). That a line
/// runs along all of the stem cannot be excluded from them alone: so much of the halo is in doubt.
constexpr double kLeastFrom = 0.05;
constexpr double kLeastTo = 0.30;
constexpr double kLineEverywhere = 0.35;
/// Samples that a stretch must show at least: 2.5 mm.
constexpr int kShortest = 26;
/// Penumbra of the metal, which reaches out of the edge: shapes of 0.12 and 0.2 mm.
constexpr double kPenumbraMm[2] = {0.12, 0.2};

/// One stretch's halo, and how dark it makes the first 1.5 mm.
struct Stretch {
  HaloVector halo;
  double darkness = 0.0;
};

/// Ridge solution for one mean profile of `n` samples, in shares of the step.
HaloVector fit_stretch(const Eigen::VectorXd& y, int n) {
  constexpr int kCols = kHaloShapes + 4;
  Eigen::MatrixXd a(n, kCols);
  a.leftCols<kHaloShapes>() = halo_shapes().topRows(n);
  for (int i = 0; i < n; ++i) {
    const double x = profile_x(i);
    a(i, kHaloShapes) = 1.0;
    a(i, kHaloShapes + 1) = x / 4.0 - 1.0;
    for (int k = 0; k < 2; ++k) {
      a(i, kHaloShapes + 2 + k) = std::erfc(x / (std::numbers::sqrt2 * kPenumbraMm[k]));
    }
  }
  Eigen::MatrixXd normal = a.transpose() * a;
  for (int k = 0; k < kHaloShapes; ++k) normal(k, k) += 0.01;
  return normal.ldlt().solve(a.transpose() * y.head(n)).head<kHaloShapes>();
}

/// Fits of all whole stretches of neighbouring places.
std::vector<Stretch> fit_stretches(const Profiles& profiles,
                                   const std::vector<std::size_t>& places) {
  std::vector<Stretch> out;
  Eigen::VectorXd mean(kProfileSamples);
  for (std::size_t i = 0; i + kStretch <= places.size(); i += kStretch) {
    if (places[i + kStretch - 1] != places[i] + kStretch - 1) continue;
    mean.setZero();
    double step = 0.0;
    int n = kProfileSamples;
    for (std::size_t k = i; k < i + kStretch; ++k) {
      const std::size_t p = places[k];
      mean += profiles.values.col(static_cast<Eigen::Index>(p)) / kStretch;
      step += (profiles.metal[p] - profiles.beyond[p]) / kStretch;
      n = std::min(n, profiles.clear[p]);
    }
    if (!(step > 0.0) || n < kShortest) continue;
    const Eigen::VectorXd y = mean / step;
    const double near = y.segment(3, 12).mean();
    const double far = y.segment(n - 12, 12).mean();
    out.push_back({fit_stretch(y, n), far - near});
  }
  return out;
}

/// Middle and scatter of some stretches.
struct Guess {
  HaloVector halo = HaloVector::Zero();
  HaloMatrix covariance = HaloMatrix::Identity() * kUnknown * kUnknown;
};

Guess guess_from(const std::vector<Stretch>& found, double other) {
  Guess g;
  if (found.size() < 2) return g;
  std::vector<double> values;
  for (int k = 0; k < kHaloShapes; ++k) {
    values.clear();
    for (const Stretch& s : found) values.push_back(s.halo(k));
    g.halo(k) = median(values).value_or(0.0);
  }
  g.covariance.setZero();
  for (const Stretch& s : found) {
    const HaloVector d = (s.halo - g.halo).cwiseMax(-0.3).cwiseMin(0.3);
    g.covariance += d * d.transpose() / static_cast<double>(found.size() - 1);
  }
  g.covariance += other * other * g.halo * g.halo.transpose();
  g.covariance.diagonal().array() += kFloor * kFloor;
  return g;
}

}  // namespace

Eigen::Matrix<double, Eigen::Dynamic, kHaloShapes> halo_shapes() {
  Eigen::Matrix<double, Eigen::Dynamic, kHaloShapes> out(kProfileSamples, kHaloShapes);
  for (int k = 0; k < kHaloShapes; ++k) {
    for (int i = 0; i < kProfileSamples; ++i) {
      out(i, k) = std::erfc(profile_x(i) / (std::numbers::sqrt2 * kHaloRadiusMm[k]));
    }
  }
  return out;
}

Response learn_response(const Profiles& profiles, const Teachers& teachers) {
  const std::vector<Stretch> bare = fit_stretches(profiles, teachers.bare);
  std::vector<Stretch> flank = fit_stretches(profiles, teachers.flank);
  std::stable_sort(flank.begin(), flank.end(),
                   [](const Stretch& a, const Stretch& b) { return a.darkness < b.darkness; });
  const auto cut = [&](double q) {
    return flank.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(flank.size()));
  };
  const std::vector<Stretch> least(cut(kLeastFrom), cut(kLeastTo));
  const Guess neck = guess_from(bare, kOtherMetal);
  const Guess stem = guess_from(least, kLineEverywhere);
  Response r;
  r.edges = bare.size() < 2 ? 0 : static_cast<int>(bare.size());
  // Both are guesses of the same thing: weighted by their precision.
  const HaloMatrix a = neck.covariance.inverse();
  const HaloMatrix b = stem.covariance.inverse();
  r.covariance = (a + b).inverse();
  r.halo = r.covariance * (a * neck.halo + b * stem.halo);
  return r;
}

}  // namespace tidemark::lucency
