#include "stem_outline.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "flank_bumps.h"
#include "shoulder.h"
#include "stem_axis.h"
#include "tidemark/core/robust.h"

namespace tidemark::anatomy {
namespace {

/// The largest outer ring of a mask, in px of the film, clockwise or not.
Polyline outer_ring(const cv::Mat1b& mask, const Scaled& scale) {
  std::vector<std::vector<cv::Point>> rings;
  cv::findContours(mask, rings, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  if (rings.empty()) return {};
  const auto largest = std::max_element(
      rings.begin(), rings.end(),
      [](const auto& a, const auto& b) { return cv::contourArea(a) < cv::contourArea(b); });
  Polyline out;
  for (const cv::Point& p : *largest) out.push_back(scale.to_film(Vec2(p.x, p.y)));
  return out;
}

/// The part of a ring outside a circle, as the longest open chain.
Polyline open_at(const Polyline& ring, const Circle2& hole) {
  const std::size_t n = ring.size();
  std::vector<bool> out(n);
  for (std::size_t i = 0; i < n; ++i) out[i] = (ring[i] - hole.centre).norm() > hole.radius;
  std::size_t best = 0;
  std::size_t best_length = 0;
  std::size_t run = 0;
  for (std::size_t i = 0; i < 2 * n; ++i) {
    run = out[i % n] ? run + 1 : 0;
    if (run > best_length && run <= n) {
      best_length = run;
      best = i + 1 - run;
    }
  }
  Polyline chain;
  for (std::size_t i = best; i < best + best_length; ++i) chain.push_back(ring[i % n]);
  return chain;
}

/// Points at equal steps along a chain.
Polyline resampled(const Polyline& chain, double step) {
  Polyline out;
  if (chain.size() < 2) return out;
  double need = 0.0;
  for (std::size_t i = 0; i + 1 < chain.size(); ++i) {
    const Vec2 d = chain[i + 1] - chain[i];
    const double length = d.norm();
    while (need <= length && length > 0.0) {
      out.push_back(chain[i] + need / length * d);
      need += step;
    }
    need -= length;
  }
  return out;
}

Polyline smoothed(const Polyline& chain, int half) {
  Polyline out = chain;
  const int n = static_cast<int>(chain.size());
  for (int i = 0; i < n; ++i) {
    const int h = std::min({half, i, n - 1 - i});
    Vec2 sum = Vec2::Zero();
    for (int k = i - h; k <= i + h; ++k) sum += chain[static_cast<std::size_t>(k)];
    out[static_cast<std::size_t>(i)] = sum / (2.0 * h + 1.0);
  }
  return out;
}

struct Snapped {
  Polyline points;
  Polyline normal;             ///< outward
  std::vector<double> offset;  ///< along the normal
  std::vector<double> fall;    ///< steepest, in grey values a sample
  std::vector<double> step;    ///< grey step across the edge
};

/// Points across which the film does not fall stay where they are: a stem that the film's end cuts
/// has no edge there, and on clipped metal the steepest place of a flat profile is its first one.
void keep_where_flat(const Polyline& chain, Snapped& s) {
  constexpr double kOfUsual = 0.1;  // house choice
  const double least = kOfUsual * median(s.fall).value_or(0.0);
  for (std::size_t i = 0; i < chain.size(); ++i) {
    if (s.fall[i] > least) continue;
    s.offset[i] = 0.0;
    s.points[i] = chain[i];
  }
}

/// Moves every point to the steepest fall from metal to its surroundings, along the local normal.
Snapped snap(const cv::Mat1f& film, const Polyline& chain, double reach, double sigma,
             const Vec2& inside) {
  const int n = static_cast<int>(chain.size());
  constexpr double kStep = 0.5;
  const std::vector<float> weights = gaussian_weights(sigma / kStep);
  Snapped s;
  // Is the inside to the left or to the right of the walk?
  double area = 0.0;
  for (int i = 0; i + 1 < n; ++i) {
    const Vec2 a = chain[static_cast<std::size_t>(i)] - inside;
    const Vec2 b = chain[static_cast<std::size_t>(i) + 1] - inside;
    area += a.x() * b.y() - a.y() * b.x();
  }
  const double turn = area > 0.0 ? 1.0 : -1.0;
  for (int i = 0; i < n; ++i) {
    const Vec2& before = chain[static_cast<std::size_t>(std::max(0, i - 3))];
    const Vec2& after = chain[static_cast<std::size_t>(std::min(n - 1, i + 3))];
    const Vec2 t = (after - before).normalized();
    const Vec2 out = turn * Vec2(t.y(), -t.x());
    const Vec2& p = chain[static_cast<std::size_t>(i)];
    const auto values = profile(film, p, out, reach, kStep, 3);
    const Edge e = steepest(values, weights, -1);
    const std::size_t middle = values.size() / 2;
    const double offset = (e.index - static_cast<double>(middle)) * kStep;
    s.offset.push_back(offset);
    s.fall.push_back(e.strength);
    s.normal.push_back(out);
    s.points.push_back(p + offset * out);
    const auto at =
        static_cast<std::size_t>(std::clamp(e.index, 0.0, static_cast<double>(values.size() - 1)));
    const auto reach_samples = static_cast<std::size_t>(std::max(2.0, 3.0 * sigma / kStep));
    const float high = values[at > reach_samples ? at - reach_samples : 0];
    const float low = values[std::min(values.size() - 1, at + reach_samples)];
    s.step.push_back(high - low);
  }
  keep_where_flat(chain, s);
  return s;
}

/// Points whose offset leaves their neighbours' company are pulled back to the local median.
Polyline without_outliers(const Polyline& base, const Snapped& s, double tolerance) {
  const int n = static_cast<int>(base.size());
  Polyline out = s.points;
  for (int i = 0; i < n; ++i) {
    std::vector<double> near;
    for (int k = std::max(0, i - 4); k <= std::min(n - 1, i + 4); ++k) {
      near.push_back(s.offset[static_cast<std::size_t>(k)]);
    }
    const double middle = median(near).value_or(0.0);
    const auto at = static_cast<std::size_t>(i);
    if (std::abs(s.offset[at] - middle) > tolerance) out[at] = base[at] + middle * s.normal[at];
  }
  return out;
}

/// Where the axis leaves the outline at its distal end: a parabola along = a + b x + c
/// x^2 through the outline within `half_width` of the axis. On a round tip that is the most distal
/// point; on a flat or bevelled end, whose most distal point jumps from corner to corner, its
/// middle.
Vec2 end_on_axis(const Polyline& outline, const Line2& axis, double half_width) {
  const Vec2 medial = medial_of(axis);
  double end = -1e9;
  for (const Vec2& p : outline) {
    if (std::abs(medial.dot(p - axis.point)) <= half_width) end = std::max(end, along(axis, p));
  }
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  int n = 0;
  for (const Vec2& p : outline) {
    const double x = medial.dot(p - axis.point);
    const double s = along(axis, p);
    if (std::abs(x) > half_width || s < end - 2.0 * half_width) continue;
    const Eigen::Vector3d row(1.0, x, x * x);
    normal += row * row.transpose();
    right += s * row;
    ++n;
  }
  if (n < 6) return axis.point + end * axis.direction;
  return axis.point + normal.ldlt().solve(right)(0) * axis.direction;
}

/// The tip, and u of its place along the axis. What a narrower piece of the outline says otherwise
/// is what a slender end has lost in the tracing, which rounds what is narrower than some 3 mm.
Landmark tip_of(const Polyline& outline, const Line2& axis, double edge_noise_px, double px) {
  constexpr double kWideMm = 2.0;
  constexpr double kNarrowMm = 1.0;
  const Vec2 tip = end_on_axis(outline, axis, kWideMm * px);
  const double lost = (tip - end_on_axis(outline, axis, kNarrowMm * px)).norm();
  return {tip, std::hypot(std::max(0.15 * px, 2.0 * edge_noise_px), lost), Source::kFound};
}

Line2 rough_axis(const Polyline& outline) {
  // Second moments of the distal half.
  double low = 1e9;
  double high = -1e9;
  for (const Vec2& p : outline) {
    low = std::min(low, p.y());
    high = std::max(high, p.y());
  }
  Vec2 mean = Vec2::Zero();
  int n = 0;
  for (const Vec2& p : outline) {
    if (p.y() > 0.5 * (low + high)) {
      mean += p;
      ++n;
    }
  }
  mean /= std::max(1, n);
  Eigen::Matrix2d scatter = Eigen::Matrix2d::Zero();
  for (const Vec2& p : outline) {
    if (p.y() > 0.5 * (low + high)) scatter += (p - mean) * (p - mean).transpose();
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> solver(scatter);
  Vec2 direction = solver.eigenvectors().col(1);
  if (direction.y() < 0.0) direction = -direction;
  return {mean, direction};
}

}  // namespace

std::optional<StemShape> trace_outline(const cv::Mat1f& film, const Scaled& mask_scale,
                                       const cv::Mat1b& mask, const Circle2& head,
                                       double mm_per_px) {
  const double px = 1.0 / mm_per_px;  // pixels per mm
  const Polyline ring = outer_ring(mask, mask_scale);
  Polyline chain = open_at(ring, {head.centre, head.radius + 1.0 * px});
  if (chain.size() < 60) return std::nullopt;
  chain = resampled(smoothed(resampled(chain, 0.3 * px), 3), 0.5 * px);
  const Line2 rough = rough_axis(chain);
  const Polyline of_mask = chain;
  Snapped s = snap(film, chain, 2.0 * px, 0.30 * px, rough.point);
  chain = smoothed(without_outliers(chain, s, 0.6 * px), 2);
  const double level = along(rough, find_shoulder(chain, rough, mm_per_px).px);
  const Polyline even =
      without_leaks(film, without_bumps(chain, rough, level, mm_per_px), rough, level, mm_per_px);
  if (even != chain) chain = resampled(even, 0.5 * px);
  s = snap(film, chain, 1.0 * px, 0.22 * px, rough.point);
  chain = without_outliers(chain, s, 0.4 * px);

  StemShape shape;
  shape.outline = chain;
  shape.of_mask = of_mask;
  shape.edge_contrast = median(s.step).value_or(0.0);
  std::vector<double> jitter;
  for (std::size_t i = 1; i + 1 < s.offset.size(); ++i) {
    jitter.push_back(std::abs(s.offset[i] - 0.5 * (s.offset[i - 1] + s.offset[i + 1])));
  }
  shape.edge_noise_px =
      std::max(0.05, kSigmaPerMad * median(jitter).value_or(0.0) / std::sqrt(1.5));

  const auto axis = fit_stem_axis(chain, rough, mm_per_px);
  if (!axis) return std::nullopt;
  shape.axis = axis->line;
  shape.axis_u_rad = axis->direction_u_rad;
  shape.tip = tip_of(chain, shape.axis, shape.edge_noise_px, px);
  shape.shoulder = find_shoulder(chain, shape.axis, mm_per_px);
  // From the lateral neck to the medial neck: the shoulder comes before the tip.
  if (index_nearest(chain, shape.shoulder.px) > index_nearest(chain, shape.tip.px)) {
    std::reverse(shape.outline.begin(), shape.outline.end());
  }
  return shape;
}

}  // namespace tidemark::anatomy
