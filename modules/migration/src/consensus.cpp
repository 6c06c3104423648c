#include "consensus.h"

#include <Eigen/Dense>
#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>

namespace tidemark::migration {
namespace {

constexpr std::size_t kMost = 10;  ///< opinions; features and landmarks are seven
/// Wild opinions in one story: of seven at a share of 0.1, more are wild once in 370 pairs.
constexpr int kMostWild = 3;

using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMost, 1>;
using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMost, kMost>;

Matrix outer(const Vector& v) { return v * v.transpose(); }

/// The opinions as vectors, and the covariance each source of error gives them.
struct Table {
  Vector y;
  Matrix own, scale;
  Matrix pose;                  ///< of what is open about each pose
  double flexion_variance = 0;  ///< of the flexion about each pose, rad^2
  Matrix depth;                 ///< of the features' depths: mm^2, per rad^2 of flexion
  Eigen::Matrix<double, Eigen::Dynamic, 3, 0, kMost, 3> lever;  ///< of flexion, turn and stretch
  Vector registered;                                            ///< 1 or 0
};

Table table_of(const std::vector<Opinion>& opinions, const SharedErrors& shared,
               const Trust& trust) {
  const auto n = static_cast<Eigen::Index>(opinions.size());
  Vector across(n);
  Vector level(n);
  Table t{.y = Vector(n),
          .own = Matrix::Zero(n, n),
          .scale = Matrix::Zero(n, n),
          .pose = Matrix::Zero(n, n),
          .flexion_variance = shared.pose.about_draw(0, 0),
          .depth = Matrix::Zero(n, n),
          .lever = {},
          .registered = Vector(n)};
  t.lever.resize(n, 3);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Opinion& o = opinions[static_cast<std::size_t>(i)];
    across(i) = o.at.x();
    level(i) = o.at.y();
    t.lever.row(i) << o.depth.mean_mm, o.at.x(), -o.at.y();
    t.y(i) = o.y;
    t.own(i, i) = o.variance;
    t.registered(i) = o.kind == VoteKind::kRegistered ? 1.0 : 0.0;
    for (Eigen::Index j = 0; j < n; ++j) {
      // A landmark lies as deep as the feature it belongs to.
      const Opinion& other = opinions[static_cast<std::size_t>(j)];
      if (other.feature == o.feature) t.depth(i, j) = o.depth.sd_mm * other.depth.sd_mm;
    }
  }
  t.own += shared.angle_u * shared.angle_u * outer(across);
  t.pose = t.lever * shared.pose.about_draw * t.lever.transpose();
  t.depth.array() += trust.stem_depth_mm * trust.stem_depth_mm;
  t.depth.array() += trust.shoulder_depth_mm * trust.shoulder_depth_mm;
  t.scale = shared.scale_u * shared.scale_u * outer(level);
  return t;
}

/// Which opinions are wild, with the covariance that adds to theirs.
struct Doubt {
  double log_prior = 0.0;
  Matrix added;
};

/// All stories with a chance, in a fixed order.
std::vector<Doubt> doubts_of(const Table& t, const Trust& trust) {
  const auto n = static_cast<std::size_t>(t.y.size());
  std::vector<Doubt> out;
  const bool may_slide = t.registered.sum() > 0.0;
  for (unsigned wild = 0; wild < (1U << n); ++wild) {
    if (std::popcount(wild) > kMostWild) continue;
    for (int slid = 0; slid < (may_slide ? 2 : 1); ++slid) {
      double chance = slid == 1 ? trust.slid : 1.0 - (may_slide ? trust.slid : 0.0);
      Doubt d{0.0, Matrix::Zero(t.y.size(), t.y.size())};
      if (slid == 1) d.added += trust.slid_mm * trust.slid_mm * outer(t.registered);
      for (std::size_t i = 0; i < n; ++i) {
        const auto at = static_cast<Eigen::Index>(i);
        const bool registered = t.registered(at) > 0.0;
        const double share = registered ? trust.wild : trust.landmark_wild;
        const bool is_wild = ((wild >> i) & 1U) != 0;
        chance *= is_wild ? share : 1.0 - share;
        if (is_wild) {
          d.added(at, at) += std::pow(registered ? trust.wild_mm : trust.landmark_wild_mm, 2);
        }
      }
      if (!(chance > 0.0)) continue;
      d.log_prior = std::log(chance);
      out.push_back(std::move(d));
    }
  }
  return out;
}

/// A story's answer in one pose; probability still as a logarithm, up to a constant.
struct Telling {
  Story story;
  double own, pose, scale;
  std::size_t draw;
};

std::optional<Telling> tell(const Table& t, const PoseDraw& pose, const Doubt& doubt) {
  const double flexion_square = pose.flexion * pose.flexion + t.flexion_variance;
  const Matrix by_pose = t.pose + flexion_square * t.depth;
  const Matrix own = t.own + doubt.added;
  const Eigen::LLT<Matrix> factor(own + by_pose + t.scale);
  if (factor.info() != Eigen::Success) return std::nullopt;
  const Vector y = t.y - t.lever * Eigen::Vector3d(pose.flexion, pose.turned, pose.stretch);
  const Vector ones = Vector::Ones(y.size());
  const Vector column = factor.solve(ones);
  const double information = ones.dot(column);
  const Vector w = column / information;
  const double mean = w.dot(y);
  const Vector rest = y.array() - mean;
  double log_determinant = 0.0;
  for (Eigen::Index i = 0; i < y.size(); ++i) {
    log_determinant += 2.0 * std::log(factor.matrixLLT()(i, i));
  }
  Telling out{};
  out.story = {std::log(pose.probability) + doubt.log_prior -
                   0.5 * (rest.dot(factor.solve(rest)) + log_determinant + std::log(information)),
               mean, 1.0 / information};
  out.own = w.dot(own * w);
  out.pose = w.dot(by_pose * w);
  out.scale = w.dot(t.scale * w);
  return out;
}

/// Probabilities out of logarithms, without the stories that have next to none.
void normalise(std::vector<Telling>& tellings) {
  constexpr double kNone = 1e-7;  // of the best
  double best = tellings.front().story.probability;
  for (const Telling& t : tellings) best = std::max(best, t.story.probability);
  double sum = 0.0;
  for (Telling& t : tellings) {
    t.story.probability = std::exp(t.story.probability - best);
    sum += t.story.probability;
  }
  std::erase_if(tellings, [](const Telling& t) { return t.story.probability < kNone; });
  for (Telling& t : tellings) t.story.probability /= sum;
}

/// Variance that the doubt about the pose makes: of the means given each pose.
double between_poses(const std::vector<Telling>& tellings, double mean, std::size_t poses) {
  std::vector<double> weight(poses, 0.0);
  std::vector<double> moment(poses, 0.0);
  for (const Telling& t : tellings) {
    weight[t.draw] += t.story.probability;
    moment[t.draw] += t.story.probability * (t.story.mean - mean);
  }
  double out = 0.0;
  for (std::size_t i = 0; i < poses; ++i) {
    if (weight[i] > 0.0) out += moment[i] * moment[i] / weight[i];
  }
  return out;
}

}  // namespace

std::optional<Consensus> consensus(const std::vector<Opinion>& opinions, const SharedErrors& shared,
                                   const Trust& trust) {
  if (opinions.empty() || opinions.size() > kMost) return std::nullopt;
  const Table table = table_of(opinions, shared, trust);
  const std::vector<Doubt> doubts = doubts_of(table, trust);
  const std::vector<PoseDraw>& poses = shared.pose.draws;
  std::vector<Telling> tellings;
  tellings.reserve(poses.size() * doubts.size());
  for (std::size_t i = 0; i < poses.size(); ++i) {
    for (const Doubt& doubt : doubts) {
      if (auto told = tell(table, poses[i], doubt)) {
        told->draw = i;
        tellings.push_back(*told);
      }
    }
  }
  if (tellings.empty()) return std::nullopt;
  normalise(tellings);
  Consensus c;
  for (const Telling& t : tellings) c.mean += t.story.probability * t.story.mean;
  double between = 0.0;
  for (const Telling& t : tellings) {
    const double p = t.story.probability;
    between += p * std::pow(t.story.mean - c.mean, 2);
    c.own += p * t.own;
    c.pose += p * t.pose;
    c.scale += p * t.scale;
    c.stories.push_back(t.story);
  }
  const double by_pose = between_poses(tellings, c.mean, poses.size());
  c.pose += by_pose;
  c.own += std::max(0.0, between - by_pose);
  c.variance = c.own + c.pose + c.scale;
  return c;
}

double half_width_95(const Consensus& c, double added) {
  const auto inside = [&](double half) {
    double p = 0.0;
    for (const Story& s : c.stories) {
      const double scale = 1.0 / std::sqrt(2.0 * std::max(1e-18, s.variance + added));
      p +=
          0.5 * s.probability *
          (std::erf((c.mean + half - s.mean) * scale) - std::erf((c.mean - half - s.mean) * scale));
    }
    return p;
  };
  double low = 0.0;
  double high = 1e-9;
  while (inside(high) < 0.95 && high < 1e6) high *= 2.0;
  for (int i = 0; i < 40; ++i) {
    const double middle = 0.5 * (low + high);
    (inside(middle) < 0.95 ? low : high) = middle;
  }
  return high;
}

}  // namespace tidemark::migration
