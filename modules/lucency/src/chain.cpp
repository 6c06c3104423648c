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
/// Lines begin once in 100 mm and end once in 25, canals (marrow beside the stem) begin once in 30
/// and end once in 30 (house choice).
constexpr double kLineBegins = 0.01;
constexpr double kLineEnds = 0.04;
constexpr double kCanalBegins = 0.03;
constexpr double kCanalEnds = 0.03;
/// What one place says against a state counts no more than this. House choice.
constexpr double kMostOdds = 120.0;
/// A line's width stays, changes by one step of the grid (0.1 mm) or jumps, over one place.
constexpr double kStays = 0.916;
constexpr double kJumps = 0.004;
/// What is dark further than this with a straight wall may be a canal as well as a line.
constexpr double kWidestMm = 4.25;
/// A canal's wall nearer than this may hide a line.
constexpr double kNearWallMm = 3.1;
/// A canal's wall wanders: 0.2 mm per mm (Laplace's law).
constexpr double kCanalSlope = 0.2;

/// State 0: neither; then lines of each width; then canals of each width.
struct States {
  Eigen::Index lines = static_cast<Eigen::Index>(line_widths().size());
  Eigen::Index canals = static_cast<Eigen::Index>(canal_widths().size());
  [[nodiscard]] Eigen::Index all() const { return 1 + lines + canals; }
};

/// Shares of a line's next width given this one; sums to 1.
Eigen::RowVectorXd next_width(Eigen::Index from, Eigen::Index n) {
  Eigen::RowVectorXd row(n);
  for (Eigen::Index k = 0; k < n; ++k) {
    const auto apart = std::abs(k - from);
    row(k) = kJumps / static_cast<double>(n) + (apart == 0   ? kStays
                                                : apart == 1 ? 0.5 * (1.0 - kStays - kJumps)
                                                             : 0.0);
  }
  return row / row.sum();
}

Eigen::RowVectorXd next_wall(Eigen::Index from, Eigen::Index n) {
  Eigen::RowVectorXd row(n);
  for (Eigen::Index k = 0; k < n; ++k) {
    const double apart = std::abs(canal_widths()[static_cast<std::size_t>(k)] -
                                  canal_widths()[static_cast<std::size_t>(from)]);
    row(k) = std::exp(-apart / (kCanalSlope * kPlacePitchMm + 0.04));
  }
  return row / row.sum();
}

Eigen::RowVectorXd any_width(Eigen::Index n) {
  Eigen::RowVectorXd row(n);
  // Wide lines are rarer than canals of that width: halved with each 0.7 mm beyond 2 mm.
  for (Eigen::Index k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(k);
    row(k) = std::exp(-std::max(0.0, line_widths()[i] - 2.0));
  }
  return row / row.sum();
}

/// Probabilities of going from one state to another over one place.
Eigen::MatrixXd transitions() {
  const States s;
  const double d = kPlacePitchMm;
  const auto even = Eigen::RowVectorXd::Constant(s.canals, 1.0 / static_cast<double>(s.canals));
  const Eigen::RowVectorXd any = any_width(s.lines);
  Eigen::MatrixXd t = Eigen::MatrixXd::Zero(s.all(), s.all());
  t(0, 0) = 1.0 - d * (kLineBegins + kCanalBegins);
  t.row(0).segment(1, s.lines) = d * kLineBegins * any;
  t.row(0).tail(s.canals) = d * kCanalBegins * even;
  for (Eigen::Index i = 0; i < s.lines; ++i) {
    t(1 + i, 0) = 0.5 * d * kLineEnds;
    t.row(1 + i).segment(1, s.lines) = (1.0 - d * kLineEnds) * next_width(i, s.lines);
    t.row(1 + i).tail(s.canals) = 0.5 * d * kLineEnds * even;
  }
  for (Eigen::Index i = 0; i < s.canals; ++i) {
    const Eigen::Index row = 1 + s.lines + i;
    t(row, 0) = d * kCanalEnds;
    t.row(row).segment(1, s.lines) = d * kLineBegins * any;
    t.row(row).tail(s.canals) = (1.0 - d * (kCanalEnds + kLineBegins)) * next_wall(i, s.canals);
  }
  return t;
}

Eigen::VectorXd beginning() {
  const States s;
  Eigen::VectorXd p(s.all());
  p(0) = 0.5;
  p.segment(1, s.lines) = 0.15 * any_width(s.lines).transpose();
  p.tail(s.canals).setConstant(0.35 / static_cast<double>(s.canals));
  return p;
}

Eigen::MatrixXd emissions(const std::vector<PlaceEvidence>& places,
                          const std::vector<unsigned char>& judged) {
  constexpr double kShare = kPlacePitchMm / kIndependentMm;
  const States s;
  Eigen::MatrixXd e = Eigen::MatrixXd::Ones(s.all(), static_cast<Eigen::Index>(places.size()));
  for (std::size_t p = 0; p < places.size(); ++p) {
    if (judged[p] == 0) continue;
    // Against the best of all: what is clear stays clear, and nothing overflows.
    double top = 0.0;
    for (const double odds : places[p].log_odds) top = std::max(top, odds);
    for (const double odds : places[p].canal_log_odds) top = std::max(top, odds);
    const auto weight = [&](double odds) {
      return std::exp(kShare * std::max(odds - top, -kMostOdds));
    };
    e(0, static_cast<Eigen::Index>(p)) = weight(0.0);
    auto column = e.col(static_cast<Eigen::Index>(p));
    for (Eigen::Index i = 0; i < s.lines; ++i) {
      column(1 + i) = weight(places[p].log_odds[static_cast<std::size_t>(i)]);
    }
    for (Eigen::Index i = 0; i < s.canals; ++i) {
      column(1 + s.lines + i) = weight(places[p].canal_log_odds[static_cast<std::size_t>(i)]);
    }
  }
  return e;
}

PlaceBelief belief_of(const Eigen::VectorXd& posterior, const PlaceEvidence& evidence) {
  const std::vector<double>& width = line_widths();
  PlaceBelief b;
  double sum = 0.0;
  double mean = 0.0;
  double square = 0.0;
  const States s;
  for (Eigen::Index i = 0; i < s.canals; ++i) {
    const double wall = canal_widths()[static_cast<std::size_t>(i)];
    const double p = posterior(1 + s.lines + i);
    if (wall < kNearWallMm) b.near_wall += p;
    b.canal += p;
    b.wall += p * wall;
  }
  if (b.canal > 0.0) b.wall /= b.canal;
  for (std::size_t i = 0; i < width.size(); ++i) {
    const double p = posterior(static_cast<Eigen::Index>(i + 1));
    if (width[i] > kWidestMm) {
      b.near_wall += p;  // a canal, or a line wider than is told
      continue;
    }
    sum += p;
    mean += p * width[i];
    square += p * width[i] * width[i];
    b.depth += p * evidence.depth[i];
    b.rim_log_odds += p * evidence.rim_log_odds[i];
  }
  b.line = sum;
  b.none = posterior(0);
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
  const Eigen::Index states = States{}.all();
  const auto n = static_cast<Eigen::Index>(places.size());
  const Eigen::MatrixXd t = transitions();
  const Eigen::MatrixXd e = emissions(places, judged);
  const Eigen::VectorXd start = beginning();

  Eigen::MatrixXd forward(states, n);
  Eigen::VectorXd now(states);
  for (Eigen::Index p = 0; p < n; ++p) {
    if (p > 0 && joined[static_cast<std::size_t>(p)] != 0) {
      now = t.transpose() * forward.col(p - 1);
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
    out[static_cast<std::size_t>(p)] = belief_of(posterior, places[static_cast<std::size_t>(p)]);
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
