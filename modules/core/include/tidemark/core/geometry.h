#pragma once

#include <Eigen/Core>
#include <vector>

namespace tidemark {

/// A point or a direction in some plane. The name of the variable says frame and unit
/// (`tip_px`, `p_in_hip_mm`). In every image frame x is the column and points right, y the row and
/// points down, and the centre of the first pixel is (0, 0).
using Vec2 = Eigen::Vector2d;

/// A chain of points, in order. Closed only where the doc comment of its owner says so.
using Polyline = std::vector<Vec2>;

/// An infinite line. `direction` has length 1.
struct Line2 {
  Vec2 point = Vec2::Zero();
  Vec2 direction = Vec2::UnitY();
};

struct Circle2 {
  Vec2 centre = Vec2::Zero();
  double radius = 0.0;  ///< same unit as centre
};

/// b_from_a: p_in_b = R(angle) p_in_a + translation, with R = [cos -sin; sin cos] applied to
/// (x right, y down); a positive angle therefore turns clockwise as seen on the film.
struct Rigid2 {
  double angle_rad = 0.0;
  Vec2 translation = Vec2::Zero();

  [[nodiscard]] Eigen::Matrix2d rotation() const;
  [[nodiscard]] Vec2 apply(const Vec2& p_in_a) const;
  [[nodiscard]] Rigid2 inverse() const;                   ///< a_from_b
  [[nodiscard]] Rigid2 after(const Rigid2& first) const;  ///< this * first: first, then this
};

/// b_from_a: p_in_b = linear * p_in_a + offset.
struct Affine2 {
  Eigen::Matrix2d linear = Eigen::Matrix2d::Identity();
  Vec2 offset = Vec2::Zero();

  [[nodiscard]] Vec2 apply(const Vec2& p_in_a) const;
  [[nodiscard]] Affine2 inverse() const;
  [[nodiscard]] Affine2 after(const Affine2& first) const;
};

/// Signed distance of p from the line: positive on the side of (-direction.y, direction.x).
[[nodiscard]] double signed_distance(const Line2& line, const Vec2& p);
/// Coordinate of the foot of p along the line, from line.point.
[[nodiscard]] double along(const Line2& line, const Vec2& p);
/// Angle from a to b in radians, in (-pi, pi], positive clockwise as seen on the film (y down).
[[nodiscard]] double angle_between(const Vec2& a, const Vec2& b);

}  // namespace tidemark
