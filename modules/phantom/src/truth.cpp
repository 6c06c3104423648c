#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "gap.h"
#include "model.h"

namespace tidemark::phantom {
namespace {

/// Circle of the shadow of a sphere: an ellipse off the central ray, given by its centre and the
/// mean of its radii.
Circle2 shadow_of_sphere(const Vec3& centre, double radius_mm, const Beam& beam) {
  const Vec3 from_source = centre - beam.source();
  const double part = radius_mm * radius_mm / from_source.squaredNorm();
  const Vec3 middle = centre - part * from_source;  // of the circle in which rays graze the sphere
  const double grazing = radius_mm * std::sqrt(1.0 - part);
  const Vec3 side = from_source.unitOrthogonal();
  const Vec3 up = from_source.normalized().cross(side);
  constexpr int kPoints = 360;
  Polyline outline;
  Circle2 circle;
  for (int i = 0; i < kPoints; ++i) {
    const double turn = 2.0 * std::numbers::pi * i / kPoints;
    outline.push_back(
        beam.project(middle + grazing * (std::cos(turn) * side + std::sin(turn) * up)));
    circle.centre += outline.back() / kPoints;
  }
  for (const Vec2& p : outline) circle.radius += (p - circle.centre).norm() / kPoints;
  return circle;
}

/// A frame on the film: along a femur or stem (+ distal) and across it (+ medial).
struct FilmFrame {
  Vec2 along;
  Vec2 across;

  explicit FilmFrame(const Vec2& direction)
      : along(direction.normalized()), across(along.y(), -along.x()) {}
};

template <class Value>
Vec2 greatest(const std::vector<Vec2>& points, const Value& value) {
  return *std::max_element(points.begin(), points.end(),
                           [&](const Vec2& a, const Vec2& b) { return value(a) < value(b); });
}

std::vector<Vec2> shadows(const std::vector<Vec3>& points, const Rigid3& world_from_part,
                          const Beam& beam) {
  std::vector<Vec2> px;
  px.reserve(points.size());
  for (const Vec3& p : points) px.push_back(beam.project(world_from_part.apply(p)));
  return px;
}

struct Extent {
  double low = std::numeric_limits<double>::max();
  double high = std::numeric_limits<double>::lowest();
};

/// Extent across the frame of a surface's shadow at levels first + i * step along it.
std::vector<Extent> extents(const TriangleMesh& mesh, const std::vector<Vec2>& px,
                            const FilmFrame& frame, double first, double step, int count) {
  std::vector<Extent> result(static_cast<std::size_t>(count));
  for (const auto& t : mesh.triangles) {
    for (std::size_t i = 0; i < 3; ++i) {
      const Vec2& a = px[static_cast<std::size_t>(t[i])];
      const Vec2& b = px[static_cast<std::size_t>(t[(i + 1) % 3])];
      const double ya = frame.along.dot(a);
      const double yb = frame.along.dot(b);
      const int from = std::max(0, static_cast<int>(std::ceil((std::min(ya, yb) - first) / step)));
      const int to =
          std::min(count - 1, static_cast<int>(std::floor((std::max(ya, yb) - first) / step)));
      for (int level = from; level <= to && ya != yb; ++level) {
        const double part = (first + level * step - ya) / (yb - ya);
        const double across = frame.across.dot(a + part * (b - a));
        Extent& extent = result[static_cast<std::size_t>(level)];
        extent.low = std::min(extent.low, across);
        extent.high = std::max(extent.high, across);
      }
    }
  }
  return result;
}

/// Mid-line of the outer cortices between two distances (px) below a level, proximal end first.
std::array<Vec2, 2> mid_line(const TriangleMesh& mesh, const std::vector<Vec2>& px,
                             const FilmFrame& frame, double from, double to) {
  constexpr int kLevels = 71;
  const double step = (to - from) / (kLevels - 1);
  const auto widths = extents(mesh, px, frame, from, step, kLevels);
  double n = 0, sy = 0, sx = 0, syy = 0, sxy = 0;
  for (int i = 0; i < kLevels; ++i) {
    const Extent& e = widths[static_cast<std::size_t>(i)];
    if (e.high < e.low) continue;
    const double y = i * step;
    const double x = 0.5 * (e.low + e.high);
    n += 1, sy += y, sx += x, syy += y * y, sxy += x * y;
  }
  const double slope = (n * sxy - sx * sy) / (n * syy - sy * sy);
  const double offset = (sx - slope * sy) / n;
  const auto at = [&](double y) {
    return Vec2((from + y) * frame.along + (offset + slope * y) * frame.across);
  };
  return {at(0.0), at(to - from)};
}

void find_bone(const Model& model, const FilmSpec& film, FilmTruth& truth) {
  const Rigid3 world = world_from_femur(model, film);
  const auto outer = shadows(model.femur.outer.points, world, film.beam);
  const auto lesser = shadows(model.femur.lesser_points, world, film.beam);
  const auto greater = shadows(model.femur.greater_points, world, film.beam);
  FilmFrame frame(film.beam.project(world.apply({0, 90, 0})) -
                  film.beam.project(world.apply({0, 20, 0})));
  for (int round = 0; round < 3; ++round) {  // the axis decides what "medial of the axis" means
    truth.lesser_trochanter = greatest(lesser, [&](const Vec2& p) { return frame.across.dot(p); });
    const double level = frame.along.dot(truth.lesser_trochanter);
    truth.shaft_axis = mid_line(model.femur.outer, outer, frame, level + 20.0 / truth.mm_per_px,
                                level + 90.0 / truth.mm_per_px);
    frame = FilmFrame(truth.shaft_axis[1] - truth.shaft_axis[0]);
  }
  truth.greater_trochanter = greatest(greater, [&](const Vec2& p) { return -frame.along.dot(p); });
  const Extent outline =
      extents(model.femur.outer, outer, frame, frame.along.dot(truth.lesser_trochanter), 1.0, 1)[0];
  const auto in_field = [&](const Vec2& p) {
    return p.x() > 0 && p.y() > 0 && p.x() < film.beam.columns - 1 && p.y() < film.beam.rows - 1;
  };
  truth.lesser_visible =
      in_field(truth.lesser_trochanter) &&
      outline.high - frame.across.dot(truth.lesser_trochanter) < 0.3 / truth.mm_per_px;
  truth.greater_visible = in_field(truth.greater_trochanter);
}

void find_stem(const Model& model, const Rigid3& world_from_stem, const Beam& beam,
               FilmTruth& truth) {
  const auto at = [&](const Vec3& p) { return beam.project(world_from_stem.apply(p)); };
  truth.stem_reference = at(model.stem.reference);
  truth.stem_axis = {at({0, model.stem.axis_from_mm, 0}), at({0, model.stem.axis_to_mm, 0})};
  const FilmFrame frame(truth.stem_axis[1] - truth.stem_axis[0]);
  const auto px = shadows(model.stem.mesh.points, world_from_stem, beam);
  truth.stem_tip = greatest(px, [&](const Vec2& p) { return frame.along.dot(p); });
  std::vector<Vec2> body;
  for (std::size_t i = 0; i < px.size(); ++i) {
    const double level = model.stem.mesh.points[i].y();
    if (level >= 0.0 && level < 15.0) body.push_back(px[i]);
  }
  truth.stem_shoulder =
      greatest(body, [&](const Vec2& p) { return -(frame.along + frame.across).dot(p); });
}

/// Outer and inner borders of the cortex and the stem's width at levels along the shaft axis.
void find_sections(const Model& model, const FilmSpec& film, const Rigid3& world_from_stem,
                   FilmTruth& truth) {
  constexpr double kFirstMm = 30.0;  // above the lesser trochanter
  constexpr double kStepMm = 10.0;
  constexpr int kLevels = 15;
  const Rigid3 world = world_from_femur(model, film);
  const FilmFrame frame(truth.shaft_axis[1] - truth.shaft_axis[0]);
  const double mm = truth.mm_per_px;
  const double first = frame.along.dot(truth.lesser_trochanter) - kFirstMm / mm;
  const auto at_levels = [&](const TriangleMesh& mesh, const Rigid3& world_from_mesh) {
    return extents(mesh, shadows(mesh.points, world_from_mesh, film.beam), frame, first,
                   kStepMm / mm, kLevels);
  };
  const auto outer = at_levels(model.femur.outer, world);
  const auto inner = at_levels(model.femur.inside, world);
  const auto stem = at_levels(model.stem.mesh, world_from_stem);
  const double axis = frame.across.dot(truth.shaft_axis[0]);
  const auto across = [&](const Extent& e) {
    return AcrossTruth{(e.low - axis) * mm, (e.high - axis) * mm};
  };
  for (std::size_t i = 0; i < outer.size(); ++i) {
    if (outer[i].high < outer[i].low || inner[i].high < inner[i].low) continue;
    SectionTruth section{
        kFirstMm - kStepMm * static_cast<double>(i), across(outer[i]), across(inner[i]), {}};
    if (stem[i].high > stem[i].low) section.stem = across(stem[i]);
    truth.sections.push_back(section);
  }
}

}  // namespace

Vec2 mirrored(const Vec2& px, int columns) { return {columns - 1.0 - px.x(), px.y()}; }

void mirror(FilmTruth& truth, int columns) {
  for (Vec2* p : {&truth.head.centre, &truth.cup.centre, &truth.stem_reference, &truth.stem_tip,
                  &truth.stem_shoulder, &truth.lesser_trochanter, &truth.greater_trochanter,
                  &truth.stem_axis[0], &truth.stem_axis[1], &truth.shaft_axis[0],
                  &truth.shaft_axis[1], &truth.lucency.entry_px}) {
    *p = mirrored(*p, columns);
  }
  for (CavityTruth& cavity : truth.cavities) cavity.centre_px = mirrored(cavity.centre_px, columns);
}

FilmTruth truth_as_right(const Model& model, const CaseSpec& spec, const FilmSpec& film) {
  FilmTruth truth;
  const Rigid3 world_from_stem =
      world_from_femur(model, film).after(femur_from_stem(model, film.motion));
  const Vec3 reference = world_from_stem.apply(model.stem.reference);
  truth.mm_per_px = film.beam.pixel_pitch.value / film.beam.magnification(reference);
  truth.head = shadow_of_sphere(world_from_stem.apply(model.stem.head_centre),
                                0.5 * spec.head_diameter.value, film.beam);
  truth.cup = shadow_of_sphere(Vec3::Zero(), 0.5 * spec.cup.outer_diameter_mm, film.beam);
  find_stem(model, world_from_stem, film.beam, truth);
  find_bone(model, film, truth);
  find_sections(model, film, world_from_stem, truth);
  truth.lucency = lucency_truth(model, spec, film, world_from_stem, truth);
  // In a right hip lateral is -x: an axis whose distal end lies lateral of the shaft's is in varus,
  // and turns clockwise from it on the film.
  truth.tilt_deg = angle_between(truth.shaft_axis[1] - truth.shaft_axis[0],
                                 truth.stem_axis[1] - truth.stem_axis[0]) *
                   180.0 / std::numbers::pi;
  return truth;
}

FilmTruth make_truth(const Model& model, const CaseSpec& spec, const FilmSpec& film) {
  FilmTruth truth = truth_as_right(model, spec, film);
  if (spec.side == Side::kLeft) mirror(truth, film.beam.columns);
  return truth;
}

}  // namespace tidemark::phantom
