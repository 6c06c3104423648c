#include "tidemark/core/geometry.h"

#include <Eigen/LU>
#include <cmath>

namespace tidemark {

Eigen::Matrix2d Rigid2::rotation() const {
  const double c = std::cos(angle_rad);
  const double s = std::sin(angle_rad);
  return (Eigen::Matrix2d() << c, -s, s, c).finished();
}

Vec2 Rigid2::apply(const Vec2& p_in_a) const { return rotation() * p_in_a + translation; }

Rigid2 Rigid2::inverse() const { return {-angle_rad, -(rotation().transpose() * translation)}; }

Rigid2 Rigid2::after(const Rigid2& first) const {
  return {angle_rad + first.angle_rad, apply(first.translation)};
}

Vec2 Affine2::apply(const Vec2& p_in_a) const { return linear * p_in_a + offset; }

Affine2 Affine2::inverse() const {
  const Eigen::Matrix2d back = linear.inverse();
  return {back, -(back * offset)};
}

Affine2 Affine2::after(const Affine2& first) const {
  return {linear * first.linear, apply(first.offset)};
}

double signed_distance(const Line2& line, const Vec2& p) {
  const Vec2 normal(-line.direction.y(), line.direction.x());
  return normal.dot(p - line.point);
}

double along(const Line2& line, const Vec2& p) { return line.direction.dot(p - line.point); }

double angle_between(const Vec2& a, const Vec2& b) {
  return std::atan2(a.x() * b.y() - a.y() * b.x(), a.dot(b));
}

}  // namespace tidemark
