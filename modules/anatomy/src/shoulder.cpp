#include "shoulder.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "stem_axis.h"
#include "tidemark/core/line_fit.h"

namespace tidemark::anatomy {
namespace {

/// Lateral and proximal of the axis in equal parts, and along a corner that faces there, distally.
struct CornerFrame {
  Vec2 out;
  Vec2 down;
};

CornerFrame corner_frame(const Line2& axis) {
  const Vec2 medial = medial_of(axis);
  return {(-medial - axis.direction) / std::numbers::sqrt2,
          (axis.direction - medial) / std::numbers::sqrt2};
}

/// The proximal lateral corner, roughly: farthest lateral and proximal, lateral counting more so
/// that the neck, which leaves at about 45 degrees, is never taken for it.
Vec2 rough_corner(const Polyline& outline, const Line2& axis) {
  const Vec2 medial = medial_of(axis);
  const auto score = [&](const Vec2& p) {
    return -medial.dot(p - axis.point) - 0.6 * along(axis, p);
  };
  return *std::max_element(outline.begin(), outline.end(),
                           [&](const Vec2& a, const Vec2& b) { return score(a) < score(b); });
}

/// The outline's farthest point in the corner's direction, near the rough corner.
Vec2 farthest(const Polyline& outline, const CornerFrame& frame, const Vec2& rough, double reach) {
  Vec2 best = rough;
  for (const Vec2& p : outline) {
    if ((p - rough).norm() < reach && frame.out.dot(p - best) > 0.0) best = p;
  }
  return best;
}

/// Top of a parabola through the outline within `half` along the corner of `at`: (out, down) from
/// `at`. Absent where the outline is no cap there.
std::optional<Vec2> top_of_corner(const Polyline& outline, const CornerFrame& frame, const Vec2& at,
                                  double half) {
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  int n = 0;
  for (const Vec2& p : outline) {
    const double t = frame.down.dot(p - at);
    const double out = frame.out.dot(p - at);
    // The outline passes the corner's far side as well, at the medial flank.
    if (std::abs(t) > half || std::abs(out) > 2.0 * half) continue;
    const Eigen::Vector3d row(1.0, t, t * t);
    normal += row * row.transpose();
    right += out * row;
    ++n;
  }
  if (n < 5) return std::nullopt;
  const Eigen::Vector3d c = normal.ldlt().solve(right);
  if (!(c(2) < 0.0)) return std::nullopt;
  const double t = std::clamp(-0.5 * c(1) / c(2), -half, half);
  return Vec2(c(0) + c(1) * t + c(2) * t * t, t);
}

/// Points of the outline on both sides of its point `at`, walked to until the outline falls well
/// short of what was reached: along a chamfer on and on, on a corner a millimetre or two.
Polyline about_as_far(const Polyline& outline, const CornerFrame& frame, const Vec2& at,
                      double px) {
  constexpr double kWalkMm = 16.0;  // no chamfer is longer; house choice
  constexpr double kShortMm = 1.0;  // beyond the scatter of an outline; house choice
  const auto from = index_nearest(outline, at);
  Polyline out;
  for (const std::ptrdiff_t sense : {-1, 1}) {
    double farthest = frame.out.dot(outline[static_cast<std::size_t>(from)]);
    for (auto i = from; i >= 0 && i < std::ssize(outline); i += sense) {
      const Vec2& p = outline[static_cast<std::size_t>(i)];
      farthest = std::max(farthest, frame.out.dot(p));
      const bool over = (p - at).norm() > kWalkMm * px;
      if (over || frame.out.dot(p) < farthest - kShortMm * px) break;
      out.push_back(p);
    }
  }
  return out;
}

/// How far along the corner other tops lie that reach as far as the one at `place`, or farther:
/// root mean square, and 0 on a corner, where every piece of the outline nearby has the same top.
/// On a chamfer any of them may be the farthest on the next film.
double spread_of_tops(const Polyline& outline, const CornerFrame& frame, const Vec2& place,
                      const Vec2& at, double half, double px) {
  constexpr double kAsFarMm = 0.15;  // what an outline scatters by at 95 %; house choice
  double sum = 0.0;
  int n = 0;
  for (const Vec2& p : about_as_far(outline, frame, at, px)) {
    const auto top = top_of_corner(outline, frame, p, half);
    if (!top || std::abs(top->y()) >= half) continue;  // no top within the piece
    const Vec2 q = p + top->x() * frame.out + top->y() * frame.down;
    if (frame.out.dot(q - place) < -kAsFarMm * px) continue;
    const double away = frame.down.dot(q - place);
    sum += away * away;
    ++n;
  }
  return n > 0 ? std::sqrt(sum / n) : 0.0;
}

/// Line through the outline between two distances from point `at`, walking by `sense`.
std::optional<Line2> edge_line(const Polyline& outline, std::ptrdiff_t at, int sense, double from,
                               double to) {
  Polyline points;
  double walked = 0.0;
  for (auto i = at + sense; i >= 0 && i < std::ssize(outline) && walked <= to; i += sense) {
    const Vec2& p = outline[static_cast<std::size_t>(i)];
    walked += (p - outline[static_cast<std::size_t>(i - sense)]).norm();
    if (walked >= from && walked <= to) points.push_back(p);
  }
  const auto fit = fit_line(points);
  if (!fit) return std::nullopt;
  return fit->line;
}

/// Where the two edges beside a corner meet, when they stand across each other.
std::optional<Vec2> meeting_point(const Polyline& outline, const Vec2& at, double px) {
  const auto i = index_nearest(outline, at);
  // A corner's rounding ends 1.5 to 2 mm from its middle; the top is 4 mm long and more.
  const auto before = edge_line(outline, i, -1, 2.0 * px, 4.5 * px);
  const auto after = edge_line(outline, i, 1, 2.0 * px, 4.5 * px);
  if (!before || !after) return std::nullopt;
  Eigen::Matrix2d system;
  system << before->direction, -after->direction;
  if (std::abs(system.determinant()) < 0.4) return std::nullopt;  // within 24 degrees: no corner
  const Vec2 t = system.inverse() * (after->point - before->point);
  return Vec2(before->point + t.x() * before->direction);
}

/// How far a corner lies outside of the parabola's top, mm, for a gap of `gap_mm` between the top
/// and the meeting point of the two edges. What rounds the corner on the film and what has rounded
/// it in truth add like independent blurs (house choice: exact for none and for much of either).
double rounded_off(double gap_mm, double half_mm) {
  constexpr double kBlurMm = 0.25;  // the tracing's 0.22 mm and the film's own 0.12
  // Derived for a right angle: the least-squares parabola over +-h of two straight edges has its
  // top 3/16 h within their meeting point, a blur of s draws the half-way level 0.77 s within it.
  // Steps of 0.5 mm along the outline cut a corner by 0.18 mm at most.
  constexpr double kStepCutMm = 0.18;
  const double of_sharp = std::hypot(3.0 / 16.0 * half_mm, 0.77 * kBlurMm, kStepCutMm);
  const double gap = std::max(0.0, gap_mm);
  return gap - std::sqrt(std::max(0.0, gap * gap - of_sharp * of_sharp));
}

}  // namespace

Landmark find_shoulder(const Polyline& outline, const Line2& axis, double mm_per_px) {
  constexpr double kReachMm = 6.0;  // of the search round the rough corner; house choice
  constexpr double kHalfMm = 1.5;   // of the outline read; half a corner's radius and its blur
  // Blur, scatter and edge enhancement move a metal edge along its normal, by less than 0.3 mm on
  // 95 of 100 films (house choice).
  constexpr double kEdge95Mm = 0.3;
  const double px = 1.0 / mm_per_px;
  const CornerFrame frame = corner_frame(axis);
  const Vec2 at = farthest(outline, frame, rough_corner(outline, axis), kReachMm * px);
  const auto top = top_of_corner(outline, frame, at, kHalfMm * px);
  double across = kEdge95Mm / 1.96 * px;
  double least = top ? top->y() : -kHalfMm * px;
  double most = top ? top->y() : kHalfMm * px;
  for (const double share : {0.85, 1.15, 1.35}) {
    const auto other = top_of_corner(outline, frame, at, share * kHalfMm * px);
    if (!top || !other) continue;
    least = std::min(least, other->y());
    most = std::max(most, other->y());
  }
  Vec2 place = top ? Vec2(at + top->x() * frame.out + top->y() * frame.down) : at;
  const double down = std::hypot((most - least) / std::sqrt(12.0),
                                 spread_of_tops(outline, frame, place, at, kHalfMm * px, px));
  if (const auto meet = meeting_point(outline, at, px); top && meet) {
    const double gap = frame.out.dot(*meet - place) * mm_per_px;
    const double off = rounded_off(gap, kHalfMm);
    const double sharp = off > 0.0 ? off / gap : 0.0;
    const Vec2 to_meet = *meet - place;
    place += sharp * to_meet;
    // Between sharp and round the place is anywhere between the two (house choice).
    across = std::hypot(across, off / std::sqrt(3.0) * px, sharp * (1.0 - sharp) * to_meet.norm());
  }
  return {place, std::hypot(across, down) / std::numbers::sqrt2, Source::kFound};
}

}  // namespace tidemark::anatomy
