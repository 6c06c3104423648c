#include "circles.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {
namespace {

constexpr double kTwoPi = 2.0 * std::numbers::pi;

cv::Mat1f magnitude(const Gradient& g) {
  cv::Mat1f m;
  cv::magnitude(g.x, g.y, m);
  return m;
}

/// Votes of all strong edges for centres that lie up-gradient from them.
cv::Mat1f centre_votes(const Gradient& g, const cv::Mat1f& strength, double threshold,
                       double radius_min, double radius_max) {
  cv::Mat1f votes = blank<cv::Mat1f>(strength.size());
  const int steps = static_cast<int>(std::floor(radius_max - radius_min));
  for (int y = 1; y + 1 < strength.rows; ++y) {
    for (int x = 1; x + 1 < strength.cols; ++x) {
      const float m = strength(y, x);
      if (m < threshold) continue;
      const double dx = g.x(y, x) / m;
      const double dy = g.y(y, x) / m;
      for (int i = 0; i <= steps; ++i) {
        const double r = radius_min + i;
        const double across = x + r * dx + 0.5;
        const double down = y + r * dy + 0.5;
        if (!(across > 0.0 && down > 0.0)) break;
        const int cx = static_cast<int>(across);  // rounded: both are positive
        const int cy = static_cast<int>(down);
        if (cx >= votes.cols || cy >= votes.rows) break;
        votes(cy, cx) += 1.0F;
      }
    }
  }
  cv::GaussianBlur(votes, votes, {}, 1.5);
  return votes;
}

/// Normalised inward gradient, averaged over the rim of a circle.
double rim_strength(const Gradient& g, double floor, const Circle2& c) {
  const int n = std::max(24, static_cast<int>(kTwoPi * c.radius));
  double sum = 0.0;
  for (int i = 0; i < n; ++i) {
    const double a = kTwoPi * i / n;
    const Vec2 out(std::cos(a), std::sin(a));
    const Between at = between(g.x.size(), c.centre + c.radius * out);
    const double gx = sample_at(g.x, at);
    const double gy = sample_at(g.y, at);
    const double inward = -(gx * out.x() + gy * out.y());
    // Half-saturated: one overwhelming stretch of rim must not stand for the whole circle.
    sum += std::clamp(inward / (length_of(gx, gy) + floor), 0.0, 1.0);
  }
  return sum / n;
}

DiscCandidate refine(const Gradient& g, double floor, DiscCandidate start) {
  for (double step : {1.0, 0.5}) {
    bool better = true;
    for (int round = 0; better && round < 12; ++round) {
      better = false;
      for (const auto& move :
           {Eigen::Vector3d(1, 0, 0), Eigen::Vector3d(0, 1, 0), Eigen::Vector3d(0, 0, 1)}) {
        for (const double sign : {-1.0, 1.0}) {
          Circle2 c = start.circle;
          c.centre += sign * step * move.head<2>();
          c.radius += sign * step * move.z();
          const double rim = rim_strength(g, floor, c);
          if (rim > start.rim + 1e-9) {
            start = {c, rim};
            better = true;
          }
        }
      }
    }
  }
  return start;
}

/// The best few radii at one centre.
std::vector<DiscCandidate> radii_at(const Gradient& g, double floor, const Vec2& centre,
                                    double radius_min, double radius_max) {
  std::vector<double> rims;
  for (int i = 0; i <= static_cast<int>(std::floor(radius_max - radius_min)); ++i) {
    rims.push_back(rim_strength(g, floor, {centre, radius_min + i}));
  }
  std::vector<DiscCandidate> found;
  for (std::size_t i = 0; i < rims.size(); ++i) {
    const bool peak =
        (i == 0 || rims[i] >= rims[i - 1]) && (i + 1 == rims.size() || rims[i] > rims[i + 1]);
    if (peak && rims[i] > 0.15) {
      found.push_back({{centre, radius_min + static_cast<double>(i)}, rims[i]});
    }
  }
  std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.rim > b.rim; });
  if (found.size() > 2) found.resize(2);
  return found;
}

bool same_disc(const DiscCandidate& a, const DiscCandidate& b) {
  return (a.circle.centre - b.circle.centre).norm() < 0.15 * a.circle.radius &&
         std::abs(a.circle.radius - b.circle.radius) < 0.08 * a.circle.radius;
}

}  // namespace

std::vector<DiscCandidate> find_discs(const cv::Mat1f& image, double radius_min, double radius_max,
                                      int most) {
  const Gradient g = gradient(image);
  const cv::Mat1f strength = magnitude(g);
  const double threshold = quantile(strength, 0.90);
  const double floor = quantile(strength, 0.95);
  std::vector<DiscCandidate> found;
  // Band by band: among all radii at once the many small circles of any texture drown a large one.
  constexpr double kBand = 1.3;
  constexpr int kPeaks = 5;
  double low = radius_min;
  while (low < radius_max) {
    const double high = std::min(radius_max, low * kBand);
    cv::Mat1f votes = centre_votes(g, strength, threshold, low, high);
    for (int k = 0; k < kPeaks; ++k) {
      cv::Point at;
      double peak = 0.0;
      cv::minMaxLoc(votes, nullptr, &peak, nullptr, &at);
      if (peak <= 0.0) break;
      cv::circle(votes, at, static_cast<int>(0.3 * low) + 1, cv::Scalar(0), cv::FILLED);
      for (DiscCandidate c : radii_at(g, floor, {at.x, at.y}, low, high)) {
        c = refine(g, floor, c);
        const auto twin = std::find_if(found.begin(), found.end(),
                                       [&](const auto& other) { return same_disc(c, other); });
        if (twin == found.end()) {
          found.push_back(c);
        } else if (c.rim > twin->rim) {
          *twin = c;
        }
      }
    }
    low *= kBand;
  }
  std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.rim > b.rim; });
  if (static_cast<int>(found.size()) > most) found.resize(static_cast<std::size_t>(most));
  return found;
}

std::vector<RimPoint> rim_points(const cv::Mat1f& film, const Circle2& start, double reach,
                                 double sigma) {
  constexpr int kRays = 360;
  constexpr double kStep = 0.5;
  const std::vector<float> weights = gaussian_weights(sigma / kStep);
  std::vector<RimPoint> points;
  for (int i = 0; i < kRays; ++i) {
    const double a = kTwoPi * i / kRays;
    const Vec2 out(std::cos(a), std::sin(a));
    const Vec2 middle = start.centre + start.radius * out;
    if (middle.x() < 1 || middle.y() < 1 || middle.x() > film.cols - 2 ||
        middle.y() > film.rows - 2) {
      continue;
    }
    const auto values = profile(film, middle, out, reach, kStep, 3);
    const Edge edge = steepest(values, weights, -1);
    const std::size_t at_start = values.size() / 2;
    const double offset = (edge.index - static_cast<double>(at_start)) * kStep;
    if (std::abs(offset) < 0.95 * reach && edge.strength > 0.0) {
      points.push_back({middle + offset * out, edge.strength});
    }
  }
  // Rays that meet nothing but noise must not outnumber a short true arc.
  double strongest = 0.0;
  for (const RimPoint& q : points) strongest = std::max(strongest, q.strength);
  std::erase_if(points, [&](const RimPoint& q) { return q.strength < 0.12 * strongest; });
  return points;
}

namespace {

double median(std::vector<double> v) {
  const auto mid = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), mid, v.end());
  return *mid;
}

/// Circle through the consensus of the points: exhaustive pairs are not needed, the start is good;
/// iteratively re-weighted geometric least squares with a shrinking Tukey window.
struct Consensus {
  Circle2 circle;
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  double weight = 0.0;
  double sd = 0.0;
  int inliers = 0;
  double strength = 0.0;  ///< median of the inliers' edges
};

Consensus fit_consensus(const std::vector<RimPoint>& points, Circle2 c, double window,
                        double last_window) {
  Consensus out;
  const double typical = [&] {
    std::vector<double> s;
    s.reserve(points.size());
    for (const auto& q : points) s.push_back(q.strength);
    return median(s);
  }();
  for (int round = 0; round < 25; ++round) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    std::vector<double> inside;
    std::vector<double> edges;
    double weight_sum = 0.0;
    for (const auto& q : points) {
      const Vec2 d = q.p - c.centre;
      const double rho = d.norm();
      const double e = rho - c.radius;
      if (std::abs(e) >= window) continue;
      const double t = 1.0 - (e / window) * (e / window);
      const double w = t * t * std::min(1.0, q.strength / typical);
      const Eigen::Vector3d row(d.x() / rho, d.y() / rho, 1.0);
      normal += w * row * row.transpose();
      right += w * e * row;
      weight_sum += w;
      inside.push_back(std::abs(e));
      edges.push_back(q.strength);
    }
    if (inside.size() < 20) return out;
    const Eigen::Vector3d step = normal.ldlt().solve(right);
    c.centre += step.head<2>();
    c.radius += step.z();
    out = {c,
           normal,
           weight_sum,
           1.4826 * median(inside),
           static_cast<int>(inside.size()),
           median(edges)};
    window = std::max(last_window, 0.75 * window);
    if (round > 10 && step.norm() < 1e-4) break;
  }
  return out;
}

}  // namespace

std::optional<RimFit> fit_rim(const cv::Mat1f& film, const Circle2& start, double reach,
                              double sigma) {
  auto points = rim_points(film, start, reach, sigma);
  if (points.size() < 25) return std::nullopt;
  Consensus rough = fit_consensus(points, start, reach, std::max(2.0, 0.25 * reach));
  if (rough.inliers == 0) return std::nullopt;
  // Second look, closer to the circle, so that the cup's rim or the neck cannot be preferred.
  const double close = std::max(3.0, 0.3 * reach);
  points = rim_points(film, rough.circle, close, sigma);
  if (points.size() < 25) return std::nullopt;
  const Consensus fine = fit_consensus(points, rough.circle, close, std::max(0.8, 4.0 * 0.25));
  if (fine.inliers == 0) return std::nullopt;
  // Neighbouring rays share pixels: one independent edge per smoothing length along the rim.
  const double rim_length = kTwoPi * fine.circle.radius;
  const double per_ray = rim_length / 360.0;
  const double thinning = std::max(1.0, 3.0 * sigma / per_ray);
  const Eigen::Matrix3d covariance = fine.sd * fine.sd * thinning * fine.normal.inverse();
  RimFit fit;
  fit.circle = fine.circle;
  fit.centre_u = std::sqrt(0.5 * (covariance(0, 0) + covariance(1, 1)));
  fit.radius_u = std::sqrt(covariance(2, 2));
  fit.seen = fine.inliers / 360.0;
  fit.residual = fine.sd;
  fit.strength = fine.strength;
  return fit;
}

}  // namespace tidemark::anatomy
