#include "tidemark/surface/stem_model.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

#include "neck.h"
#include "samples.h"

namespace tidemark::surface {
namespace {

tl::unexpected<Error> no_stem(const char* wrong) {
  return fail(ErrorKind::kBadInput, "stem surface", wrong,
              "give the surface of the whole stem with its neck, alone");
}

/// The middle of the surface at each level along a direction.
struct Level {
  double height = 0.0;
  Vec3 middle = Vec3::Zero();
  double area = 0.0;
};

std::vector<Level> levels_along(const std::vector<Sample>& samples, const Vec3& direction,
                                double step_mm) {
  double low = 1e300;
  double high = -1e300;
  for (const Sample& s : samples) {
    low = std::min(low, s.at.dot(direction));
    high = std::max(high, s.at.dot(direction));
  }
  std::vector<Level> levels(static_cast<std::size_t>((high - low) / step_mm) + 1);
  for (const Sample& s : samples) {
    const double height = s.at.dot(direction);
    // Faces across the direction, such as ends, are no flanks.
    const double weight = s.area * (1.0 - std::pow(s.normal.dot(direction), 2));
    Level& level = levels[static_cast<std::size_t>((height - low) / step_mm)];
    level.area += weight;
    level.middle += weight * s.at;
    level.height += weight * height;
  }
  std::erase_if(levels, [](const Level& l) { return !(l.area > 0.0); });
  for (Level& l : levels) {
    l.middle /= l.area;
    l.height /= l.area;
  }
  return levels;
}

/// Line through the middles of levels between two heights, and how far they lie off it.
struct Straight {
  Line3 line;
  double off_mm = 0.0;  ///< root mean square
};

std::optional<Straight> straight_part(const std::vector<Level>& levels, double from, double to) {
  Vec3 mean = Vec3::Zero();
  std::vector<Vec3> middles;
  for (const Level& l : levels) {
    if (l.height >= from && l.height <= to) middles.push_back(l.middle);
  }
  if (middles.size() < 8) return std::nullopt;
  for (const Vec3& m : middles) mean += m / static_cast<double>(middles.size());
  Eigen::Matrix3d scatter = Eigen::Matrix3d::Zero();
  for (const Vec3& m : middles) scatter += (m - mean) * (m - mean).transpose();
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(scatter);
  const double off = solver.eigenvalues()(0) + solver.eigenvalues()(1);
  return Straight{{mean, solver.eigenvectors().col(2)},
                  std::sqrt(std::max(0.0, off) / static_cast<double>(middles.size()))};
}

/// The axis of the straight half that ends at the high end of `direction`, pointing there.
std::optional<Straight> axis_towards(const std::vector<Sample>& samples, Vec3 direction) {
  constexpr double kFrom = 0.55;  // of the whole length: proximal of it the stem flares
  constexpr double kTo = 0.93;    // distal of it the tip is round
  std::optional<Straight> found;
  for (int round = 0; round < 4; ++round) {
    const auto levels = levels_along(samples, direction, 2.0);
    const double low = levels.front().height;
    const double length = levels.back().height - low;
    found = straight_part(levels, low + kFrom * length, low + kTo * length);
    if (!found) return std::nullopt;
    if (found->line.direction.dot(direction) < 0.0) found->line.direction *= -1.0;
    direction = found->line.direction;
  }
  return found;
}

Vec3 longest_direction(const std::vector<Sample>& samples) {
  Vec3 mean = Vec3::Zero();
  double area = 0.0;
  for (const Sample& s : samples) {
    mean += s.area * s.at;
    area += s.area;
  }
  mean /= area;
  Eigen::Matrix3d scatter = Eigen::Matrix3d::Zero();
  for (const Sample& s : samples) scatter += s.area * (s.at - mean) * (s.at - mean).transpose();
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(scatter);
  return solver.eigenvectors().col(2);
}

/// Mean of the samples that reach farthest by `reach`: the last 4 % of the surface.
template <class Reach>
Vec3 far_end(std::vector<Sample> samples, const Reach& reach) {
  std::sort(samples.begin(), samples.end(),
            [&](const Sample& a, const Sample& b) { return reach(a.at) > reach(b.at); });
  double all = 0.0;
  for (const Sample& s : samples) all += s.area;
  Vec3 sum = Vec3::Zero();
  double taken = 0.0;
  for (const Sample& s : samples) {
    if (taken > 0.04 * all) break;
    sum += s.area * s.at;
    taken += s.area;
  }
  return sum / taken;
}

double off_line(const Line3& line, const Vec3& p) {
  return (p - line.point).cross(line.direction).norm();
}

/// Rows: medial, distal and their cross product, in the file's frame.
Eigen::Matrix3d stem_from_file(const Vec3& distal, const Vec3& towards_neck) {
  const Vec3 medial = (towards_neck - towards_neck.dot(distal) * distal).normalized();
  Eigen::Matrix3d turn;
  turn << medial.transpose(), distal.transpose(), medial.cross(distal).transpose();
  return turn;
}

template <class Value>
const Vec3& farthest(const Mesh& mesh, const Value& value) {
  return *std::max_element(mesh.points.begin(), mesh.points.end(),
                           [&](const Vec3& a, const Vec3& b) { return value(a) < value(b); });
}

/// How far the middles of the body's sections leave the plane z = 0.
double front_back_of(const std::vector<Sample>& samples, double tip) {
  const auto levels = levels_along(samples, Vec3::UnitY(), 4.0);
  double sum = 0.0;
  int n = 0;
  for (const Level& l : levels) {
    if (l.height < 0.0 || l.height > 0.95 * tip) continue;
    sum += l.middle.z() * l.middle.z();
    ++n;
  }
  return n > 0 ? std::sqrt(sum / n) : 0.0;
}

/// Neck or ball of a mesh that stands in the stem's axes.
void find_top(StemModel& stem) {
  const auto samples = samples_of(stem.mesh);
  const auto reach = [](const Vec3& p) { return p.x() - p.y(); };
  const Vec3 end = far_end(samples, reach);
  std::vector<Sample> top;
  for (const Sample& s : samples) {
    if (s.at.x() > 0.35 * end.x() && (s.at - end).norm() < 60.0) top.push_back(s);
  }
  stem.ball = find_ball(top);
  if (stem.ball) return;
  stem.neck = find_neck(samples, end);
}

}  // namespace

std::vector<Sample> samples_of(const Mesh& mesh) {
  std::vector<Sample> out;
  out.reserve(mesh.triangles.size());
  for (const auto& t : mesh.triangles) {
    const Vec3& a = mesh.points[static_cast<std::size_t>(t[0])];
    const Vec3& b = mesh.points[static_cast<std::size_t>(t[1])];
    const Vec3& c = mesh.points[static_cast<std::size_t>(t[2])];
    const Vec3 cross = (b - a).cross(c - a);
    const double area = 0.5 * cross.norm();
    if (area > 1e-9) out.push_back({(a + b + c) / 3.0, cross.normalized(), area});
  }
  return out;
}

Expected<StemModel> find_stem(const Mesh& mesh) {
  const auto samples = samples_of(mesh);
  if (samples.size() < 100) return no_stem("it has too few triangles for a stem");
  const Vec3 longest = longest_direction(samples);
  const auto one = axis_towards(samples, longest);
  const auto other = axis_towards(samples, -longest);
  if (!one || !other) return no_stem("no straight slender half is found in it");
  const Straight& axis = one->off_mm < other->off_mm ? *one : *other;
  const Vec3& distal = axis.line.direction;
  const Vec3 neck = far_end(samples, [&](const Vec3& p) { return off_line(axis.line, p); });
  if (axis.off_mm > 2.0 || off_line(axis.line, neck) < 15.0) {
    return no_stem("it has no straight half with a neck at the other end");
  }
  StemModel stem;
  Eigen::Matrix3d turn = stem_from_file(distal, neck - axis.line.point);
  stem.mesh = mapped(mesh, turn, -turn * axis.line.point);
  find_top(stem);
  if (!stem.ball && !stem.neck) {
    return no_stem("it has neither a ball nor a round neck for one to sit on");
  }
  // The plane of the neck is that of its axis or its ball, which are known better than its end.
  const Vec3 side = stem.ball   ? stem.ball->centre
                    : stem.neck ? stem.neck->direction
                                : Vec3::UnitX();
  const Eigen::Matrix3d plane = stem_from_file(Vec3::UnitY(), side);
  stem.mesh = mapped(stem.mesh, plane, Vec3::Zero());
  stem.shoulder = farthest(stem.mesh, [](const Vec3& p) { return -p.x() - p.y(); });
  const Vec3 up(0.0, -stem.shoulder.y(), 0.0);
  stem.mesh = mapped(stem.mesh, Eigen::Matrix3d::Identity(), up);
  stem.shoulder += up;
  if (stem.ball) stem.ball->centre = plane * stem.ball->centre + up;
  if (stem.neck) stem.neck = {plane * stem.neck->end + up, plane * stem.neck->direction};
  stem.tip = farthest(stem.mesh, [](const Vec3& p) { return p.y(); });
  stem.front_back_mm = front_back_of(samples_of(stem.mesh), stem.tip.y());
  return stem;
}

StemModel mirrored(StemModel stem) {
  const Vec3 flip(1.0, 1.0, -1.0);
  stem.mesh = mapped(std::move(stem.mesh), flip.asDiagonal(), Vec3::Zero());
  const auto turn = [&](Vec3& p) { p = p.cwiseProduct(flip); };
  turn(stem.tip);
  turn(stem.shoulder);
  if (stem.ball) turn(stem.ball->centre);
  if (stem.neck) {
    turn(stem.neck->end);
    turn(stem.neck->direction);
  }
  return stem;
}

}  // namespace tidemark::surface
