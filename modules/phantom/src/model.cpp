#include "model.h"

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "cavity.h"
#include "clutter.h"
#include "gap.h"
#include "parallel.h"
#include "tidemark/phantom/bone_surface.h"

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

/// The hip of the other side: natural, or replaced by the same parts in a pose of its own.
void add_other_hip(const Model& model, const CaseSpec& spec, Scene& scene) {
  std::vector<Solid> right;
  Rigid3 femur;
  femur.rotation = turn(-3.0, Vec3::UnitZ());
  if (spec.other_hip == OtherHip::kReplaced) {
    const Vec3 head = model.femur_from_seat.apply(model.stem.head_centre);
    femur.translation = -(femur.rotation * head);
    const Rigid3 stem = femur.after(model.femur_from_seat);
    add_femur(model.femur, femur, right);
    right.push_back(placed(Layer::kStem, model.stem.mesh, stem));
    right.push_back(placed(Layer::kHead, model.head, stem));
    right.push_back({Layer::kShell, model.cup.shell});
    right.push_back({Layer::kLiner, model.cup.liner});
  } else if (model.other_femur) {
    femur.translation = -(femur.rotation * model.other_femur->head_centre);
    add_femur(*model.other_femur, femur, right);
  }
  for (Solid& solid : right) scene.solids.push_back(mirrored(std::move(solid), model.mid_x));
}

/// Lets only what the shutters leave through.
void collimate(Raster& primary, const FilmSpec& film, unsigned threads) {
  if (!film.clutter.collimation) return;
  for_each_index(primary.height, threads, [&](int y) {
    for (int x = 0; x < primary.width; ++x) {
      primary.at(x, y) *= static_cast<float>(std::max(1e-4, shutter_at(film, Vec2(x, y))));
    }
  });
}

/// The stem's widths and offset made to suit a bone that was not invented for it.
StemShape fitted_stem(StemShape stem, const FemurModel& femur) {
  const double canal = femur.canal_half_width_mm;
  stem.tip_half_width_mm = std::clamp(0.62 * canal, 3.4, 6.5);
  stem.half_width_mm = std::clamp(0.98 * canal, stem.tip_half_width_mm + 1.2, 10.0);
  stem.tip_half_depth_mm = 0.8 * stem.tip_half_width_mm;
  stem.head_offset_mm =
      std::clamp(femur.head_centre.x() - femur.canal_centre.x() - 1.0, 32.0, 52.0);
  return stem;
}

Expected<void> build_bones(Model& model, const CaseSpec& spec, unsigned threads) {
  const bool pelvis_shown = std::any_of(spec.films.begin(), spec.films.end(), [](const auto& film) {
    return film.field == FieldOfView::kPelvis;
  });
  Expected<TriangleMesh> surface;
  if (spec.surfaces.femur) {
    surface = read_surface(*spec.surfaces.femur, spec.surfaces.axes);
    if (!surface) return tl::unexpected(surface.error());
  }
  const auto femur = [&](NeckState neck) -> Expected<FemurModel> {
    if (!spec.surfaces.femur) return invent_femur(spec.femur, neck, threads);
    return femur_from_surface(*surface, spec.surfaces.femur_side, spec.femur, neck, threads);
  };
  auto cut = femur(NeckState::kCut);
  if (!cut) return tl::unexpected(cut.error());
  model.femur = std::move(*cut);
  if (pelvis_shown) {
    auto whole = femur(NeckState::kWhole);
    if (!whole) return tl::unexpected(whole.error());
    model.other_femur = std::move(*whole);
  }
  if (!spec.surfaces.pelvis) {
    model.pelvis = invent_pelvis(spec.femur.scale, 0.5 * spec.cup.outer_diameter_mm,
                                 spec.femur.texture_seed, threads);
    return {};
  }
  if (!spec.surfaces.femur) {
    return fail(ErrorKind::kUsage, "pelvis surface", "its socket is found by the head of a femur",
                "give the femur of the same person, in the same axes, too");
  }
  const auto pelvis = read_surface(*spec.surfaces.pelvis, spec.surfaces.axes);
  if (!pelvis) return tl::unexpected(pelvis.error());
  const Side side = spec.surfaces.femur_side;
  const auto marks = find_femur_landmarks(*surface, side);
  if (!marks) return tl::unexpected(marks.error());
  model.pelvis =
      pelvis_from_surface(*pelvis, side, marks->head_centre, spec.femur.texture_seed, threads);
  return {};
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
  if (const auto bones = build_bones(*model, spec, threads); !bones) {
    return tl::unexpected(bones.error());
  }
  model->stem_shape = spec.surfaces.femur ? fitted_stem(spec.stem, model->femur) : spec.stem;
  model->stem = build_stem(model->stem_shape);
  if (has_interface(spec)) {
    model->stem_distance = stem_distance(model->stem, model->stem_shape, threads);
  }
  const double head_radius = 0.5 * spec.head_diameter.value;
  model->head = sphere_mesh(model->stem.head_centre, head_radius, 256);
  model->cup = build_cup(spec.cup, head_radius);
  model->mid_x = model->pelvis.mid_x;
  model->body = build_body(spec.body, model->mid_x);
  model->femur_from_seat = seat_stem(model->femur, model->stem, spec);
  const Rigid3 stem_from_femur = model->femur_from_seat.inverse();
  std::erase_if(model->femur.struts, [&](const Strut& s) {
    return stem_holds(model->stem_shape, stem_from_femur.apply(0.5 * (s.from + s.to)));
  });
  std::erase_if(model->pelvis.struts, [&](const Strut& s) {
    return (0.5 * (s.from + s.to)).norm() < 0.5 * spec.cup.outer_diameter_mm;
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
  add_interface(model, spec, film, femur, scene);
  add_cavities(model, film, femur, scene);
  scene.solids.push_back(placed(Layer::kStem, model.stem.mesh, stem));
  scene.solids.push_back(placed(Layer::kHead, model.head, stem));
  scene.solids.push_back({Layer::kShell, model.cup.shell});
  scene.solids.push_back({Layer::kLiner, model.cup.liner});
  scene.solids.push_back({Layer::kPelvis, model.pelvis.outer});
  scene.solids.push_back({Layer::kPelvisInside, model.pelvis.inside});
  add_struts(model.pelvis.struts, Rigid3{}, scene);
  scene.solids.insert(scene.solids.end(), model.body.begin(), model.body.end());
  for (Solid& solid : clutter_solids(spec, film, femur)) scene.solids.push_back(std::move(solid));
  if (film.field == FieldOfView::kPelvis) add_other_hip(model, spec, scene);
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
  Raster primary = render(make_scene(model, spec, film), film.beam, threads);
  collimate(primary, film, threads);
  result.pixels = develop(expose(primary, film, threads), film, threads);
  result.truth = truth_as_right(model, spec, film);
  result.truth.cavities = cavity_truth(model, spec, film, result.truth.mm_per_px, threads);
  if (spec.side == Side::kLeft) {  // everything up to here was a right hip
    for (int y = 0; y < result.pixels.height; ++y) {
      const auto row =
          result.pixels.values.begin() + static_cast<std::ptrdiff_t>(y) * result.pixels.width;
      std::reverse(row, row + result.pixels.width);
    }
    mirror(result.truth, film.beam.columns);
  }
  return result;
}

}  // namespace tidemark::phantom
