#include "mantle.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

namespace tidemark::lucency {
namespace {

/// Mantles are this thick. House choice; 2 to 4 mm is common practice.
constexpr double kThinnestMm = 0.9;
constexpr double kThickestMm = 5.05;
/// One place's border counts no more than this, and one independent profile in 3 mm.
constexpr double kMostOdds = 15.0;
constexpr double kShare = kPlacePitchMm / 3.0;
/// Price of a step of 0.2 mm of the border from place to place.
constexpr double kStepPrice = 1.5;

std::size_t first_state() {
  const auto& w = canal_widths();
  return static_cast<std::size_t>(std::lower_bound(w.begin(), w.end(), kThinnestMm) - w.begin());
}

std::size_t state_count() {
  const auto& w = canal_widths();
  const auto end = std::upper_bound(w.begin(), w.end(), kThickestMm);
  return static_cast<std::size_t>(end - w.begin()) - first_state();
}

/// Best course of states over the places (Viterbi).
std::vector<std::size_t> best_course(const std::vector<PlaceEvidence>& evidence) {
  const std::size_t n = state_count();
  const std::size_t base = first_state();
  std::vector<double> score(n, 0.0);
  std::vector<double> next(n);
  std::vector<std::size_t> from(evidence.size() * n, 0);
  for (std::size_t p = 0; p < evidence.size(); ++p) {
    for (std::size_t k = 0; k < n; ++k) {
      double best = -1e30;
      for (std::size_t i = 0; i < n; ++i) {
        const double steps = std::abs(static_cast<double>(i) - static_cast<double>(k));
        const double s = score[i] - kStepPrice * steps;
        if (s > best) {
          best = s;
          from[p * n + k] = i;
        }
      }
      next[k] = best + kShare * std::min(evidence[p].border_log_odds[base + k], kMostOdds);
    }
    score.swap(next);
  }
  std::vector<std::size_t> course(evidence.size());
  auto at = static_cast<std::size_t>(std::max_element(score.begin(), score.end()) - score.begin());
  for (std::size_t p = evidence.size(); p-- > 0;) {
    course[p] = at;
    at = from[p * n + at];
  }
  return course;
}

/// Steepest fall of the mean profile of neighbouring places within 0.4 mm of `guess_mm`.
double refined(const Profiles& profiles, const std::vector<std::size_t>& places, std::size_t at,
               double guess_mm) {
  constexpr std::size_t kHalf = 6;  // +- 3 mm
  constexpr std::size_t kReach = 4;
  const std::size_t a = at > kHalf ? at - kHalf : 0;
  const std::size_t b = std::min(at + kHalf, places.size() - 1);
  const int middle = static_cast<int>(std::lround((guess_mm - kProfileFromMm) / kProfilePitchMm));
  std::array<double, 2 * kReach + 1> fall{};
  for (std::size_t k = a; k <= b; ++k) {
    const auto y = profiles.values.col(static_cast<Eigen::Index>(places[k]));
    for (std::size_t d = 0; d < fall.size(); ++d) {
      const int i = std::clamp(middle + static_cast<int>(d) - static_cast<int>(kReach), 2,
                               kProfileSamples - 3);
      fall[d] += y(i - 2) - y(i + 2);
    }
  }
  double sum = 0.0;
  double mean = 0.0;
  for (std::size_t d = 0; d < fall.size(); ++d) {
    const double f = std::max(0.0, fall[d]);
    sum += f * f * f;
    mean += f * f * f * (static_cast<double>(d) - static_cast<double>(kReach));
  }
  return guess_mm + (sum > 0.0 ? kProfilePitchMm * mean / sum : 0.0);
}

/// What the border beside one place is worth at each distance, against the best.
Eigen::ArrayXd worth_of(const PlaceEvidence& place) {
  const auto first = place.border_log_odds.begin() + static_cast<std::ptrdiff_t>(first_state());
  const auto last = first + static_cast<std::ptrdiff_t>(state_count());
  const double top = *std::max_element(first, last);
  Eigen::ArrayXd out(static_cast<Eigen::Index>(state_count()));
  for (Eigen::Index k = 0; k < out.size(); ++k) {
    out(k) = std::exp(kShare * std::max(*(first + k) - top, -kMostOdds));
  }
  return out;
}

/// Probability of each distance beside each place, its neighbours heard: the prices of the best
/// course as a Markov chain (forward-backward).
Eigen::ArrayXXd spread_of(const std::vector<PlaceEvidence>& evidence) {
  const auto n = static_cast<Eigen::Index>(state_count());
  const auto places = static_cast<Eigen::Index>(evidence.size());
  Eigen::MatrixXd step(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index k = 0; k < n; ++k) {
      step(i, k) = std::exp(-kStepPrice * static_cast<double>(std::abs(i - k)));
    }
  }
  Eigen::ArrayXXd out(n, places);
  Eigen::VectorXd now = Eigen::VectorXd::Ones(n);
  for (Eigen::Index p = 0; p < places; ++p) {
    now = (step * now).array() * worth_of(evidence[static_cast<std::size_t>(p)]);
    now /= now.sum();
    out.col(p) = now.array();
  }
  Eigen::VectorXd back = Eigen::VectorXd::Ones(n);
  for (Eigen::Index p = places; p-- > 0;) {
    out.col(p) *= back.array();
    out.col(p) /= out.col(p).sum();
    back = step * (back.array() * worth_of(evidence[static_cast<std::size_t>(p)])).matrix();
    back /= back.sum();
  }
  return out;
}

}  // namespace

std::vector<MantleBorder> mantle_border(const Profiles& profiles,
                                        const std::vector<std::size_t>& places,
                                        const std::vector<PlaceEvidence>& evidence) {
  std::vector<MantleBorder> out;
  if (evidence.empty()) return out;
  const std::vector<std::size_t> course = best_course(evidence);
  const Eigen::ArrayXXd spread = spread_of(evidence);
  for (std::size_t p = 0; p < course.size(); ++p) {
    MantleBorder border{refined(profiles, places, p, canal_widths()[first_state() + course[p]]),
                        0.0};
    for (Eigen::Index k = 0; k < spread.rows(); ++k) {
      const double off = canal_widths()[first_state() + static_cast<std::size_t>(k)] - border.mm;
      border.u += spread(k, static_cast<Eigen::Index>(p)) * off * off;
    }
    border.u = std::sqrt(border.u);
    out.push_back(border);
  }
  return out;
}

}  // namespace tidemark::lucency
