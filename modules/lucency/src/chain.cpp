#include "chain.h"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "profiles.h"

namespace tidemark::lucency {
namespace {

/// Profiles of neighbouring places share their window and the bone's texture: one independent
/// profile in this length. House choice.
constexpr double kIndependentMm = 3.0;
/// Lines begin once in 100 mm and end once in 25 (house choice).
constexpr double kBeginPerMm = 0.01;
constexpr double kEndPerMm = 0.04;
/// Width changes by some 0.06 mm per mm; Laplace's law, so that steps are possible.
constexpr double kSlope = 0.06;

/// Probabilities of going from one state to another over one place; state 0 is no line.
Eigen::MatrixXd transitions(const std::vector<double>& width) {
  const auto n = static_cast<Eigen::Index>(width.size());
  const double begin = kBeginPerMm * kPlacePitchMm;
  const double end = kEndPerMm * kPlacePitchMm;
  Eigen::MatrixXd t = Eigen::MatrixXd::Zero(n + 1, n + 1);
  t(0, 0) = 1.0 - begin;
  for (Eigen::Index i = 0; i < n; ++i) {
    const auto a = static_cast<std::size_t>(i);
    t(0, i + 1) = begin / static_cast<double>(n);
    t(i + 1, 0) = end;
    double sum = 0.0;
    for (Eigen::Index k = 0; k < n; ++k) {
      const auto b = static_cast<std::size_t>(k);
      // The pitch of the widths doubles beyond 2 mm: weight by it.
      const double pitch = width[b] > 2.05 ? 2.0 : 1.0;
      t(i + 1, k + 1) =
          pitch * std::exp(-std::abs(width[a] - width[b]) / (kSlope * kPlacePitchMm + 0.03));
      sum += t(i + 1, k + 1);
    }
    t.row(i + 1).tail(n) *= (1.0 - end) / sum;
  }
  return t;
}

Eigen::MatrixXd emissions(const std::vector<PlaceEvidence>& places,
                          const std::vector<unsigned char>& judged, Eigen::Index states) {
  constexpr double kShare = kPlacePitchMm / kIndependentMm;
  Eigen::MatrixXd e = Eigen::MatrixXd::Ones(states, static_cast<Eigen::Index>(places.size()));
  for (std::size_t p = 0; p < places.size(); ++p) {
    if (judged[p] == 0) continue;
    for (Eigen::Index i = 1; i < states; ++i) {
      const double odds = places[p].log_odds[static_cast<std::size_t>(i - 1)];
      e(i, static_cast<Eigen::Index>(p)) = std::exp(kShare * std::clamp(odds, -60.0, 60.0));
    }
  }
  return e;
}

PlaceBelief belief_of(const Eigen::VectorXd& posterior, const PlaceEvidence& evidence,
                      const std::vector<double>& width) {
  PlaceBelief b;
  b.line = 1.0 - posterior(0);
  double sum = 0.0;
  double mean = 0.0;
  double square = 0.0;
  for (std::size_t i = 0; i < width.size(); ++i) {
    const double p = posterior(static_cast<Eigen::Index>(i + 1));
    sum += p;
    mean += p * width[i];
    square += p * width[i] * width[i];
    b.depth += p * evidence.depth[i];
    b.rim_log_odds += p * evidence.rim_log_odds[i];
  }
  if (!(sum > 0.0)) return b;
  b.width = mean / sum;
  b.width_u = std::sqrt(std::max(0.0, square / sum - b.width * b.width));
  b.depth /= sum;
  b.rim_log_odds /= sum;
  return b;
}

}  // namespace

std::vector<PlaceBelief> hear_neighbours(const std::vector<PlaceEvidence>& places,
                                         const std::vector<unsigned char>& judged,
                                         const std::vector<unsigned char>& joined) {
  const std::vector<double> width = line_widths();
  const auto states = static_cast<Eigen::Index>(width.size() + 1);
  const auto n = static_cast<Eigen::Index>(places.size());
  const Eigen::MatrixXd t = transitions(width);
  const Eigen::MatrixXd e = emissions(places, judged, states);
  Eigen::VectorXd start = Eigen::VectorXd::Constant(
      states, kBeginPerMm / (kBeginPerMm + kEndPerMm) / static_cast<double>(states - 1));
  start(0) = kEndPerMm / (kBeginPerMm + kEndPerMm);

  Eigen::MatrixXd forward(states, n);
  Eigen::VectorXd now(states);
  for (Eigen::Index p = 0; p < n; ++p) {
    if (p > 0 && joined[static_cast<std::size_t>(p)] != 0) {
      now.noalias() = t.transpose() * forward.col(p - 1);
    } else {
      now = start;
    }
    now.array() *= e.col(p).array();
    forward.col(p) = now / now.sum();
  }
  std::vector<PlaceBelief> out(places.size());
  Eigen::VectorXd back = Eigen::VectorXd::Ones(states);
  Eigen::VectorXd message(states);
  for (Eigen::Index p = n; p-- > 0;) {
    Eigen::VectorXd posterior = forward.col(p).cwiseProduct(back);
    posterior /= posterior.sum();
    out[static_cast<std::size_t>(p)] =
        belief_of(posterior, places[static_cast<std::size_t>(p)], width);
    if (joined[static_cast<std::size_t>(p)] == 0) {
      back.setOnes();
      continue;
    }
    message = e.col(p).cwiseProduct(back);
    back.noalias() = t * message;
    back /= back.sum();
  }
  return out;
}

}  // namespace tidemark::lucency
