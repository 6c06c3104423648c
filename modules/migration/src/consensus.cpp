#include "consensus.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace tidemark::migration {
namespace {

/// Stories double with every opinion; features and landmarks are seven.
constexpr std::size_t kMost = 10;

Eigen::MatrixXd outer(const Eigen::VectorXd& v) { return v * v.transpose(); }

/// The opinions as vectors, and the covariance each source of error gives them.
struct Table {
  Eigen::VectorXd y;  ///< after the expected pose was taken off
  Eigen::MatrixXd own, pose, scale;
  Eigen::VectorXd registered;  ///< 1 or 0
};

Table table_of(const std::vector<Opinion>& opinions, const SharedErrors& shared,
               const Trust& trust) {
  const auto n = static_cast<Eigen::Index>(opinions.size());
  const PoseChange& p = shared.pose;
  const double flexion = p.flexion_rms_rad();
  Eigen::VectorXd across(n);
  Eigen::VectorXd level(n);
  Eigen::MatrixXd lever(n, 3);
  Table t{Eigen::VectorXd(n), Eigen::MatrixXd::Zero(n, n), Eigen::MatrixXd::Zero(n, n),
          Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd(n)};
  for (Eigen::Index i = 0; i < n; ++i) {
    const Opinion& o = opinions[static_cast<std::size_t>(i)];
    across(i) = o.at.x();
    level(i) = o.at.y();
    lever.row(i) << o.depth.mean_mm, o.at.x(), -o.at.y();
    t.y(i) = o.y - lever.row(i).dot(Eigen::Vector3d(p.flexion_rad, p.turned_rad, p.stretch));
    t.own(i, i) = o.variance;
    t.registered(i) = o.kind == VoteKind::kRegistered ? 1.0 : 0.0;
    for (Eigen::Index j = 0; j < n; ++j) {
      // A landmark lies as deep as the feature it belongs to.
      const Opinion& other = opinions[static_cast<std::size_t>(j)];
      if (other.feature == o.feature) {
        t.pose(i, j) = flexion * flexion * o.depth.sd_mm * other.depth.sd_mm;
      }
    }
  }
  t.own += shared.angle_u * shared.angle_u * outer(across);
  t.pose += lever * p.covariance * lever.transpose();
  t.pose.array() += std::pow(flexion * trust.stem_depth_mm, 2);
  t.scale = shared.scale_u * shared.scale_u * outer(level);
  return t;
}

/// A story's answer; probability still as a logarithm, up to a constant.
struct Telling {
  Story story;
  double own, pose, scale;
};

std::optional<Telling> tell(const Table& t, const Eigen::MatrixXd& own, double log_prior) {
  const Eigen::MatrixXd v = own + t.pose + t.scale;
  const Eigen::LLT<Eigen::MatrixXd> factor(v);
  if (factor.info() != Eigen::Success) return std::nullopt;
  const Eigen::VectorXd ones = Eigen::VectorXd::Ones(t.y.size());
  const Eigen::VectorXd column = factor.solve(ones);
  const double information = ones.dot(column);
  const Eigen::VectorXd w = column / information;
  const double mean = w.dot(t.y);
  const Eigen::VectorXd rest = t.y.array() - mean;
  const double log_determinant =
      2.0 * Eigen::MatrixXd(factor.matrixL()).diagonal().array().log().sum();
  Telling out{};
  out.story = {
      log_prior - 0.5 * (rest.dot(factor.solve(rest)) + log_determinant + std::log(information)),
      mean, 1.0 / information};
  out.own = w.dot(own * w);
  out.pose = w.dot(t.pose * w);
  out.scale = w.dot(t.scale * w);
  return out;
}

/// All stories with a chance, in a fixed order.
std::vector<Telling> tell_all(const Table& t, const Trust& trust) {
  const auto n = static_cast<std::size_t>(t.y.size());
  std::vector<Telling> out;
  const bool may_slide = t.registered.sum() > 0.0;
  for (std::size_t wild = 0; wild < (std::size_t{1} << n); ++wild) {
    for (int slid = 0; slid < (may_slide ? 2 : 1); ++slid) {
      double chance = slid == 1 ? trust.slid : 1.0 - (may_slide ? trust.slid : 0.0);
      Eigen::MatrixXd own = t.own;
      if (slid == 1) own += trust.slid_mm * trust.slid_mm * outer(t.registered);
      for (std::size_t i = 0; i < n; ++i) {
        const auto at = static_cast<Eigen::Index>(i);
        const bool registered = t.registered(at) > 0.0;
        const double share = registered ? trust.wild : trust.landmark_wild;
        const bool is_wild = ((wild >> i) & 1U) != 0;
        chance *= is_wild ? share : 1.0 - share;
        if (is_wild) {
          own(at, at) += std::pow(registered ? trust.wild_mm : trust.landmark_wild_mm, 2);
        }
      }
      if (!(chance > 0.0)) continue;
      if (const auto told = tell(t, own, std::log(chance))) out.push_back(*told);
    }
  }
  return out;
}

}  // namespace

std::optional<Consensus> consensus(const std::vector<Opinion>& opinions, const SharedErrors& shared,
                                   const Trust& trust) {
  if (opinions.empty() || opinions.size() > kMost) return std::nullopt;
  std::vector<Telling> tellings = tell_all(table_of(opinions, shared, trust), trust);
  if (tellings.empty()) return std::nullopt;
  double best = tellings.front().story.probability;
  for (const Telling& t : tellings) best = std::max(best, t.story.probability);
  double sum = 0.0;
  for (Telling& t : tellings) {
    t.story.probability = std::exp(t.story.probability - best);
    sum += t.story.probability;
  }
  Consensus c;
  for (Telling& t : tellings) {
    t.story.probability /= sum;
    c.mean += t.story.probability * t.story.mean;
  }
  double between = 0.0;
  for (const Telling& t : tellings) {
    const double p = t.story.probability;
    between += p * std::pow(t.story.mean - c.mean, 2);
    c.own += p * t.own;
    c.pose += p * t.pose;
    c.scale += p * t.scale;
    c.stories.push_back(t.story);
  }
  c.own += between;
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
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (inside(middle) < 0.95 ? low : high) = middle;
  }
  return high;
}

}  // namespace tidemark::migration
