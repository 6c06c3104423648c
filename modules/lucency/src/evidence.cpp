#include "evidence.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "tidemark/core/robust.h"

namespace tidemark::lucency {
namespace {

constexpr double kFineMm = 0.15;
constexpr double kTextureMm = 0.7;
constexpr double kBroadMm = 3.0;
/// Model error beside the noise that the differences show: covariance times this. House choice.
constexpr double kMisfit = 1.2;
constexpr std::array<double, 2> kPenumbraMm{0.12, 0.2};
constexpr double kPenumbraShare = 0.3;  // of the step
/// How the halo is settled over the whole interface: rounds, which places by their darkness, from
/// where walls are taken off. House choices.
constexpr int kHaloRounds = 2;
constexpr double kBrightFrom = 0.15;
constexpr double kBrightTo = 0.55;
constexpr double kLeftoverWallMm = 1.2;
constexpr Eigen::Index kNearSamples = 10;
/// Places that share one estimate of the noise: 10 mm.
constexpr Eigen::Index kSegment = 20;
/// A wall further out: the canal's, or a cortex' border.
/// Dark up to a wall beyond this is a canal, not a line.
constexpr double kCanalMm = 4.05;
constexpr double kRimFromMm = 0.45;
constexpr double kRimToMm = 1.65;
/// How bright the first wall's inside must stand out, of the second's darkness, to hide no line.
constexpr double kBrightBefore = 0.15;
/// Share of the next dark wall that a line must have of its own.
constexpr double kOwnShare = 0.3;
/// Beyond a line the next step to brighter (the cortex) lies at least this far out.
constexpr double kNextDarkMm = 2.6;
constexpr double kUsualRimMm = 0.8;
constexpr double kRimSays = 12.0;

double normal_cdf(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

/// How the film shows a step down at 0, as a table over the distance inside of it (positive) and
/// outside (negative): blurred, and with the overshoot on either side that the metal's edge shows.
/// An unsharp mask treats every step alike (it is linear in log exposure).
class EdgeTable {
 public:
  EdgeTable(const HaloVector& halo, double blur_mm) {
    std::array<double, kSize> sharp{};
    for (std::size_t i = 0; i < kSize; ++i) {
      const double d = at(i);
      double overshoot = 0.0;
      for (int k = 0; k < kHaloShapes; ++k) {
        overshoot -= halo(k) * std::erfc(std::abs(d) / (std::numbers::sqrt2 * kHaloRadiusMm[k]));
      }
      overshoot = std::clamp(overshoot, -0.1, 0.6);
      sharp[i] = d > 0.0 ? 1.0 + overshoot : d < 0.0 ? -overshoot : 0.5;
    }
    constexpr std::size_t kHalf = 14;
    std::array<double, 2 * kHalf + 1> weight{};
    double sum = 0.0;
    for (std::size_t k = 0; k < weight.size(); ++k) {
      const double z = (static_cast<double>(k) - static_cast<double>(kHalf)) * kStep / blur_mm;
      sum += weight[k] = std::exp(-0.5 * z * z);
    }
    for (std::size_t i = 0; i < kSize; ++i) {
      double value = 0.0;
      for (std::size_t k = 0; k < weight.size(); ++k) {
        // i + k - kHalf, held inside of the table.
        const std::size_t from = std::min(std::max(i + k, kHalf) - kHalf, kSize - 1);
        value += weight[k] * sharp[from];
      }
      table_[i] = value / sum;
    }
  }
  [[nodiscard]] double operator()(double d) const {
    const double t = std::clamp((d + kReach) / kStep, 0.0, static_cast<double>(kSize) - 1.001);
    const auto i = static_cast<std::size_t>(t);
    const double f = t - static_cast<double>(i);
    return (1.0 - f) * table_[i] + f * table_[i + 1];
  }

 private:
  static constexpr double kReach = 9.0;
  static constexpr double kStep = 0.05;
  static constexpr std::size_t kSize = 361;
  static double at(std::size_t i) { return kStep * static_cast<double>(i) - kReach; }
  std::array<double, kSize> table_{};
};

/// (1 - x / w)^power for x in [0, w], 1 inside of the metal, as the film shows it.
Eigen::VectorXd line_template(double w, double power, const EdgeTable& edge) {
  Eigen::VectorXd out(kProfileSamples);
  if (power == 0.0) {
    for (int i = 0; i < kProfileSamples; ++i) out(i) = edge(w - profile_x(i));
    return out;
  }
  // A curved fall as a stack of boxes whose borders lie at equal steps of height.
  constexpr int kBoxes = 16;
  out.setZero();
  for (int k = 0; k < kBoxes; ++k) {
    const double height = (k + 0.5) / kBoxes;
    const double border = w * (1.0 - std::pow(height, 1.0 / power));
    for (int i = 0; i < kProfileSamples; ++i) out(i) += edge(border - profile_x(i)) / kBoxes;
  }
  return out;
}

double noise_at(const Noise& noise, double h) {
  const double f = h / kFineMm;
  const double t = h / kTextureMm;
  const double b = h / kBroadMm;
  return noise.fine * std::exp(-f * f) + noise.texture * std::exp(-t * t) +
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

/// Least squares of a x = y with x >= 0, by trying which parts are there.
Eigen::Vector3d non_negative(const Eigen::Matrix3d& a, const Eigen::Vector3d& y) {
  Eigen::Vector3d best = Eigen::Vector3d::Zero();
  double least = y.squaredNorm();
  for (unsigned set = 1; set < 8; ++set) {
    Eigen::Matrix3d part = a;
    for (Eigen::Index k = 0; k < 3; ++k) {
      if (((set >> static_cast<unsigned>(k)) & 1U) == 0) part.col(k).setZero();
    }
    const Eigen::Vector3d x = part.completeOrthogonalDecomposition().solve(y);
    const double rest = (part * x - y).squaredNorm();
    if (x.minCoeff() < 0.0 || rest >= least - 1e-12) continue;
    least = rest;
    best = x;
  }
  return best;
}

/// Templates of lines, then of walls (boxes), whitened.
struct Bank {
  std::vector<double> width;
  std::size_t lines = 0;  // shaped; those beyond line_widths() are canals
  std::size_t shaped = 0;
  Eigen::MatrixXd whitened;  // samples x all
  Eigen::MatrixXd gram;      // all x all
};

/// Log of the share of a Gaussian that is negative, over 1/2: what a prior of one sign adds.
double log_negative(double mean, double sd) {
  const double z = mean / sd;
  // Beyond six sigma the leading term of the tail's expansion.
  if (z > 6.0) return -0.5 * z * z - std::log(0.5 * z * std::sqrt(2.0 * std::numbers::pi));
  return std::log(2.0 * normal_cdf(-z));
}

struct Prior {
  double line_precision = 0.0;  // of a line's depth
  double wall_precision = 0.0;
  double log_wall = 0.0;  // of one wall at one place
  double log_rim = 0.0;   // of a rim of one thickness
  double log_no_rim = 0.0;
};

/// Explains one whitened profile by templates taken one after the other, each with a Gaussian prior
/// of its amplitude: the log evidence of a set is the sum of what each adds given those before.
class Explanation {
 public:
  Explanation(const Bank& bank, const double* b) : bank_(bank), b_(b) {}

  /// Correlation of template j with what the chosen ones leave over.
  [[nodiscard]] double left(std::size_t j) const {
    double out = b_[j];
    for (int k = 0; k < n_; ++k) out -= along(j, k) * mean_[at(k)];
    return out;
  }
  [[nodiscard]] double gram(std::size_t j) const {
    double out = g(j, j);
    for (int k = 0; k < n_; ++k) out -= along(j, k) * along(j, k) / pivot_[at(k)];
    return out;
  }
  /// What adding template j adds to the log evidence.
  [[nodiscard]] double gain(std::size_t j, double precision) const {
    const double d = gram(j) + precision;
    const double r = left(j);
    return 0.5 * (r * r / d - std::log(d / precision));
  }
  /// The same of what lies further out and is there whatever lies at the metal: no price for its
  /// amplitude, which neighbours share; log_wall is the whole price.
  [[nodiscard]] double gain_of_wall(std::size_t j, double precision) const {
    const double r = left(j);
    return 0.5 * r * r / (gram(j) + precision);
  }
  void add_wall(std::size_t j, double precision) {
    const double paid = gain(j, precision) - gain_of_wall(j, precision);
    add(j, precision);
    evidence_ -= paid;
  }
  void add(std::size_t j, double precision) {
    evidence_ += gain(j, precision);
    const double r = left(j);
    const double d = gram(j) + precision;
    chosen_[at(n_)] = j;
    pivot_[at(n_)] = d;
    mean_[at(n_)] = r / d;
    ++n_;
  }
  [[nodiscard]] double evidence() const { return evidence_; }
  [[nodiscard]] int size() const { return n_; }
  [[nodiscard]] std::size_t chosen(int k) const { return chosen_[at(k)]; }

  /// Expected amplitude of the chosen template k once all are in, by back substitution.
  [[nodiscard]] double amplitude(int k) const {
    double out = mean_[at(k)];
    for (int m = k + 1; m < n_; ++m) {
      out -= along(chosen_[at(m)], k) / pivot_[at(k)] * amplitude(m);
    }
    return out;
  }
  [[nodiscard]] double sd_of_first() const {
    double variance = 1.0 / pivot_[0];
    // Each later template adds the square of its share in the first.
    for (int m = 1; m < n_; ++m) {
      double share = along(chosen_[at(m)], 0) / pivot_[0];
      if (m == 2) {
        share -= along(chosen_[at(2)], 1) / pivot_[1] * (along(chosen_[at(1)], 0) / pivot_[0]);
      }
      variance += share * share / pivot_[at(m)];
    }
    return std::sqrt(variance);
  }

 private:
  static std::size_t at(int k) { return static_cast<std::size_t>(k); }
  [[nodiscard]] double g(std::size_t i, std::size_t j) const {
    return bank_.gram(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j));
  }
  /// Gram of template j with the chosen template k, given those chosen before k.
  [[nodiscard]] double along(std::size_t j, int k) const {
    double out = g(j, chosen_[at(k)]);
    for (int m = 0; m < k; ++m) {
      out -= along(j, m) * along(chosen_[at(k)], m) / pivot_[at(m)];
    }
    return out;
  }

  const Bank& bank_;
  const double* b_;
  int n_ = 0;
  double evidence_ = 0.0;
  std::array<std::size_t, 3> chosen_{};
  std::array<double, 3> pivot_{};
  std::array<double, 3> mean_{};
};

/// Which walls may be added: from a distance on, and dark inside only from another.
struct WallRule {
  double from_mm = 0.0;
  double to_mm = 1e9;
  double dark_from_mm = 0.0;
  double bright_from_mm = 0.0;
};

/// Adds the best wall that the rule allows, if it makes things more likely.
void add_wall(Explanation& e, const Bank& bank, const Prior& prior, const WallRule& rule) {
  double best = 0.0;
  std::size_t which = 0;
  for (std::size_t j = bank.shaped; j < bank.width.size(); ++j) {
    const double w = bank.width[j];
    if (w < rule.from_mm || w > rule.to_mm) continue;
    const double gain = e.gain_of_wall(j, prior.wall_precision) + prior.log_wall;
    if (gain <= best) continue;
    if (w < (e.left(j) < 0.0 ? rule.dark_from_mm : rule.bright_from_mm)) continue;
    best = gain;
    which = j;
  }
  if (which == 0) return;
  e.add_wall(which, prior.wall_precision);
}

/// The best explanation without a line, and what it has beside the metal (PlaceEvidence).
struct NoLine {
  double evidence = 0.0;
  double dark_depth = 0.0;
  double dark_to = 0.0;
};

/// Every wall counts from the metal on, so that what is dark there is the sum of all.
NoLine no_line_of(const Explanation& e, const Bank& bank, double log_priors) {
  NoLine out{e.evidence() + log_priors, 0.0, 0.0};
  double darkest = 0.0;
  for (int k = 0; k < e.size(); ++k) {
    const double amplitude = e.amplitude(k);
    out.dark_depth -= amplitude;
    if (amplitude >= darkest) continue;
    darkest = amplitude;
    out.dark_to = bank.width[e.chosen(k)];
  }
  return out;
}

/// No line: up to two walls, bright inside anywhere, dark inside beyond lines or beyond the first
/// wall (what is bright beside the metal is not a line).
NoLine without_line(const Bank& bank, const double* b, const Prior& prior) {
  Explanation one(bank, b);
  add_wall(one, bank, prior, {0.0, 1e9, kCanalMm, 0.0});
  if (one.size() == 0) return {};
  Explanation both = one;
  add_wall(both, bank, prior, {0.0, 1e9, bank.width[one.chosen(0)] + kRimFromMm, 0.0});
  const NoLine single = no_line_of(one, bank, prior.log_wall);
  if (both.size() < 2) return single;
  // Without something bright before it, what is dark up to the second wall is a line.
  const bool near = bank.width[both.chosen(1)] < kCanalMm;
  if (near && both.amplitude(0) < -kBrightBefore * both.amplitude(1)) return single;
  return no_line_of(both, bank, 2.0 * prior.log_wall);
}

/// Log evidence of what is dark up to a shaped border, without a rim, and the darkness.
struct Dark {
  double evidence = 0.0;
  double depth = 0.0;
  double rim_answer = 0.0;  ///< log odds when no rim stood out: 0 when one could hide
};

Dark dark_of(const Explanation& e, double log_priors) {
  const double amplitude = e.amplitude(0);
  return {e.evidence() + log_priors + log_negative(amplitude, e.sd_of_first()), -amplitude};
}

Dark without_rim(std::size_t i, const Bank& bank, const double* b, const Prior& prior) {
  Explanation e(bank, b);
  e.add(i, prior.line_precision);
  const Explanation alone = e;
  add_wall(e, bank, prior, {bank.width[i] + kRimToMm, 1e9, kNextDarkMm, 0.0});
  // A faint line before a strong wall is no line: the wall alone is what is dark.
  if (e.size() == 2 && e.amplitude(1) < 0.0 && e.amplitude(0) > kOwnShare * e.amplitude(1)) {
    return dark_of(alone, prior.log_no_rim);
  }
  return dark_of(e, prior.log_wall * (e.size() - 1) + prior.log_no_rim);
}

Dark with_rim(std::size_t i, const Bank& bank, const double* b, const Prior& prior) {
  const double w = bank.width[i];
  Explanation e(bank, b);
  e.add(i, prior.line_precision);
  Prior rim = prior;
  rim.log_wall = prior.log_rim;
  add_wall(e, bank, rim, {w + kRimFromMm, w + kRimToMm, 1e9, 0.0});
  if (e.size() < 2) {
    // No rim stands out. Would one as bright as half of the line's depth have?
    const auto j =
        bank.shaped +
        static_cast<std::size_t>(std::lround(std::clamp((w + kUsualRimMm - 0.4) / 0.2, 0.0, 35.0)));
    const double d = e.gram(j) + prior.wall_precision;
    const bool would = e.left(j) / d + 2.0 / std::sqrt(d) < -0.5 * e.amplitude(0);
    return {-1e3, 0.0, would ? -10.0 : 0.0};
  }
  add_wall(e, bank, prior, {w + kRimToMm, 1e9, kNextDarkMm, 0.0});
  if (e.size() == 3 && e.amplitude(2) < 0.0 && e.amplitude(0) > kOwnShare * e.amplitude(2)) {
    return {-1e3, 0.0, 0.0};
  }
  return dark_of(e, prior.log_rim + prior.log_wall * (e.size() - 2));
}

PlaceEvidence weigh_place(const Bank& bank, const double* b, const Prior& prior) {
  PlaceEvidence out;
  const NoLine no_line = without_line(bank, b, prior);
  const double none = no_line.evidence;
  out.dark_depth = no_line.dark_depth;
  out.dark_to = no_line.dark_to;
  std::vector<double> plain;
  for (std::size_t i = 0; i < bank.shaped; ++i) {
    const Dark bare = without_rim(i, bank, b, prior);
    plain.push_back(bare.evidence - prior.log_no_rim - none);
    if (i >= bank.lines) continue;
    const Dark rim = with_rim(i, bank, b, prior);
    const Dark& best = rim.evidence > bare.evidence ? rim : bare;
    out.log_odds.push_back(best.evidence - none);
    // The cortex itself is brightest at its inner border: a canal may seem to have a rim as well.
    plain.back() = std::max(plain.back(), rim.evidence - kRimSays - none);
    out.depth.push_back(best.depth);
    out.rim_log_odds.push_back(rim.evidence < -500.0 ? rim.rim_answer
                                                     : rim.evidence - bare.evidence);
  }
  for (std::size_t j = bank.shaped; j < bank.width.size(); ++j) {
    const Explanation e(bank, b);
    out.border_log_odds.push_back(
        e.left(j) > 0.0 ? std::max(0.0, e.gain_of_wall(j, prior.wall_precision)) : 0.0);
  }
  // A canal looks like a line without a rim; only its course tells.
  for (const double w : canal_widths()) {
    const auto i = static_cast<std::size_t>(std::lround(10.0 * w)) - 2;
    const std::size_t k = i < bank.lines ? i : bank.lines + (i - bank.lines) / 2;
    const double a = plain[k > 0 ? k - 1 : k];
    const double c = plain[std::min(k + 1, bank.shaped - 1)];
    const double top = std::max({a, plain[k], c});
    const double mean =
        0.25 * std::exp(a - top) + 0.5 * std::exp(plain[k] - top) + 0.25 * std::exp(c - top);
    out.canal_log_odds.push_back(top + std::log(mean));
  }
  return out;
}

Bank make_bank(const LineShape& shape, const HaloVector& halo,
               const Eigen::LLT<Eigen::MatrixXd>& null) {
  const EdgeTable edge(halo, shape.blur_mm);
  Bank bank;
  bank.width = line_widths();
  bank.lines = bank.width.size();
  for (const double w : canal_widths()) {
    if (w > bank.width[bank.lines - 1] + 0.05) bank.width.push_back(w);
  }
  bank.shaped = bank.width.size();
  bank.width.insert(bank.width.end(), canal_widths().begin(), canal_widths().end());
  bank.whitened.resize(kProfileSamples, static_cast<Eigen::Index>(bank.width.size()));
  for (std::size_t i = 0; i < bank.width.size(); ++i) {
    bank.whitened.col(static_cast<Eigen::Index>(i)) =
        line_template(bank.width[i], i < bank.shaped ? shape.power : 0.0, edge);
  }
  null.matrixL().solveInPlace(bank.whitened);
  bank.gram = bank.whitened.transpose() * bank.whitened;
  return bank;
}

}  // namespace

Eigen::VectorXd line_profile(double w, double power, double blur_mm, const HaloVector& overshoot) {
  return line_template(w, power, EdgeTable(overshoot, blur_mm));
}

const std::vector<double>& line_widths() {
  static const std::vector<double> widths = [] {
    std::vector<double> out;
    for (int i = 2; i <= 50; ++i) out.push_back(0.1 * i);
    return out;
  }();
  return widths;
}

const std::vector<double>& canal_widths() {
  static const std::vector<double> widths = [] {
    std::vector<double> out;
    for (int i = 2; i <= 37; ++i) out.push_back(0.2 * i);
    return out;
  }();
  return widths;
}

Noise estimate_noise(const Eigen::Ref<const Eigen::MatrixXd>& profiles) {
  // Second differences over three lags: slopes drop out. Expected square of one is
  // 6 C(0) - 8 C(lag) + 2 C(2 lag); medians, so that walls do not count.
  constexpr int kFrom = 8;   // 1 mm
  constexpr int kUpTo = 58;  // 6 mm
  constexpr std::array<int, 3> kLags{3, 8, 20};
  constexpr double kMedianOfSquare = 0.455;  // of a standard normal variable
  std::array<std::vector<double>, 3> medians;
  std::vector<double> squares;
  for (Eigen::Index p = 0; p < profiles.cols(); ++p) {
    const auto y = profiles.col(p);
    for (std::size_t n = 0; n < 3; ++n) {
      const int lag = kLags[n];
      squares.clear();
      for (int i = kFrom; i + 2 * lag < kUpTo; ++i) {
        const double d = y(i + 2 * lag) - 2.0 * y(i + lag) + y(i);
        squares.push_back(d * d / kMedianOfSquare);
      }
      medians[n].push_back(median(squares).value_or(0.0));
    }
  }
  const auto expected = [&](const Noise& part, std::size_t n) {
    const double lag = kProfilePitchMm * kLags[n];
    return 6.0 * noise_at(part, 0.0) - 8.0 * noise_at(part, lag) + 2.0 * noise_at(part, 2.0 * lag);
  };
  Eigen::Matrix3d a;
  for (std::size_t n = 0; n < 3; ++n) {
    const auto row = static_cast<Eigen::Index>(n);
    const double d = std::max(median(medians[n]).value_or(1.0), 1e-12);
    a.row(row) << expected({1, 0, 0}, n), expected({0, 1, 0}, n), expected({0, 0, 1}, n);
    a.row(row) /= d;
  }
  const Eigen::Vector3d part = non_negative(a, Eigen::Vector3d::Ones());
  // Each part has a floor: what the others explain on the middle of the places is not proof of
  // its absence.
  const double d0 = 1.0 / a(0, 0);
  return {std::max(part(0), 0.3 * d0), std::max(part(1), 0.5 * d0), std::max(part(2), 4.0 * d0)};
}

namespace {

/// What is the same for all places of a film.
struct Setting {
  Response response;
  Prior prior;
  LineShape shape;
  double contrast;
};

HaloVector overshoot_of(const Setting& s) { return s.shape.overshoot.value_or(s.response.halo); }

/// Places first to last, and the wider neighbourhood that tells their noise: cancellous bone is
/// coarser than the shaft.
struct Segment {
  Eigen::Index first, last, from, to;
};

Segment segment_at(Eigen::Index first, Eigen::Index all) {
  const Eigen::Index last = std::min(first + kSegment, all);
  return {first, last, std::max<Eigen::Index>(first - kSegment / 2, 0),
          std::min(last + kSegment / 2, all)};
}

/// Noise of the film's quieter parts: each kind's lower third over the segments.
Noise quiet_noise(const Eigen::MatrixXd& y) {
  std::array<std::vector<double>, 3> parts;
  for (Eigen::Index first = 0; first < y.cols(); first += kSegment) {
    const Segment s = segment_at(first, y.cols());
    const Noise n = estimate_noise(y.middleCols(s.from, s.to - s.from));
    parts[0].push_back(n.fine);
    parts[1].push_back(n.texture);
    parts[2].push_back(n.broad);
  }
  const auto third = [](std::vector<double>& values) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 3);
    std::nth_element(values.begin(), at, values.end());
    return *at;
  };
  return {third(parts[0]), third(parts[1]), third(parts[2])};
}

Eigen::LLT<Eigen::MatrixXd> null_of(const Setting& s, const Noise& noise, double step) {
  return Eigen::LLT<Eigen::MatrixXd>(null_covariance(s.response, noise, s.contrast, step));
}

/// The templates as one noise and one step to the metal show them.
struct Look {
  Look(const Setting& s, const Noise& noise, double step_to_metal)
      : step(step_to_metal),
        null(null_of(s, noise, step)),
        bank(make_bank(s.shape, overshoot_of(s), null)) {}
  double step;
  Eigen::LLT<Eigen::MatrixXd> null;
  Bank bank;
};

/// The profiles less the walls that explain them best.
Eigen::MatrixXd without_walls(const Setting& s, const Look& look, Eigen::MatrixXd y) {
  const auto& null = look.null;
  const EdgeTable edge(overshoot_of(s), s.shape.blur_mm);
  const Bank& bank = look.bank;
  const Eigen::MatrixXd b = bank.whitened.transpose() * null.matrixL().solve(y);
  for (Eigen::Index c = 0; c < y.cols(); ++c) {
    Explanation e(bank, b.col(c).data());
    for (int k = 0; k < 3; ++k) add_wall(e, bank, s.prior, {});
    for (int k = 0; k < e.size(); ++k) {
      y.col(c) -= e.amplitude(k) * line_template(bank.width[e.chosen(k)], 0.0, edge);
    }
  }
  return y;
}

/// What is left at one place for the halo to explain: amplitudes to add to the response's.
struct Leftover {
  HaloVector halo;
  double darkness = 0.0;  ///< of the first mm, positive = darker, as a share of the step
};

/// Leftovers of every second place under "no line", walls from kLeftoverWallMm outwards taken off.
std::vector<Leftover> leftovers(const Setting& s, const Look& look, const Eigen::MatrixXd& all) {
  const auto& null = look.null;
  const Bank& bank = look.bank;
  Eigen::MatrixXd y((all.rows()), (all.cols() + 1) / 2);
  for (Eigen::Index c = 0; c < y.cols(); ++c) y.col(c) = all.col(2 * c);
  const Eigen::MatrixXd white = null.matrixL().solve(y);
  const Eigen::MatrixXd b = bank.whitened.transpose() * white;
  const Eigen::MatrixXd shapes = halo_shapes();
  const Eigen::MatrixXd halo = null.matrixL().solve(Eigen::MatrixXd(look.step * shapes));
  std::vector<Leftover> out;
  const Eigen::RowVectorXd near = shapes.topRows(kNearSamples).colwise().mean();
  for (Eigen::Index c = 0; c < y.cols(); ++c) {
    Explanation e(bank, b.col(c).data());
    for (int k = 0; k < 2; ++k) {
      add_wall(e, bank, s.prior, {kLeftoverWallMm, 1e9, kLeftoverWallMm, kLeftoverWallMm});
    }
    Eigen::VectorXd left = white.col(c);
    for (int k = 0; k < e.size(); ++k) {
      left -= e.amplitude(k) * bank.whitened.col(static_cast<Eigen::Index>(e.chosen(k)));
    }
    const HaloVector h = s.response.covariance * (halo.transpose() * left);
    out.push_back({h, -near.dot(h)});
  }
  return out;
}

/// The response moved to what the whole interface has in common: a halo is everywhere, and a line
/// only adds darkness, so the brighter places tell. Their scatter becomes the doubt of one place.
Response settled(Response response, std::vector<Leftover> left) {
  if (left.size() < 25) return response;
  std::stable_sort(left.begin(), left.end(),
                   [](const Leftover& a, const Leftover& b) { return a.darkness < b.darkness; });
  const auto at = [&](double q) {
    return static_cast<std::size_t>(q * static_cast<double>(left.size()));
  };
  HaloVector mean = HaloVector::Zero();
  const std::size_t from = at(kBrightFrom);
  const std::size_t to = at(kBrightTo);
  for (std::size_t i = from; i < to; ++i) mean += left[i].halo / static_cast<double>(to - from);
  // Darker than the neck says only within its uncertainty: lines along most of the stem would pass
  // for a halo.
  const HaloVector near = halo_shapes().topRows(kNearSamples).colwise().mean().transpose();
  const double darker = -near.dot(mean);
  const double doubt = std::sqrt(near.dot(response.covariance * near));
  response.halo += (darker > doubt ? doubt / darker : 1.0) * mean;
  return response;
}

void weigh_segment(const Setting& s, const Look& look, const Eigen::MatrixXd& y,
                   std::vector<PlaceEvidence>& out) {
  const Eigen::MatrixXd white = look.null.matrixL().solve(y);
  const Eigen::MatrixXd b = look.bank.whitened.transpose() * white;
  for (Eigen::Index c = 0; c < b.cols(); ++c) {
    out.push_back(weigh_place(look.bank, b.col(c).data(), s.prior));
  }
}

}  // namespace

std::vector<PlaceEvidence> weigh_lines(const Profiles& profiles,
                                       const std::vector<std::size_t>& places,
                                       const std::vector<double>& steps, const Response& response,
                                       double contrast, const LineShape& shape, Halo mode) {
  const Eigen::VectorXd halo = halo_shapes() * response.halo;
  Eigen::MatrixXd y(kProfileSamples, static_cast<Eigen::Index>(places.size()));
  for (std::size_t i = 0; i < places.size(); ++i) {
    y.col(static_cast<Eigen::Index>(i)) =
        profiles.values.col(static_cast<Eigen::Index>(places[i])) - steps[i] * halo -
        Eigen::VectorXd::Constant(kProfileSamples, profiles.beyond[places[i]]);
  }
  const Prior prior{1.0 / (0.25 * contrast * contrast), 1.0 / (contrast * contrast), -1.0, -1.5,
                    -0.3};
  Setting setting{response, prior, shape, contrast};
  // The halo first, from the whole interface; then what is left when walls are taken off tells the
  // noise; then the noise weighs the lines.
  const Noise quiet = quiet_noise(y);
  const double usual_step = median(steps).value_or(1.0);
  const int rounds = mode == Halo::kSettled ? kHaloRounds : 0;
  for (int round = 0; round < rounds; ++round) {
    const Look look(setting, quiet, usual_step);
    const HaloVector before = setting.response.halo;
    setting.response = settled(setting.response, leftovers(setting, look, y));
    const Eigen::VectorXd change = halo_shapes() * (setting.response.halo - before);
    for (Eigen::Index i = 0; i < y.cols(); ++i) {
      y.col(i) -= steps[static_cast<std::size_t>(i)] * change;
    }
  }
  const Eigen::MatrixXd rest = without_walls(setting, Look(setting, quiet, usual_step), y);
  std::vector<PlaceEvidence> out;
  out.reserve(places.size());
  for (Eigen::Index first = 0; first < y.cols(); first += kSegment) {
    const Segment s = segment_at(first, y.cols());
    const Noise noise = estimate_noise(rest.middleCols(s.from, s.to - s.from));
    const auto step = steps[static_cast<std::size_t>((s.first + s.last) / 2)];
    weigh_segment(setting, Look(setting, noise, step), y.middleCols(s.first, s.last - s.first),
                  out);
  }
  return out;
}

}  // namespace tidemark::lucency
