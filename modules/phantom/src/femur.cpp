#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "parts.h"
#include "random.h"

namespace tidemark::phantom {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;

double smooth_step(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * (3.0 - 2.0 * t);
}

Eigen::Matrix3d turn_z(double deg) {
  return Eigen::AngleAxisd(deg * kRad, Vec3::UnitZ()).toRotationMatrix();
}

/// The solid of an invented femur, its lengths in mm at scale 1.
class InventedFemur {
 public:
  explicit InventedFemur(const FemurShape& shape)
      : s_(shape),
        head_(shape.offset_mm, -shape.head_height_mm,
              -shape.offset_mm * std::tan(shape.anteversion_deg * kRad)),
        lesser_way_(std::cos(shape.lesser_turn_deg * kRad), 0.0,
                    std::sin(shape.lesser_turn_deg * kRad)),
        greater_turn_(turn_z(-14.0).transpose()) {}

  [[nodiscard]] const Vec3& head() const { return head_; }

  [[nodiscard]] double shaft(const Vec3& p) const {
    const double g = std::pow(std::clamp((8.0 - p.y()) / 42.0, 0.0, 1.3), 1.5);
    const double r = s_.shaft_radius_mm + 0.9 * std::clamp((60.0 - p.y()) / 60.0, 0.0, 1.0);
    const double half_width = r * (1.0 + 0.26 * g);
    const double half_depth = r * (1.02 + 0.15 * g);
    const double bow = -s_.bow_mm * (1.0 - std::pow((p.y() - 70.0) / 70.0, 2.0));
    const double q = std::hypot((p.x() - 4.0 * g) / half_width, (p.z() - bow) / half_depth);
    return std::max((q - 1.0) * std::sqrt(half_width * half_depth), -34.0 - p.y());
  }
  [[nodiscard]] double neck(const Vec3& p) const {
    const double cone =
        bar(p, {3.0, -21.0, 0.0}, head_ - 0.25 * (head_ - Vec3(3, -21, 0)), 18.0, 14.5);
    return smooth_union(cone, (p - head_).norm() - 23.5, 6.0);
  }
  [[nodiscard]] double greater(const Vec3& p) const {
    const double k = s_.greater_size;
    const Vec3 top = greater_turn_ * (p - Vec3(-14.0, -32.0 - s_.greater_height_mm, 9.0));
    const double crown = ellipsoid(top, k * Vec3(10.0, 21.0, 14.0));
    const double bulk = ellipsoid(p - Vec3(-18.0, -22.0, 2.0), k * Vec3(11.5, 17.0, 15.0));
    return smooth_union(crown, bulk, 8.0);
  }
  [[nodiscard]] double lesser(const Vec3& p) const {
    const double k = s_.lesser_size;
    const Vec3 q = p - (s_.shaft_radius_mm + 2.5) * lesser_way_ - Vec3(0, s_.lesser_level_mm, 0);
    const double out = q.dot(lesser_way_);
    const double across = q.x() * lesser_way_.z() - q.z() * lesser_way_.x();
    return ellipsoid({out, q.y(), across}, k * Vec3(10.5, 12.0, 9.0));
  }
  [[nodiscard]] double crest(const Vec3& p) const {
    return bar(p, {-11.0, -40.0, 18.0}, {9.0, -9.0, 19.0}, 4.0, 3.0);
  }
  [[nodiscard]] double solid(const Vec3& p) const {
    double d = smooth_union(shaft(p), neck(p), 12.0);
    d = smooth_union(d, greater(p), 9.0);
    d = smooth_union(d, lesser(p), 6.0);
    return smooth_union(d, crest(p), 7.0);
  }

 private:
  FemurShape s_;
  Vec3 head_;
  Vec3 lesser_way_;
  Eigen::Matrix3d greater_turn_;
};

/// Thickness of the cortex at a place of the femur frame (scale 1): thin about the metaphysis,
/// thick in the shaft, a strong calcar medially; a little uneven, as bone is.
double cortex_at(const Vec3& p, const FemurShape& shape) {
  const double down = smooth_step((p.y() + 28.0 - shape.cortex_start) / 88.0);
  const double calcar =
      2.0 * std::exp(-std::pow((p.y() + 6.0) / 18.0, 2.0)) * std::clamp(p.x() / 14.0, 0.0, 1.0);
  const double phase = static_cast<double>(shape.texture_seed % 1000);
  const double uneven = 0.25 * std::sin(p.y() / 3.1 + p.x() / 5.0 + phase) +
                        0.20 * std::sin(p.y() / 7.3 - p.z() / 4.0 + 2.0 * phase) +
                        0.15 * std::sin(p.x() / 2.9 + p.z() / 3.7 + 3.0 * phase);
  return 1.5 + (shape.cortex_mm - 1.5) * down + calcar + uneven * (0.4 + down);
}

/// Positive where the saw took the bone away: above an oblique plane, medial of the saddle.
double removed(const Vec3& p) {
  const double above = (p - Vec3(26.0, -21.0, 0.0)).dot(Vec3(0.643, -0.766, 0.0));
  return std::min(above, p.x() - 3.0);
}

std::vector<Vec3> points_where(const TriangleMesh& mesh,
                               const std::function<bool(const Vec3&)>& holds) {
  std::vector<Vec3> points;
  std::copy_if(mesh.points.begin(), mesh.points.end(), std::back_inserter(points), holds);
  return points;
}

/// Bars of compact bone along the crest between the trochanters, just under the surface.
TriangleMesh dense_crest(double k) {
  std::vector<Vec3> chain;
  for (int i = 0; i <= 12; ++i) {
    const double t = i / 12.0;
    chain.push_back(k * Vec3(-11.0 + 20.0 * t, -40.0 + 31.0 * t, 19.5 + 0.8 * std::sin(3.1 * t)));
  }
  return bar_mesh(chain, 1.3 * k, 16);
}

/// Middle and half width of the canal at the level y, from where it is widest inside.
void measure_canal(FemurModel& model, double y, const ScalarGrid& inside) {
  Vec3 middle(0, y, 0);
  for (int round = 0; round < 3; ++round) {
    for (const int axis : {2, 0}) {
      Vec3 low = middle;
      Vec3 high = middle;
      while (low[axis] > -30.0 && value_at(inside, low) < 0.0) low[axis] -= 0.05;
      while (high[axis] < 30.0 && value_at(inside, high) < 0.0) high[axis] += 0.05;
      middle = 0.5 * (low + high);
      model.canal_half_width_mm = 0.5 * (high - low)[axis];
    }
  }
  model.canal_centre = middle;
}

}  // namespace

FemurFields cut_and_hollow(const ScalarGrid& whole, const FemurShape& shape, double scale,
                           NeckState neck, unsigned threads) {
  const auto cut = [&](const Vec3& p, double d) {
    return neck == NeckState::kCut ? std::max(d, scale * removed(p / scale)) : d;
  };
  const auto hollow = [&](const Vec3& p, double d) {
    return cut(p, d + scale * cortex_at(p / scale, shape));
  };
  return {changed_grid(whole, cut, threads), changed_grid(whole, hollow, threads)};
}

void finish_femur(FemurModel& model, const ScalarGrid& inside, double scale,
                  const FemurShape& shape) {
  measure_canal(model, 60.0 * scale, inside);
  StrutPlan plan;
  plan.box = {scale * Vec3(-34, -64, -28), scale * Vec3(36, 45, 30)};
  plan.scale = scale;
  plan.fade_from_mm = -15.0 * scale;
  plan.fade_over_mm = 60.0 * scale;
  // The groups that a film shows: compressive from the calcar to the head, tensile from the
  // lateral cortex over to the head, and the fan of the greater trochanter. House choice of shares.
  plan.groups = {Vec3(0.42, -0.90, -0.1), Vec3(0.80, -0.60, -0.1), Vec3(-0.25, -0.95, 0.2),
                 Vec3(0.0, -1.0, 0.0)};
  plan.seed = shape.texture_seed;
  model.struts = grow_struts(inside, plan);
}

FemurModel invent_femur(const FemurShape& shape, NeckState neck, unsigned threads) {
  const InventedFemur femur(shape);
  const double k = shape.scale;
  const Box box{k * Vec3(-36, -82, -40), k * Vec3(74, 235, 34)};
  const ScalarGrid whole = make_grid(
      box, 1.1 * k, [&](const Vec3& p) { return k * femur.solid(p / k); }, threads);
  FemurModel model;
  model.fields = cut_and_hollow(whole, shape, k, neck, threads);
  const FemurFields& fields = model.fields;
  model.outer = contour(fields.outer);
  model.inside = contour(fields.inside);
  model.crest = dense_crest(k);
  model.head_centre = k * femur.head();
  const double own = 1.5;  // mm from a part's own surface at which a point still counts as its
  model.lesser_points = points_where(model.outer, [&](const Vec3& p) {
    return femur.lesser(p / k) < own && femur.shaft(p / k) > 1.0 && femur.neck(p / k) > 3.0;
  });
  model.greater_points =
      points_where(model.outer, [&](const Vec3& p) { return femur.greater(p / k) < own; });
  finish_femur(model, fields.inside, k, shape);
  return model;
}

std::vector<Strut> grow_struts(const ScalarGrid& inside, const StrutPlan& plan) {
  CountedRandom random(mix({plan.seed, 0x7e87}));
  std::vector<Strut> struts;
  const auto somewhere = [&] {
    return Vec3(random.uniform(plan.box.low.x(), plan.box.high.x()),
                random.uniform(plan.box.low.y(), plan.box.high.y()),
                random.uniform(plan.box.low.z(), plan.box.high.z()));
  };
  for (int i = 0; i < plan.struts; ++i) {
    const Vec3 p = somewhere();
    const Vec3 wild(random.normal(0, 0.35), random.normal(0, 0.35), random.normal(0, 0.35));
    const Vec3 way =
        (plan.groups[static_cast<std::size_t>(random.uniform(0, 4))] + wild).normalized();
    const double length = random.uniform(2.0, 8.0) * plan.scale;
    const double radius = random.uniform(0.13, 0.28);
    const double thickness = (random.chance(0.6) ? 1.0 : -1.0) * random.uniform(0.15, 0.55);
    const double fade = 1.0 - (p.y() - plan.fade_from_mm) / plan.fade_over_mm;
    if (random.unit() > fade || value_at(inside, p) > -0.3 ||
        value_at(inside, p + length * way) > -0.2) {
      continue;
    }
    struts.push_back({p, p + length * way, radius, thickness});
  }
  for (int i = 0; i < plan.blobs; ++i) {  // marrow spaces and denser spots
    const Vec3 p = somewhere();
    const double radius = random.uniform(0.9, 2.4) * plan.scale;
    const double thickness = random.normal(0.0, 0.35);
    if (value_at(inside, p) > -radius) continue;
    struts.push_back({p, p + Vec3(0, 1e-3, 0), radius, thickness});
  }
  return struts;
}

}  // namespace tidemark::phantom
