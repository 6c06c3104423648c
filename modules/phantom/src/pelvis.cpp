#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "parts.h"

namespace tidemark::phantom {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;
constexpr double kCortex = 1.4;  // mm, compact bone of the pelvis; house choice

double ilium(const Vec3& p) {
  static const Eigen::Matrix3d wing_from_world =
      Eigen::AngleAxisd(38.0 * kRad, Vec3::UnitY()).toRotationMatrix();
  // A plate with a thick rim: the wing and its crest.
  const Vec3 q = wing_from_world * (p - Vec3(6, -88, 12));
  const double plate = ellipsoid(q, {64, 62, 5.5});
  const double radius = std::hypot(q.x() / 64.0, q.y() / 62.0);
  const double rim = std::hypot((radius - 0.93) * 63.0, q.z()) - (q.y() < -5.0 ? 5.5 : -3.0);
  double d = smooth_union(plate, rim, 8.0);
  d = smooth_union(d, bar(p, {4, -22, 4}, {44, -72, 50}, 19, 13), 14.0);
  return smooth_union(d, bar(p, {-2, -24, -6}, {-22, -72, -22}, 15, 8), 12.0);
}

double ischium_and_pubis(const Vec3& p) {
  double d = bar(p, {6, -20, 20}, {14, 22, 24}, 14, 13);
  d = smooth_union(d, bar(p, {14, 22, 24}, {34, 66, 28}, 13, 12), 8.0);
  d = smooth_union(d, ellipsoid(p - Vec3(36, 72, 26), {13, 17, 14}), 8.0);
  d = smooth_union(d, bar(p, {26, 4, 28}, {44, 4, 50}, 6, 2), 6.0);        // spine
  d = smooth_union(d, bar(p, {20, 4, -14}, {74, 17, -40}, 12, 7.5), 8.0);  // upper branch
  d = smooth_union(d, ellipsoid(p - Vec3(78, 30, -42), {8.5, 19, 8}), 6.0);
  return smooth_union(d, bar(p, {76, 44, -38}, {42, 76, 8}, 6, 7), 6.0);  // lower branch
}

double sacrum(const Vec3& p) {
  const Vec3 q = p - Vec3(kHipFromMidline, 0, 0);
  const double d = bar(q, {0, -118, 42}, {0, -18, 88}, 34, 14);
  return smooth_union(d, bar(q, {-38, -96, 56}, {0, -96, 56}, 20, 26), 10.0);
}

/// Distance to the invented pelvis at scale 1, hip centre of the right side at the origin.
double pelvis(Vec3 p, double socket_radius) {
  p.x() = kHipFromMidline - std::abs(p.x() - kHipFromMidline);
  double d = smooth_union(ilium(p), ischium_and_pubis(p), 10.0);
  d = smooth_union(d, (p - Vec3(7, -4, 4)).norm() - (socket_radius + 7.0), 9.0);
  d = std::max(d, -bar(p, Vec3::Zero(), {-45, 34, -16}, socket_radius, socket_radius + 8.0));
  // The symphysis: a slit of cartilage between the halves.
  d = std::max(d, p.z() < 0.0 ? p.x() - kHipFromMidline + 2.2 : -100.0);
  return std::min(d, sacrum(p));
}

struct Level {
  double y;
  double x;
  double half_width;
  double half_depth;
};

/// A tube of superelliptic level sections, narrowed by `inset`.
TriangleMesh tube(const std::vector<Level>& levels, double inset) {
  std::vector<std::vector<Vec3>> rings;
  constexpr int kRound = 96;
  constexpr int kBetween = 12;
  const auto power = [](double c) { return std::copysign(std::pow(std::abs(c), 0.85), c); };
  for (std::size_t i = 0; i + 1 < levels.size(); ++i) {
    for (int n = 0; n < kBetween; ++n) {
      const double t = static_cast<double>(n) / kBetween;
      const double s = t * t * (3.0 - 2.0 * t);
      const Level& a = levels[i];
      const Level& b = levels[i + 1];
      const auto between = [&](double p, double q) { return p + s * (q - p); };
      const double width = std::max(2.0, between(a.half_width, b.half_width) - inset);
      const double depth = std::max(2.0, between(a.half_depth, b.half_depth) - inset);
      std::vector<Vec3> ring;
      for (int j = 0; j < kRound; ++j) {
        const double turn = 2.0 * std::numbers::pi * j / kRound;
        ring.emplace_back(between(a.x, b.x) + width * power(std::cos(turn)), a.y + t * (b.y - a.y),
                          -depth * power(std::sin(turn)));
      }
      rings.push_back(std::move(ring));
    }
  }
  return swept_mesh(rings);
}

/// Makes the inner border of the cortex and the cancellous bone.
void hollow(PelvisModel& model, const ScalarGrid& outer, std::uint64_t seed, unsigned threads) {
  const ScalarGrid inside = changed_grid(
      outer, [](const Vec3&, double d) { return d + kCortex; }, threads);
  model.inside = contour(inside);
  StrutPlan plan;
  plan.box = box_of(model.inside);
  plan.struts = 160000;
  plan.blobs = 9000;
  plan.groups = {Vec3(0.6, -0.8, 0.1), Vec3(-0.5, -0.8, -0.2), Vec3(0.9, 0.3, -0.3),
                 Vec3(0.2, 0.9, 0.3)};
  plan.seed = seed;
  model.struts = grow_struts(inside, plan);
}

}  // namespace

PelvisModel invent_pelvis(double scale, double socket_radius_mm, std::uint64_t seed,
                          unsigned threads) {
  const double k = scale;
  const Box box{k * Vec3(-70, -158, -66), k * Vec3(2.0 * kHipFromMidline + 70.0, 102, 112)};
  const ScalarGrid field = make_grid(
      box, 2.0 * k, [&](const Vec3& p) { return k * pelvis(p / k, socket_radius_mm / k); },
      threads);
  PelvisModel model;
  model.outer = contour(field);
  hollow(model, field, seed, threads);
  model.mid_x = kHipFromMidline * k;
  return model;
}

PelvisModel pelvis_from_surface(const TriangleMesh& lps, Side side, const Vec3& socket_in_lps,
                                std::uint64_t seed, unsigned threads) {
  PelvisModel model;
  const Eigen::Matrix3d axes = hip_from_lps(side);
  model.outer = mapped(lps, axes, -(axes * socket_in_lps));
  const Box tight = box_of(model.outer);
  const Vec3 margin = Vec3::Constant(4.0);
  hollow(model,
         distance_grid(model.outer, {tight.low - margin, tight.high + margin}, 1.6, 4.0, threads),
         seed, threads);
  // The middle of a whole pelvis; one hip bone alone ends at the symphysis.
  const double width = tight.high.x() - tight.low.x();
  model.mid_x = width > 190.0 ? 0.5 * (tight.low.x() + tight.high.x()) : tight.high.x() + 2.0;
  return model;
}

std::vector<Solid> build_body(const BodyShape& shape, double mid_x) {
  const double depth = shape.half_depth_mm;
  const double r = shape.thigh_radius_mm;
  const double wide = mid_x + 48.0 + r;  // as wide as the thighs below
  const std::vector<Level> trunk{
      {-420, mid_x, 0.86 * wide, 0.95 * depth}, {-160, mid_x, 0.90 * wide, 0.97 * depth},
      {-20, mid_x, 1.00 * wide, depth},         {50, mid_x, 0.86 * wide, 0.90 * depth},
      {92, mid_x, 0.55 * wide, 0.45 * depth},   {104, mid_x, 0.30 * wide, 0.10 * depth}};
  std::vector<Solid> body{{Layer::kFat, tube(trunk, 0.0)},
                          {Layer::kMuscle, tube(trunk, shape.fat_mm)}};
  for (const double way : {1.0, -1.0}) {
    const auto x = [&](double from_mid) { return mid_x - way * from_mid; };
    const std::vector<Level> thigh{{-30, x(mid_x + 18), 0.70 * r, 0.80 * r},
                                   {40, x(mid_x + 34), 0.95 * r, 1.02 * r},
                                   {110, x(mid_x + 38), r, r},
                                   {260, x(mid_x + 28), 0.88 * r, 0.90 * r},
                                   {420, x(mid_x + 16), 0.74 * r, 0.76 * r}};
    body.push_back({Layer::kFat, tube(thigh, 0.0)});
    body.push_back({Layer::kMuscle, tube(thigh, shape.fat_mm)});
  }
  return body;
}

}  // namespace tidemark::phantom
