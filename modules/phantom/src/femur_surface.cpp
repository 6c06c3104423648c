#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "parts.h"
#include "tidemark/core/geometry.h"
#include "tidemark/phantom/bone_surface.h"

namespace tidemark::phantom {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;
constexpr double kHeadToLesser = 52.0;  // mm along the shaft in the invented femur of scale 1

struct Sphere {
  Vec3 centre = Vec3::Zero();
  double radius = 0.0;
};

/// Linear least squares of |p|^2 = 2 c.p + (r^2 - |c|^2), about the points' mean.
Sphere fit_sphere(const std::vector<Vec3>& points) {
  Vec3 mean = Vec3::Zero();
  for (const Vec3& p : points) mean += p / static_cast<double>(points.size());
  Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
  Eigen::Vector4d right = Eigen::Vector4d::Zero();
  for (const Vec3& p : points) {
    const Vec3 q = p - mean;
    const Eigen::Vector4d row(2.0 * q.x(), 2.0 * q.y(), 2.0 * q.z(), 1.0);
    normal += row * row.transpose();
    right += q.squaredNorm() * row;
  }
  const Eigen::Vector4d c = normal.ldlt().solve(right);
  return {mean + c.head<3>(), std::sqrt(std::max(0.0, c(3) + c.head<3>().squaredNorm()))};
}

/// The head: the ball at the medial end of the upper 60 mm. Only its medial and upper part is
/// used, where no neck begins.
std::optional<Sphere> find_head(const std::vector<Vec3>& points) {
  double top = std::numeric_limits<double>::max();
  for (const Vec3& p : points) top = std::min(top, p.y());
  Vec3 most_medial(-1e9, 0, 0);
  for (const Vec3& p : points) {
    if (p.y() < top + 60.0 && p.x() > most_medial.x()) most_medial = p;
  }
  Sphere head{most_medial - Vec3(22.0, 0, 0), 23.0};
  const Vec3 away_from_neck = Vec3(0.75, -0.66, 0).normalized();
  for (int round = 0; round < 25; ++round) {
    std::vector<Vec3> cap;
    for (const Vec3& p : points) {
      const Vec3 q = p - head.centre;
      if (std::abs(q.norm() - head.radius) < 4.0 && q.dot(away_from_neck) > -0.1 * head.radius) {
        cap.push_back(p);
      }
    }
    if (cap.size() < 20) return std::nullopt;
    head = fit_sphere(cap);
  }
  if (head.radius < 14.0 || head.radius > 36.0) return std::nullopt;
  return head;
}

/// Middle of the level section of a surface (of its extent in x and z).
std::optional<Vec3> section_middle(const TriangleMesh& mesh, double y) {
  Vec3 low = Vec3::Constant(std::numeric_limits<double>::max());
  Vec3 high = -low;
  for (const auto& t : mesh.triangles) {
    for (std::size_t i = 0; i < 3; ++i) {
      const Vec3& a = mesh.points[static_cast<std::size_t>(t[i])];
      const Vec3& b = mesh.points[static_cast<std::size_t>(t[(i + 1) % 3])];
      if ((a.y() < y) == (b.y() < y)) continue;
      const Vec3 p = a + (y - a.y()) / (b.y() - a.y()) * (b - a);
      low = low.cwiseMin(p);
      high = high.cwiseMax(p);
    }
  }
  if (low.x() > high.x()) return std::nullopt;
  return 0.5 * (low + high);
}

/// A line x, z = a + b y through the middles of sections between two levels.
struct Axis {
  Vec3 point = Vec3::Zero();
  Vec3 way = Vec3::UnitY();
};

std::optional<Axis> shaft_axis(const TriangleMesh& mesh, double from, double to) {
  std::vector<Vec3> middles;
  for (int i = 0; i <= 20; ++i) {
    if (const auto m = section_middle(mesh, from + (to - from) * i / 20.0)) middles.push_back(*m);
  }
  if (middles.size() < 15) return std::nullopt;
  Vec3 mean = Vec3::Zero();
  for (const Vec3& m : middles) mean += m / static_cast<double>(middles.size());
  Vec3 slope = Vec3::Zero();
  double spread = 0.0;
  for (const Vec3& m : middles) {
    slope += (m.y() - mean.y()) * (m - mean);
    spread += (m.y() - mean.y()) * (m.y() - mean.y());
  }
  return Axis{mean, (slope / spread).normalized()};
}

/// The lesser trochanter: farthest from the axis towards medial and posterior, some 50 mm below
/// the head.
Vec3 find_lesser(const std::vector<Vec3>& points, const Axis& axis, const Sphere& head) {
  const Vec3 way = Vec3(0.8, 0, 0.6);
  Vec3 best = Vec3::Zero();
  double farthest = std::numeric_limits<double>::lowest();
  const double k = head.radius / 23.5;
  for (const Vec3& p : points) {
    const double below = p.y() - head.centre.y();
    if (below < 40.0 * k || below > 70.0 * k) continue;
    const double distance = way.dot(p - axis.point - axis.way * axis.way.dot(p - axis.point));
    if (distance > farthest) {
      farthest = distance;
      best = p;
    }
  }
  return best;
}

/// Landmarks of a femur in the frame of the hip (x medial, y distal, z posterior).
struct Landmarks {
  Sphere head;
  Vec3 lesser;
  Axis axis;
};

std::optional<Landmarks> find_landmarks(const TriangleMesh& mesh) {
  const auto head = find_head(mesh.points);
  if (!head) return std::nullopt;
  auto axis = shaft_axis(mesh, head->centre.y() + 90.0, head->centre.y() + 200.0);
  if (!axis) return std::nullopt;
  const Vec3 lesser = find_lesser(mesh.points, *axis, *head);
  axis = shaft_axis(mesh, lesser.y() + 20.0, lesser.y() + 90.0);
  if (!axis) return std::nullopt;
  return Landmarks{*head, lesser, *axis};
}

/// Femur frame from that of the hip: y along the shaft, origin at the level of the lesser
/// trochanter, turned about the shaft until the neck points `anteversion` forwards.
Rigid3 femur_from_hip(const Landmarks& marks, double anteversion_deg) {
  const Vec3 y = marks.axis.way;
  const Vec3 origin = marks.axis.point + y * y.dot(marks.lesser - marks.axis.point);
  const Vec3 to_head = marks.head.centre - origin;
  const Vec3 neck = (to_head - y * y.dot(to_head)).normalized();
  const Vec3 x = Eigen::AngleAxisd(-anteversion_deg * kRad, y).toRotationMatrix() * neck;
  Rigid3 frame;
  frame.rotation.row(0) = x;
  frame.rotation.row(1) = y;
  frame.rotation.row(2) = x.cross(y);
  frame.translation = -(frame.rotation * origin);
  return frame;
}

/// Whether the shaft's axis runs in the canal where the stem will be fitted.
bool inside_is_hollow(const ScalarGrid& inside, double k) {
  return value_at(inside, {0, 60.0 * k, 0}) < 0.0;
}

}  // namespace

Expected<FemurModel> femur_from_surface(const TriangleMesh& lps, Side side, const FemurShape& shape,
                                        NeckState neck, unsigned threads) {
  const TriangleMesh in_hip = mapped(lps, hip_from_lps(side), Vec3::Zero());
  const auto marks = find_landmarks(in_hip);
  if (!marks) {
    return fail(ErrorKind::kCannotTell, "femur surface", "no head and shaft can be found on it",
                "check its axes and its side");
  }
  const TriangleMesh bone = moved(in_hip, femur_from_hip(*marks, shape.anteversion_deg));
  const Rigid3 frame = femur_from_hip(*marks, shape.anteversion_deg);
  FemurModel model;
  model.head_centre = frame.apply(marks->head.centre);
  const auto refuse = [] {
    return fail(ErrorKind::kCannotTell, "femur surface",
                "head, trochanters and shaft do not stand as they do in a femur",
                "check its axes and its side");
  };
  if (model.head_centre.x() < 20.0 || model.head_centre.y() > -25.0) return refuse();
  const double k = -model.head_centre.y() / kHeadToLesser;
  const Vec3 lesser = frame.apply(marks->lesser);
  const ScalarGrid whole =
      distance_grid(bone, {Vec3(-48, -90, -48) * k, Vec3(80, 235, 48) * k}, 1.4, 11.0, threads);
  model.fields = cut_and_hollow(whole, shape, k, neck, threads);
  const FemurFields& fields = model.fields;
  model.outer = contour(fields.outer);
  model.inside = contour(fields.inside);
  for (const Vec3& p : model.outer.points) {
    if ((p - lesser).norm() < 12.0 * k && std::abs(p.y() - lesser.y()) < 7.0 * k) {
      model.lesser_points.push_back(p);
    }
    if (p.y() < -25.0 * k && p.x() < 2.0 * k) model.greater_points.push_back(p);
  }
  if (model.lesser_points.empty() || model.greater_points.empty() ||
      !inside_is_hollow(fields.inside, k)) {
    return refuse();
  }
  finish_femur(model, fields.inside, k, shape);
  return model;
}

Eigen::Matrix3d hip_from_lps(Side side) {
  Eigen::Matrix3d axes;
  axes << (side == Side::kLeft ? -1.0 : 1.0), 0, 0,  //
      0, 0, -1,                                      //
      0, 1, 0;
  return axes;
}

Expected<FemurLandmarks> find_femur_landmarks(const TriangleMesh& lps, Side side) {
  const Eigen::Matrix3d axes = hip_from_lps(side);
  const auto found = find_landmarks(mapped(lps, axes, Vec3::Zero()));
  if (!found) {
    return fail(ErrorKind::kCannotTell, "femur surface", "no head and shaft can be found on it",
                "check its axes and its side");
  }
  const Eigen::Matrix3d back = axes.transpose();
  return FemurLandmarks{back * found->head.centre, found->head.radius, back * found->lesser,
                        back * found->axis.point, -(back * found->axis.way)};
}

}  // namespace tidemark::phantom
