#include "model.h"

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace tidemark::phantom {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;

Eigen::Matrix3d turn(double deg, const Vec3& axis) {
  return Eigen::AngleAxisd(deg * kRad, axis).toRotationMatrix();
}

/// The stem in the middle of the canal, its head level with the natural one.
Rigid3 seat_stem(const FemurModel& femur, const StemModel& stem, const CaseSpec& spec) {
  Rigid3 seat;
  seat.rotation = turn(spec.seat_tilt.value, Vec3::UnitZ()) *
                  turn(spec.femur.anteversion_deg - 2.0, Vec3::UnitY());
  const Vec3 head = seat.rotation * (stem.head_centre - stem.reference);
  const Vec3 reference(femur.canal_centre.x() + spec.seat_medial.value,
                       femur.head_centre.y() - head.y(), femur.canal_centre.z() + 1.0);
  seat.translation = reference - seat.rotation * stem.reference;
  return seat;
}

Solid placed(Layer layer, const TriangleMesh& mesh, const Rigid3& world_from_part) {
  return {layer, moved(mesh, world_from_part)};
}

/// A part of the right hip as the left one: mirrored in the middle of the body.
Solid mirrored(Solid solid, double mid_x) {
  const Eigen::Matrix3d mirror = Vec3(-1, 1, 1).asDiagonal();
  solid.mesh = mapped(std::move(solid.mesh), mirror, Vec3(2.0 * mid_x, 0, 0));
  return solid;
}

void add_femur(const FemurModel& femur, const Rigid3& world_from_femur,
               std::vector<Solid>& solids) {
  solids.push_back(placed(Layer::kFemur, femur.outer, world_from_femur));
  solids.push_back(placed(Layer::kFemurInside, femur.inside, world_from_femur));
  if (!femur.crest.triangles.empty()) {
    solids.push_back(placed(Layer::kDenseBone, femur.crest, world_from_femur));
  }
}

void add_struts(const std::vector<Strut>& struts, const Rigid3& world_from_part, Scene& scene) {
  for (const Strut& s : struts) {
    scene.struts.push_back(
        {world_from_part.apply(s.from), world_from_part.apply(s.to), s.radius_mm, s.thickness_mm});
  }
}

}  // namespace

Rigid3 femur_from_stem(const Model& model, const Motion& motion) {
  const Vec3 reference = model.femur_from_seat.apply(model.stem.reference);
  Rigid3 moved_from_seat;
  moved_from_seat.rotation = turn(motion.tilt_change.value, Vec3::UnitZ());
  moved_from_seat.translation = reference - moved_from_seat.rotation * reference +
                                Vec3(motion.medial.value, motion.subsidence.value, 0.0);
  return moved_from_seat.after(model.femur_from_seat);
}

Rigid3 world_from_femur(const Model& model, const FilmSpec& film) {
  Rigid3 world;
  world.rotation = turn(film.pose.abduction.value, Vec3::UnitZ()) *
                   turn(-film.pose.flexion.value, Vec3::UnitX()) *
                   turn(-film.pose.rotation.value, Vec3::UnitY());
  const Vec3 head = femur_from_stem(model, film.motion).apply(model.stem.head_centre);
  world.translation = -(world.rotation * head);
  return world;
}

Expected<std::shared_ptr<const Model>> build_model(const CaseSpec& spec, unsigned threads) {
  auto model = std::make_shared<Model>();
  const bool pelvis_shown = std::any_of(spec.films.begin(), spec.films.end(), [](const auto& film) {
    return film.field == FieldOfView::kPelvis;
  });
  model->femur = invent_femur(spec.femur, NeckState::kCut, threads);
  if (pelvis_shown) model->other_femur = invent_femur(spec.femur, NeckState::kWhole, threads);
  model->stem = build_stem(spec.stem);
  const double head_radius = 0.5 * spec.head_diameter.value;
  model->head = sphere_mesh(model->stem.head_centre, head_radius, 256);
  model->cup = build_cup(spec.cup, head_radius);
  model->mid_x = kHipFromMidline * spec.femur.scale;
  model->pelvis = invent_pelvis(spec.femur.scale, 0.5 * spec.cup.outer_diameter_mm, threads);
  model->body = build_body(spec.body, model->mid_x);
  model->femur_from_seat = seat_stem(model->femur, model->stem, spec);
  const Rigid3 stem_from_femur = model->femur_from_seat.inverse();
  std::erase_if(model->femur.struts, [&](const Strut& s) {
    return stem_holds(spec.stem, stem_from_femur.apply(0.5 * (s.from + s.to)));
  });
  return std::shared_ptr<const Model>(std::move(model));
}

Scene make_scene(const Model& model, const CaseSpec& spec, const FilmSpec& film) {
  Scene scene;
  const Rigid3 femur = world_from_femur(model, film);
  const Rigid3 stem = femur.after(femur_from_stem(model, film.motion));
  scene.spongiosa.femur_from_world = femur.inverse();
  scene.spongiosa.level_mm = -2.0 * spec.femur.scale;
  add_femur(model.femur, femur, scene.solids);
  add_struts(model.femur.struts, femur, scene);
  scene.solids.push_back(placed(Layer::kStem, model.stem.mesh, stem));
  scene.solids.push_back(placed(Layer::kHead, model.head, stem));
  scene.solids.push_back({Layer::kShell, model.cup.shell});
  scene.solids.push_back({Layer::kLiner, model.cup.liner});
  scene.solids.push_back({Layer::kPelvis, model.pelvis.outer});
  scene.solids.push_back({Layer::kPelvisInside, model.pelvis.inside});
  add_struts(model.pelvis_struts, Rigid3{}, scene);
  scene.solids.insert(scene.solids.end(), model.body.begin(), model.body.end());
  if (model.other_femur && film.field == FieldOfView::kPelvis) {
    Rigid3 other;
    other.rotation = turn(-3.0, Vec3::UnitZ());
    other.translation = -(other.rotation * model.other_femur->head_centre);
    std::vector<Solid> right;
    add_femur(*model.other_femur, other, right);
    for (Solid& solid : right) scene.solids.push_back(mirrored(std::move(solid), model.mid_x));
  }
  return scene;
}

PointSubsidence subsidence_of_points(const Model& model, const CaseSpec& spec,
                                     const Motion& motion) {
  const Rigid3 after = femur_from_stem(model, motion);
  const Rigid3 before = femur_from_stem(model, spec.films.front().motion);
  const auto shift = [&](const Vec3& p) { return after.apply(p).y() - before.apply(p).y(); };
  return {shift(model.stem.head_centre), shift(model.stem.shoulder), shift(model.stem.tip)};
}

SimulatedFilm simulate(const Model& model, const CaseSpec& spec, const FilmSpec& film,
                       unsigned threads) {
  SimulatedFilm result;
  const Raster primary = render(make_scene(model, spec, film), film.beam, threads);
  result.pixels = develop(expose(primary, film, threads), film, threads);
  result.truth = make_truth(model, spec, film);
  if (spec.side == Side::kLeft) {  // everything up to here was a right hip
    for (int y = 0; y < result.pixels.height; ++y) {
      const auto row =
          result.pixels.values.begin() + static_cast<std::ptrdiff_t>(y) * result.pixels.width;
      std::reverse(row, row + result.pixels.width);
    }
  }
  return result;
}

}  // namespace tidemark::phantom
