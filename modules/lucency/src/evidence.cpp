#include "evidence.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "tidemark/core/robust.h"

namespace tidemark::lucency {
namespace {

constexpr double kFineMm = 0.15;
constexpr double kTextureMm = 0.6;
constexpr double kBroadMm = 3.0;
/// Model error beside the noise that the differences show: covariance times this. House choice.
constexpr double kMisfit = 2.0;
constexpr double kPenumbraMm[3] = {0.12, 0.2, 0.3};
constexpr double kPenumbraShare = 0.3;  // of the step
/// A wall further out: the canal's, or a cortex' border.
constexpr double kFirstWallMm = 0.8;
constexpr double kWallPitchMm = 0.2;
constexpr double kLastWallMm = 7.4;
/// Dark up to a wall beyond this is a canal, not a line.
constexpr double kCanalMm = 4.05;
constexpr double kRimFromMm = 0.45;
constexpr double kRimToMm = 1.65;

double normal_cdf(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

/// (1 - x / w)^power for x in [-inf, w], 1 inside of the metal, blurred by a Gaussian.
Eigen::VectorXd line_template(double w, const LineShape& shape) {
  Eigen::VectorXd out(kProfileSamples);
  if (shape.power == 0.0) {
    for (int i = 0; i < kProfileSamples; ++i) {
      out(i) = normal_cdf((w - profile_x(i)) / shape.blur_mm);
    }
    return out;
  }
  // A curved fall as a stack of boxes whose borders lie at equal steps of height.
  constexpr int kBoxes = 24;
  out.setZero();
  for (int k = 0; k < kBoxes; ++k) {
    const double height = (k + 0.5) / kBoxes;
    const double border = w * (1.0 - std::pow(height, 1.0 / shape.power));
    for (int i = 0; i < kProfileSamples; ++i) {
      out(i) += normal_cdf((border - profile_x(i)) / shape.blur_mm) / kBoxes;
    }
  }
  return out;
}

double noise_at(const Noise& noise, double h) {
  const double f = h / kFineMm;
  const double b = h / kBroadMm;
  return noise.fine * std::exp(-f * f) + noise.texture * std::exp(-std::abs(h) / kTextureMm) +
         noise.broad * std::exp(-b * b);
}

/// Everything that a profile without a line may vary by.
Eigen::MatrixXd null_covariance(const Response& response, const Noise& noise, double contrast,
                                double step) {
  Eigen::MatrixXd c(kProfileSamples, kProfileSamples);
  for (int i = 0; i < kProfileSamples; ++i) {
    for (int k = 0; k < kProfileSamples; ++k) {
      c(i, k) = kMisfit * noise_at(noise, kProfilePitchMm * (i - k));
    }
  }
  const auto add = [&](const Eigen::VectorXd& t, double sd) { c += sd * sd * t * t.transpose(); };
  Eigen::VectorXd t = Eigen::VectorXd::Ones(kProfileSamples);
  add(t, 20.0 * contrast);
  for (int i = 0; i < kProfileSamples; ++i) t(i) = profile_x(i) / 4.0 - 1.0;
  add(t, contrast);
  for (const double s : kPenumbraMm) {
    for (int i = 0; i < kProfileSamples; ++i) {
      t(i) = std::erfc(profile_x(i) / (std::numbers::sqrt2 * s));
    }
    add(t, kPenumbraShare * step);
  }
  const auto halo = halo_shapes();
  c += step * step * halo * response.covariance * halo.transpose();
  return c;
}

/// One family of shapes, whitened.
struct Bank {
  std::vector<double> width;  // of lines, then of walls
  std::size_t lines = 0;
  Eigen::MatrixXd whitened;  // samples x all
  Eigen::MatrixXd gram;      // all x all
};

/// Log of the evidence of one amplitude with a Gaussian prior of variance 1 / precision.
double one(double b, double g, double precision) {
  return 0.5 * b * b / (g + precision) - 0.5 * std::log1p(g / precision);
}

/// The same of two amplitudes; mean and variance of the first come along.
struct Pair {
  double log_odds;
  double mean;
  double sd;
  double second;
};

Pair two(double b1, double b2, double g11, double g12, double g22, double p1, double p2) {
  const double a = g11 + p1;
  const double d = g22 + p2;
  const double det = a * d - g12 * g12;
  const double m1 = (d * b1 - g12 * b2) / det;
  const double m2 = (a * b2 - g12 * b1) / det;
  return {0.5 * (b1 * m1 + b2 * m2) - 0.5 * std::log(det / (p1 * p2)), m1, std::sqrt(d / det), m2};
}

/// Log of the share of a Gaussian that is negative, over 1/2: what a prior of one sign adds.
double log_negative(double mean, double sd) {
  return std::log(std::max(2.0 * normal_cdf(-mean / sd), 1e-12));
}

/// A profile's best wall without a line: bright inside anywhere, dark inside only beyond lines.
double wall_alone(const Bank& bank, const Eigen::Ref<const Eigen::VectorXd>& b, double precision,
                  double log_prior) {
  double best = 0.0;
  for (std::size_t j = bank.lines; j < bank.width.size(); ++j) {
    const auto k = static_cast<Eigen::Index>(j);
    if (b(k) < 0.0 && bank.width[j] < kCanalMm) continue;
    best = std::max(best, one(b(k), bank.gram(k, k), precision) + log_prior);
  }
  return best;
}

struct Weighing {
  const Bank* bank = nullptr;
  double line_precision = 0.0;
  double wall_precision = 0.0;
  double log_wall_prior = 0.0;
};

PlaceEvidence weigh_place(const Weighing& w, const Eigen::Ref<const Eigen::VectorXd>& b) {
  const Bank& bank = *w.bank;
  PlaceEvidence out;
  out.log_odds.resize(bank.lines);
  out.depth.resize(bank.lines);
  out.rim_log_odds.resize(bank.lines);
  const double none = wall_alone(bank, b, w.wall_precision, w.log_wall_prior);
  for (std::size_t i = 0; i < bank.lines; ++i) {
    const auto k = static_cast<Eigen::Index>(i);
    const double g = bank.gram(k, k);
    const double mean = b(k) / (g + w.line_precision);
    const double sd = 1.0 / std::sqrt(g + w.line_precision);
    double best = one(b(k), g, w.line_precision) + log_negative(mean, sd);
    double depth = -mean;
    double rim = -30.0;
    double no_rim = best;
    for (std::size_t j = bank.lines; j < bank.width.size(); ++j) {
      const double apart = bank.width[j] - bank.width[i];
      if (apart < kRimFromMm) continue;
      const auto m = static_cast<Eigen::Index>(j);
      const Pair pair =
          two(b(k), b(m), g, bank.gram(k, m), bank.gram(m, m), w.line_precision, w.wall_precision);
      const double odds = pair.log_odds + w.log_wall_prior + log_negative(pair.mean, pair.sd);
      const bool is_rim = apart < kRimToMm && pair.second > 0.0;
      (is_rim ? rim : no_rim) = std::max(is_rim ? rim : no_rim, odds);
      if (odds > best) {
        best = odds;
        depth = -pair.mean;
      }
    }
    out.log_odds[i] = best - none;
    out.depth[i] = depth;
    out.rim_log_odds[i] = rim - no_rim;
  }
  return out;
}

Bank make_bank(const LineShape& shape, const Eigen::LLT<Eigen::MatrixXd>& null) {
  Bank bank;
  bank.width = line_widths();
  bank.lines = bank.width.size();
  for (double w = kFirstWallMm; w <= kLastWallMm; w += kWallPitchMm) bank.width.push_back(w);
  bank.whitened.resize(kProfileSamples, static_cast<Eigen::Index>(bank.width.size()));
  for (std::size_t i = 0; i < bank.width.size(); ++i) {
    const LineShape box{0.0, shape.blur_mm};
    bank.whitened.col(static_cast<Eigen::Index>(i)) =
        line_template(bank.width[i], i < bank.lines ? shape : box);
  }
  null.matrixL().solveInPlace(bank.whitened);
  bank.gram = bank.whitened.transpose() * bank.whitened;
  return bank;
}

}  // namespace

std::vector<double> line_widths() {
  std::vector<double> out;
  for (int i = 2; i <= 20; ++i) out.push_back(0.1 * i);
  for (int i = 11; i <= 20; ++i) out.push_back(0.2 * i);
  return out;
}

Noise estimate_noise(const Profiles& profiles, const std::vector<std::size_t>& places) {
  constexpr int kFrom = 13;  // 1.5 mm
  constexpr int kLags[3] = {3, 8, 30};
  std::vector<double> medians[3];
  std::vector<double> squares;
  for (const std::size_t p : places) {
    const auto y = profiles.values.col(static_cast<Eigen::Index>(p));
    for (int n = 0; n < 3; ++n) {
      squares.clear();
      for (int i = kFrom; i + kLags[n] < std::min(profiles.clear[p], kProfileSamples); ++i) {
        const double d = y(i + kLags[n]) - y(i);
        squares.push_back(d * d);
      }
      if (squares.size() > 5) medians[n].push_back(median(squares).value_or(0.0) / 0.455);
    }
  }
  const double d3 = 0.5 * median(medians[0]).value_or(1.0);
  const double d8 = 0.5 * median(medians[1]).value_or(1.0);
  const double d30 = 0.5 * median(medians[2]).value_or(1.0);
  Noise noise;
  noise.broad = std::max(0.0, (d30 - d8) / 0.56);
  noise.texture = std::max(0.0, (d8 - d3 - 0.06 * noise.broad) / 0.346);
  noise.fine = std::max(0.2 * d3, d3 - 0.39 * noise.texture - 0.01 * noise.broad);
  return noise;
}

std::vector<PlaceEvidence> weigh_lines(const Profiles& profiles,
                                       const std::vector<std::size_t>& places,
                                       const std::vector<double>& steps, const Response& response,
                                       const Noise& noise, double contrast,
                                       const LineShape& shape) {
  const double step = median(steps).value_or(1.0);
  const Eigen::LLT<Eigen::MatrixXd> null(null_covariance(response, noise, contrast, step));
  const Bank bank = make_bank(shape, null);
  const Eigen::VectorXd halo = halo_shapes() * response.halo;
  Eigen::MatrixXd y(kProfileSamples, static_cast<Eigen::Index>(places.size()));
  for (std::size_t i = 0; i < places.size(); ++i) {
    const auto p = static_cast<Eigen::Index>(places[i]);
    y.col(static_cast<Eigen::Index>(i)) =
        profiles.values.col(p) - steps[i] * halo -
        Eigen::VectorXd::Constant(kProfileSamples, profiles.beyond[places[i]]);
  }
  null.matrixL().solveInPlace(y);
  const Eigen::MatrixXd b = bank.whitened.transpose() * y;
  const double walls = static_cast<double>(bank.width.size() - bank.lines);
  const Weighing weighing{&bank, 1.0 / (0.25 * contrast * contrast), 1.0 / (contrast * contrast),
                          std::log(0.5 / walls)};
  std::vector<PlaceEvidence> out;
  out.reserve(places.size());
  for (std::size_t i = 0; i < places.size(); ++i) {
    out.push_back(weigh_place(weighing, b.col(static_cast<Eigen::Index>(i))));
  }
  return out;
}

}  // namespace tidemark::lucency
