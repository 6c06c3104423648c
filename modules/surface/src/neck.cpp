#include "neck.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <vector>

#include "tidemark/core/geometry.h"

namespace tidemark::surface {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

/// Sphere through samples, weighted by their area: |p|^2 = 2 c p + k is linear (Coope, J Optim
/// Theory Appl 76 (1993) 381, from memory).
std::optional<Ball> sphere_through(std::span<const Sample> samples) {
  Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
  Eigen::Vector4d right = Eigen::Vector4d::Zero();
  for (const Sample& s : samples) {
    Eigen::Vector4d row;
    row << s.at, 1.0;
    normal += s.area * row * row.transpose();
    right += s.area * s.at.squaredNorm() * row;
  }
  const Eigen::Vector4d x = normal.ldlt().solve(right);
  const Vec3 centre = 0.5 * x.head<3>();
  const double square = x(3) + centre.squaredNorm();
  if (!x.allFinite() || !(square > 0.0)) return std::nullopt;
  return Ball{centre, std::sqrt(square)};
}

bool is_head_sized(const Ball& ball) { return ball.radius_mm > 10.0 && ball.radius_mm < 31.0; }

std::vector<Sample> on_sphere(std::span<const Sample> samples, const Ball& ball, double off_mm) {
  std::vector<Sample> out;
  for (const Sample& s : samples) {
    if (std::abs((s.at - ball.centre).norm() - ball.radius_mm) < off_mm) out.push_back(s);
  }
  return out;
}

double area_of(std::span<const Sample> samples) {
  double sum = 0.0;
  for (const Sample& s : samples) sum += s.area;
  return sum;
}

/// A fixed sequence of numbers below n (Knuth's multiplier for 64 bits, from memory).
class Sequence {
 public:
  std::size_t below(std::size_t n) {
    state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
    return static_cast<std::size_t>(state_ >> 33U) % n;
  }

 private:
  std::uint64_t state_ = 1;
};

/// How far the normals are from one angle to `direction`, robustly; area-weighted.
double unevenness(std::span<const Sample> near, const Vec3& direction) {
  constexpr double kFar = 0.15;  // of a cosine
  double sum = 0.0;
  for (const Sample& s : near) {
    const double c = s.normal.dot(direction);
    sum += s.area * std::min(c * c, kFar);
  }
  return sum;
}

/// Direction to which most normals keep one angle: that of the least variance of normal . direction
/// among the samples that keep it already.
Vec3 improved(std::span<const Sample> near, Vec3 direction) {
  constexpr double kKept = 0.25;
  for (int round = 0; round < 8; ++round) {
    double weight = 0.0;
    Vec3 mean = Vec3::Zero();
    Eigen::Matrix3d square = Eigen::Matrix3d::Zero();
    for (const Sample& s : near) {
      if (std::abs(s.normal.dot(direction)) > kKept) continue;
      weight += s.area;
      mean += s.area * s.normal;
      square += s.area * s.normal * s.normal.transpose();
    }
    if (!(weight > 0.0)) return direction;
    mean /= weight;
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(square / weight -
                                                                mean * mean.transpose());
    const Vec3 next = solver.eigenvectors().col(0);
    direction = next.dot(direction) < 0.0 ? Vec3(-next) : next;
  }
  return direction;
}

/// Middle of the circles about `direction`, whose radius may change along it: r^2 a parabola of the
/// height, |p|^2 = 2 c p + r^2 - c^2 linear in all.
struct Circles {
  Vec3 middle = Vec3::Zero();
  double end = 0.0;     ///< height of the last of them
  double radius = 0.0;  ///< in the middle of their heights
  double share = 0.0;   ///< of the weight that lies on them
};

std::optional<Circles> circles_about(std::span<const Sample> near, const Vec3& direction) {
  const Vec3 u = direction.unitOrthogonal();
  const Vec3 v = direction.cross(u);
  Eigen::Matrix<double, 5, 1> x = Eigen::Matrix<double, 5, 1>::Zero();
  double off = 1e9;  // mm that a sample may lie beside its circle
  Circles out;
  for (int round = 0; round < 10; ++round) {
    Eigen::Matrix<double, 5, 5> normal = Eigen::Matrix<double, 5, 5>::Zero();
    Eigen::Matrix<double, 5, 1> right = Eigen::Matrix<double, 5, 1>::Zero();
    double kept = 0.0;
    double all = 0.0;
    out.end = -1e9;
    for (const Sample& s : near) {
      if (std::abs(s.normal.dot(direction)) > 0.3) continue;
      const Vec2 p(s.at.dot(u), s.at.dot(v));
      const double h = s.at.dot(direction);
      all += s.area;
      const double square = x(2) + x(3) * h + x(4) * h * h;
      const double radius = std::sqrt(std::max(0.0, square + 0.25 * x.head<2>().squaredNorm()));
      if (std::abs((p - 0.5 * x.head<2>()).norm() - radius) > off) continue;
      Eigen::Matrix<double, 5, 1> row;
      row << p.x(), p.y(), 1.0, h, h * h;
      normal += s.area * row * row.transpose();
      right += s.area * p.squaredNorm() * row;
      kept += s.area;
      out.end = std::max(out.end, h);
      out.radius = radius;
    }
    x = normal.ldlt().solve(right);
    if (!x.allFinite() || !(kept > 0.0)) return std::nullopt;
    off = round < 3 ? 3.0 - 0.6 * round : std::max(0.4, 0.6 * off);
    out.share = kept / all;
  }
  out.middle = 0.5 * (x(0) * u + x(1) * v);
  return out;
}

}  // namespace

std::optional<Ball> find_ball(std::span<const Sample> samples) {
  constexpr double kOff = 0.35;  // mm; coarse and noisy surfaces
  if (samples.size() < 60) return std::nullopt;
  Sequence sequence;
  std::optional<Ball> best;
  double most = 0.0;
  for (int i = 0; i < 300; ++i) {
    std::array<Sample, 4> four;
    for (Sample& s : four) {
      s = samples[sequence.below(samples.size())];
      s.area = 1.0;
    }
    const auto ball = sphere_through(four);
    if (!ball || !is_head_sized(*ball)) continue;
    const double area = area_of(on_sphere(samples, *ball, kOff));
    if (area > most) {
      most = area;
      best = ball;
    }
  }
  for (int round = 0; best && round < 3; ++round) {
    best = sphere_through(on_sphere(samples, *best, kOff));
  }
  if (!best || !is_head_sized(*best)) return std::nullopt;
  const double share = area_of(on_sphere(samples, *best, kOff)) /
                       (4.0 * std::numbers::pi * best->radius_mm * best->radius_mm);
  if (share < 0.25) return std::nullopt;
  return best;
}

std::optional<NeckLine> find_neck(std::span<const Sample> samples, const Vec3& end) {
  constexpr double kReach = 22.0;  // mm of neck, from its end
  std::vector<Sample> near;
  for (const Sample& s : samples) {
    if ((s.at - end).norm() < kReach) near.push_back(s);
  }
  if (near.size() < 40) return std::nullopt;
  Vec3 direction = Vec3::UnitX();
  double least = 1e300;
  for (double angle = 25.0; angle <= 75.0; angle += 5.0) {  // from the axis, proximally
    const Vec3 tried(std::sin(angle * kDegree), -std::cos(angle * kDegree), 0.0);
    const double sum = unevenness(near, tried);
    if (sum < least) {
      least = sum;
      direction = tried;
    }
  }
  direction = improved(near, direction);
  const auto circles = circles_about(near, direction);
  if (!circles || circles->share < 0.5 || circles->radius < 3.0 || circles->radius > 12.0) {
    return std::nullopt;
  }
  return NeckLine{circles->middle + circles->end * direction, direction};
}

}  // namespace tidemark::surface
