#include "cavity.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

#include "gap.h"
#include "lucency_case.h"

namespace tidemark::phantom {
namespace {

constexpr double kGrid = 0.5;         // mm, of a cavity's surface
constexpr double kTruthPitch = 0.25;  // mm in the plane of the stem
constexpr double kLeastDepth = 2e-3;  // of log exposure: less is rounding

/// Middle of a cavity in the femur frame; by the stem as seated at surgery.
Vec3 centre_of(const Model& model, const Cavity& cavity) {
  const StemShape& shape = model.stem_shape;
  const double entry = entry_level(model, model.femur_from_seat);
  const double third = (shape.length_mm - entry) / 3.0;
  const double y = entry + (third_of(cavity.zone) + cavity.level) * third;
  const bool lateral = cavity.zone < 4;
  const FlankX flanks = flanks_at(shape, y);
  const auto at = [&](double out) {
    const double x = lateral ? flanks.lateral - out : flanks.medial + out;
    return model.femur_from_seat.apply(Vec3(x, y, cavity.back.value));
  };
  constexpr double kFine = 0.1;
  double room = 0.0;
  while (room < 60.0 && value_at(model.femur.fields.outer, at(room)) < 0.0) room += kFine;
  return at(cavity.in_bone * room);
}

/// A cavity in its place, femur frame.
struct Placed {
  Cavity cavity;
  Vec3 centre;

  /// About the distance to its surface moved outwards by `more_mm`, negative inside.
  [[nodiscard]] double distance(const Vec3& p, double more_mm = 0.0) const {
    return ellipsoid(p - centre, cavity.half_axes_mm + Vec3::Constant(more_mm));
  }
};

std::vector<Placed> placed_of(const Model& model, const FilmSpec& film) {
  std::vector<Placed> out;
  for (const Cavity& cavity : film.cavities) {
    if (cavity.there()) out.push_back({cavity, centre_of(model, cavity)});
  }
  return out;
}

/// Its surface, cut off where the bone ends.
TriangleMesh surface_of(const Model& model, const Placed& placed, double more_mm) {
  const Vec3 reach = placed.cavity.half_axes_mm + Vec3::Constant(more_mm + 2.0 * kGrid);
  const ScalarGrid grid = make_grid(
      {placed.centre - reach, placed.centre + reach}, kGrid,
      [&](const Vec3& p) {
        return std::max(placed.distance(p, more_mm), value_at(model.femur.fields.outer, p));
      },
      1);
  return contour(grid);
}

/// The part of the detector that shows a box about a cavity, seen with a pitch of its own.
Beam window_of(const Beam& beam, const Placed& placed, const Rigid3& world_from_femur,
               double mm_per_px) {
  const double reach = placed.cavity.half_axes_mm.maxCoeff() + 1.0;
  const Vec2 middle = beam.project(world_from_femur.apply(placed.centre));
  Beam out = beam;
  out.pixel_pitch.value = beam.pixel_pitch.value * kTruthPitch / mm_per_px;
  out.columns = out.rows = 2 * static_cast<int>(std::ceil(reach / kTruthPitch)) + 1;
  const Vec3 on_detector = beam.on_detector(middle);
  out.field_shift_mm = on_detector.head<2>() - beam.centre_mm;
  return out;
}

/// Scenes of a film without texture: as it is, as it was, and parts of it.
struct Scenes {
  Scene now;
  Scene was;
  Scene boneless;  ///< as it was without the femur
  Scene metal;
};

Scenes scenes_of(const Model& model, const CaseSpec& spec, const FilmSpec& film) {
  FilmSpec before = film;
  before.cavities = spec.films.front().cavities;
  Scenes out{make_scene(model, spec, film), make_scene(model, spec, before), {}, {}};
  out.now.struts.clear();
  out.was.struts.clear();
  out.boneless = out.metal = out.was;
  std::erase_if(out.boneless.solids, [](const Solid& solid) {
    return solid.layer >= Layer::kGap && solid.layer <= Layer::kFemur;
  });
  std::erase_if(out.metal.solids, [](const Solid& solid) { return !is_metal(solid.layer); });
  return out;
}

CavityTruth truth_of(const Scenes& scenes, const Beam& window, const Beam& beam, unsigned threads) {
  const Raster now = render(scenes.now, window, threads);
  const Raster was = render(scenes.was, window, threads);
  const Raster bare = render(scenes.boneless, window, threads);
  const Raster metal = render(scenes.metal, window, threads);
  const auto darker = [&](std::size_t i) {
    return metal.values[i] < 1.0F ? 0.0 : std::log(now.values[i] / was.values[i]);
  };
  CavityTruth out;
  for (std::size_t i = 0; i < now.values.size(); ++i) {
    if (darker(i) <= out.depth) continue;
    out.depth = darker(i);
    out.depth_share = out.depth / std::log(bare.values[i] / was.values[i]);
  }
  double count = 0.0;
  Vec2 sum = Vec2::Zero();
  for (int y = 0; y < now.height; ++y) {
    for (int x = 0; x < now.width; ++x) {
      const double d = darker(static_cast<std::size_t>(y) * static_cast<std::size_t>(now.width) +
                              static_cast<std::size_t>(x));
      if (d > kLeastDepth) out.area_mm2 += kTruthPitch * kTruthPitch;
      if (d < kLeastDepth || d < 0.5 * out.depth) continue;
      sum += Vec2(x, y);
      count += 1.0;
    }
  }
  out.half_area_mm2 = count * kTruthPitch * kTruthPitch;
  if (count > 0.0) out.centre_px = beam.project(window.on_detector(sum / count));
  return out;
}

/// Larger than on the first film.
bool grew(const CaseSpec& spec, const FilmSpec& film, std::size_t i) {
  const auto& first = spec.films.front().cavities;
  const double before = i < first.size() ? first[i].half_axes_mm.x() : 0.0;
  return film.cavities[i].half_axes_mm.x() > before;
}

/// Half axes of a cavity as large as it gets: as common as small ones are large ones. House choice.
Cavity draw_cavity(CountedRandom& random, int zone) {
  Cavity out;
  out.zone = zone;
  const bool metaphysis = third_of(zone) == 0;
  out.level = random.uniform(0.3, 0.7);
  out.in_bone = metaphysis ? random.uniform(0.25, 0.6) : random.uniform(0.2, 0.55);
  out.back.value = random.uniform(-4.0, 4.0);
  const double across = metaphysis ? random.uniform(3.0, 9.0) : random.uniform(2.5, 6.0);
  out.half_axes_mm =
      across * Vec3(1.0, random.uniform(0.9, 1.8), random.uniform(0.8, metaphysis ? 1.4 : 1.8));
  const double rim = random.uniform(0.4, 0.9);
  if (random.chance(0.5)) out.rim = Millimetres{rim};
  return out;
}

std::vector<Cavity> draw_cavities(CountedRandom& random, int number) {
  if (number % 3 == 0) return {};  // a hip without any
  std::array<int, 6> zones{1, 2, 3, 5, 6, 7};
  const std::size_t count = random.chance(0.4) ? 2 : 1;
  std::vector<Cavity> out;
  for (std::size_t i = 0; i < count; ++i) {
    const auto last = static_cast<double>(zones.size() - i);
    std::swap(zones[i], zones[i + static_cast<std::size_t>(random.uniform(0.0, last))]);
    out.push_back(draw_cavity(random, zones[i]));
  }
  return out;
}

/// As it is on film i of 0 to `last`: one in five is there at once, half as large.
Cavity grown(Cavity cavity, bool at_once, double first_part, std::size_t i, std::size_t last) {
  const double part =
      i == 0 || last == 0
          ? 0.0
          : first_part + (1.0 - first_part) * static_cast<double>(i) / static_cast<double>(last);
  const double size = at_once ? 0.5 + 0.5 * part : part;
  cavity.half_axes_mm *= size;
  return cavity;
}

}  // namespace

void add_cavities(const Model& model, const FilmSpec& film, const Rigid3& world_from_femur,
                  Scene& scene) {
  const std::vector<Placed> all = placed_of(model, film);
  if (all.empty()) return;
  for (const Placed& one : all) {
    const auto add = [&](Layer layer, double more_mm) {
      scene.solids.push_back({layer, moved(surface_of(model, one, more_mm), world_from_femur)});
    };
    // Soft tissue as a membrane about cement is: it displaces bone, neither metal nor cement.
    add(Layer::kMembrane, 0.0);
    if (one.cavity.rim) add(Layer::kRim, one.cavity.rim->value);
  }
  const Rigid3 femur_from_world = world_from_femur.inverse();
  std::erase_if(scene.struts, [&](const Strut& s) {
    const Vec3 middle = femur_from_world.apply(0.5 * (s.from + s.to));
    return std::any_of(all.begin(), all.end(),
                       [&](const Placed& one) { return one.distance(middle) < 0.0; });
  });
}

std::vector<CavityTruth> cavity_truth(const Model& model, const CaseSpec& spec,
                                      const FilmSpec& film, double mm_per_px, unsigned threads) {
  std::vector<CavityTruth> out;
  std::optional<Scenes> scenes;
  const Rigid3 world = world_from_femur(model, film);
  for (std::size_t i = 0; i < film.cavities.size(); ++i) {
    const Cavity& cavity = film.cavities[i];
    if (!cavity.there() || !grew(spec, film, i)) continue;
    if (!scenes) scenes = scenes_of(model, spec, film);
    const Beam window = window_of(film.beam, {cavity, centre_of(model, cavity)}, world, mm_per_px);
    out.push_back(truth_of(*scenes, window, film.beam, threads));
    out.back().zone = cavity.zone;
    out.back().rim = cavity.rim.has_value();
  }
  return out;
}

void add_lysis(CountedRandom& random, CaseSpec& hip) {
  const Compaction compaction = draw_compaction(random);
  if (random.chance(0.5)) hip.compaction = compaction;
  const bool moves = random.chance(0.5);
  const Motion last{{random.uniform(0.0, 2.0)}, {random.uniform(-0.5, 0.5)}, {}};
  const std::vector<Cavity> cavities = draw_cavities(random, hip.number);
  const bool at_once = random.chance(0.2);
  const double first_part = random.uniform(0.4, 0.9);
  const std::size_t last_film = hip.films.size() - 1;
  for (std::size_t i = 0; i < hip.films.size(); ++i) {
    FilmSpec& film = hip.films[i];
    const double part = i == 0 ? 0.0 : static_cast<double>(i) / static_cast<double>(last_film);
    film.motion = moves ? Motion{part * last.subsidence, part * last.medial, {}} : Motion{};
    const bool flat = random.chance(0.5);
    const Pose laid_flat{{random.bounded_normal(0.0, 1.5, 2.0)},
                         {random.bounded_normal(-3.0, 1.0, 2.0)},
                         {random.bounded_normal(0.0, 1.5, 2.0)}};
    if (flat) film.pose = laid_flat;
    for (const Cavity& cavity : cavities) {
      film.cavities.push_back(grown(cavity, at_once, first_part, i, last_film));
    }
  }
}

}  // namespace tidemark::phantom
