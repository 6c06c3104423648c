#include "stem_axis.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

#include "tidemark/core/line_fit.h"

namespace tidemark::anatomy {
namespace {

constexpr double kStepMm = 0.5;          // between levels; that of the outline's points
constexpr double kRoundedTip = 0.08;     // of the length: no flanks below it
constexpr double kLeastStraight = 0.28;  // of the length: up to here every stem counts as straight
constexpr double kHighest = 0.60;        // of the length: above it are calcar flare and neck

struct Flank {
  std::vector<double> s;  ///< along the axis
  std::vector<double> x;  ///< across, medial positive
};

/// Value of x at s by linear interpolation over points sorted by s.
std::optional<double> at_level(const Flank& f, double s, double widest_gap) {
  const auto it = std::lower_bound(f.s.begin(), f.s.end(), s);
  if (it == f.s.begin() || it == f.s.end()) return std::nullopt;
  const auto i = static_cast<std::size_t>(it - f.s.begin());
  if (f.s[i] - f.s[i - 1] > widest_gap) return std::nullopt;
  const double t = (s - f.s[i - 1]) / std::max(1e-9, f.s[i] - f.s[i - 1]);
  return f.x[i - 1] + t * (f.x[i] - f.x[i - 1]);
}

/// The points of an outline on one side of a line (`sign` -1 lateral, +1 medial), mm.
Flank flank_of(const Polyline& outline, const Line2& axis, double sign, double mm) {
  const Vec2 medial = medial_of(axis);
  std::vector<std::pair<double, double>> points;
  for (const Vec2& p : outline) {
    const double x = medial.dot(p - axis.point) * mm;
    if (sign * x > 0.0) points.emplace_back(along(axis, p) * mm, x);
  }
  std::sort(points.begin(), points.end());
  Flank f;
  for (const auto& [s, x] : points) {
    f.s.push_back(s);
    f.x.push_back(x);
  }
  return f;
}

/// Levels (distal positive) and middles (medial positive) between both flanks, mm, proximal first.
struct MidLine {
  Polyline points;
  double distal_end = 0.0;  ///< of the outline
  double length = 0.0;
};

MidLine mid_line(const Polyline& outline, const Line2& axis, double mm) {
  constexpr double kWidestGapMm = 3.0;  // house choice
  const Flank lateral = flank_of(outline, axis, -1.0, mm);
  const Flank medial = flank_of(outline, axis, 1.0, mm);
  MidLine mid;
  if (lateral.s.empty() || medial.s.empty()) return mid;
  mid.distal_end = std::max(lateral.s.back(), medial.s.back());
  mid.length = mid.distal_end - std::min(lateral.s.front(), medial.s.front());
  const double from = mid.distal_end - kHighest * mid.length;
  const auto levels = static_cast<int>((kHighest - kRoundedTip) * mid.length / kStepMm) + 1;
  for (int i = 0; i < levels; ++i) {
    const double s = from + i * kStepMm;
    const auto l = at_level(lateral, s, kWidestGapMm);
    const auto m = at_level(medial, s, kWidestGapMm);
    if (l && m) mid.points.emplace_back(s, 0.5 * (*l + *m));
  }
  return mid;
}

/// How badly a straight line that bends smoothly (c (bend - s)^2) proximal to `bend` describes the
/// middles: sum of squares over the error of a middle, each counting 1 at most, so that a few stray
/// ones (a wire, a screw) do not decide.
double misfit(const Polyline& mid, double bend) {
  constexpr double kErrorMm = 0.1;  // three times what a middle scatters by; house choice
  Eigen::MatrixXd a(std::ssize(mid), 3);
  Eigen::VectorXd y(std::ssize(mid));
  for (Eigen::Index i = 0; i < a.rows(); ++i) {
    const Vec2& m = mid[static_cast<std::size_t>(i)];
    const double above = std::max(0.0, bend - m.x()) / 10.0;
    a.row(i) << 1.0, (m.x() - bend) / 10.0, above * above;
    y(i) = m.y();
  }
  Eigen::VectorXd weight = Eigen::VectorXd::Ones(a.rows());
  Eigen::VectorXd off;
  for (int round = 0; round < 4; ++round) {
    const Eigen::MatrixXd weighted = weight.asDiagonal() * a;
    // Without a level above the bend the third column is nothing: least norm leaves it out.
    const Eigen::Matrix3d normal = a.transpose() * weighted;
    off = y - a * normal.completeOrthogonalDecomposition().solve(weighted.transpose() * y);
    weight = (1.0 + (off / kErrorMm).array().square()).inverse().square();
  }
  return (off / kErrorMm).array().square().min(1.0).sum();
}

/// The level from which the middle is straight down to the tip.
double straight_from(const MidLine& mid) {
  constexpr double kSearchStepMm = 2.0;
  const double first = mid.distal_end - kHighest * mid.length;
  const double last = mid.distal_end - kLeastStraight * mid.length;
  double best = last;
  double least = misfit(mid.points, last);
  for (int i = 0; first + i * kSearchStepMm < last; ++i) {
    const double bend = first + i * kSearchStepMm;
    const double cost = misfit(mid.points, bend);
    if (cost >= least) continue;
    least = cost;
    best = bend;
  }
  return best;
}

/// What the direction of a straight stretch is known by, rad.
std::optional<StemAxis> fit_stretch(std::span<const Vec2> mid) {
  // Middles closer together than the edge's own blur repeat each other: a third of them count.
  constexpr double kRepeats = 3.0;
  // The rims of a stem turned about its axis lie at different depths; while it tapers from 8 to 5
  // mm half width over 60 mm, 12 degrees of turn draw the middle of its shadow 0.008 mm off the
  // shadow of its axis (derived: half width^2 x sin(turn) / 1,000 mm), 0.01 degrees.
  constexpr double kPerspectiveRad = 0.01 * std::numbers::pi / 180.0;
  const auto fit = fit_line(mid, {Loss::kTukey});
  if (!fit) return std::nullopt;
  const std::size_t half = mid.size() / 2;
  const auto upper = fit_line(mid.first(half), {Loss::kTukey});
  const auto lower = fit_line(mid.last(half), {Loss::kTukey});
  // A stem that bends has every direction between those of its halves: a rectangle (GUM 4.3.7).
  const auto slope = [](const Line2& line) { return line.direction.y() / line.direction.x(); };
  const double bend = upper && lower ? slope(lower->line) - slope(upper->line) : 0.0;
  const double scatter = std::sqrt(kRepeats) * fit->direction_u_rad;
  Line2 line = fit->line;
  if (line.direction.x() < 0.0) line.direction = -line.direction;  // (s, x): distal is +s
  return StemAxis{line, std::hypot(scatter, bend / std::sqrt(12.0), kPerspectiveRad)};
}

}  // namespace

Vec2 medial_of(const Line2& axis) {
  const Vec2 across(axis.direction.y(), -axis.direction.x());
  return across.x() > 0.0 ? across : Vec2(-across);
}

std::optional<StemAxis> fit_stem_axis(const Polyline& outline, const Line2& rough,
                                      double unit_in_mm) {
  constexpr int kRounds = 4;  // the flanks are read level by level of the axis that is sought
  constexpr std::ptrdiff_t kLeastLevels = 8;
  StemAxis axis{rough, 0.0};
  for (int round = 0; round < kRounds; ++round) {
    const MidLine mid = mid_line(outline, axis.line, unit_in_mm);
    if (std::ssize(mid.points) < kLeastLevels) return std::nullopt;
    const double from = straight_from(mid);
    const auto first = std::find_if(mid.points.begin(), mid.points.end(),
                                    [&](const Vec2& m) { return m.x() >= from; });
    const std::span<const Vec2> straight(first, mid.points.end());
    if (std::ssize(straight) < kLeastLevels) return std::nullopt;
    const auto fit = fit_stretch(straight);
    if (!fit) return std::nullopt;
    const Vec2 distal = axis.line.direction;
    const Vec2 medial = medial_of(axis.line);
    const auto turned = [&](const Vec2& q) { return Vec2(q.x() * distal + q.y() * medial); };
    axis = {{axis.line.point + turned(fit->line.point) / unit_in_mm, turned(fit->line.direction)},
            fit->direction_u_rad};
  }
  return axis;
}

std::ptrdiff_t index_nearest(const Polyline& outline, const Vec2& q) {
  const auto nearest = std::min_element(
      outline.begin(), outline.end(),
      [&](const Vec2& a, const Vec2& b) { return (a - q).squaredNorm() < (b - q).squaredNorm(); });
  return nearest - outline.begin();
}

}  // namespace tidemark::anatomy
