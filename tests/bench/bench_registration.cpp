// The same task, bone to bone on two films with metal masked out, by several methods: what each
// says of the motion, and its seconds on one thread. One JSON object a pair on standard output.
//
// usage: bench_registration FOLDER HEAD_DIAMETER_MM [EXPORT_DIR]
//
// With EXPORT_DIR, pixels and masks of each pair go there as .mhd, for programs from outside.

#include <cstdlib>
#include <exception>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>

#include "bench_main.h"
#include "registration.h"
#include "stopwatch.h"
#include "tidemark/alignment/align.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/series.h"
#include "tidemark/migration/derive.h"
#include "tidemark/migration/regions.h"

namespace tidemark::bench {
namespace {

using nlohmann::json;

/// Where the stem is sought about its place as found: it is known to a little.
alignment::AlignOptions near_options() {
  alignment::AlignOptions options;
  options.search_along_mm = 3.0;
  options.search_across_mm = 2.0;
  options.search_angle_deg = 1.0;
  return options;
}

/// A pair in the reduced frames in which bone is aligned.
struct Pair {
  migration::MeasuredFilm a;
  migration::MeasuredFilm b;
  migration::ReducedFilm reduced_a;
  migration::ReducedFilm reduced_b;
  migration::Regions regions;
};

migration::MeasuredFilm found_on(const followup::HipFilm& film) {
  return {film.implant, film.femur, film.scale};
}

Pair pair_of(const followup::FilmOfPair& reference, const followup::FilmOfPair& follow_up) {
  return {found_on(reference.hip), found_on(follow_up.hip), reference.ready->reduced,
          follow_up.ready->reduced, *reference.ready->regions};
}

Task task_of(const Pair& pair) {
  Task task{.fixed = pair.reduced_a.pixels,
            .moving = pair.reduced_b.pixels,
            .fixed_voting = Mask(pair.reduced_a.pixels.width, pair.reduced_a.pixels.height),
            .moving_usable = migration::bone_excluded(pair.reduced_b, pair.b),
            .fixed_mm_per_px = pair.reduced_a.mm_per_px,
            .moving_mm_per_px = pair.reduced_b.mm_per_px,
            .start = migration::to_reduced(migration::rough_alignment(pair.a, pair.b),
                                           pair.reduced_a, pair.reduced_b)};
  const Mask excluded = migration::bone_excluded(pair.reduced_a, pair.a);
  for (std::size_t k = 0; k < task.fixed_voting.values.size(); ++k) {
    task.fixed_voting.values[k] =
        pair.regions.bone.values[k] > 0.5F && excluded.values[k] == 0 ? 1 : 0;
  }
  for (auto& v : task.moving_usable.values) v = v == 0 ? 1 : 0;
  return task;
}

json json_of(const Rigid2& motion) {
  return {{"angle_rad", motion.angle_rad},
          {"x_mm", motion.translation.x()},
          {"y_mm", motion.translation.y()}};
}

/// Runs a method and tells its motion between the reduced frames and its seconds.
template <class Method>
json run_method(const std::string& name, const Method& method) {
  const Stopwatch watch;
  const std::optional<Rigid2> motion = method();
  json out{{"method", name}, {"seconds", watch.seconds()}};
  if (motion) out["bone"] = json_of(*motion);
  return out;
}

/// Our registration of the whole bone from the same start, preparation of both films included.
std::optional<Rigid2> by_gradient_fields(const Task& task, const Pair& pair) {
  const alignment::AlignOptions options;
  const auto fixed = alignment::prepare(task.fixed, task.fixed_mm_per_px,
                                        migration::bone_excluded(pair.reduced_a, pair.a), options);
  const auto moving = alignment::prepare(task.moving, task.moving_mm_per_px,
                                         migration::bone_excluded(pair.reduced_b, pair.b), options);
  if (!fixed || !moving) return std::nullopt;
  const auto found = alignment::align(*fixed, pair.regions.bone, *moving, task.start, options);
  if (!found) return std::nullopt;
  return found->moving_from_fixed_mm;
}

template <class TRaster>
void write_mhd(const std::filesystem::path& path, const TRaster& raster, double mm_per_px,
               const char* type) {
  std::ofstream(path.string() + ".mhd")
      << "ObjectType = Image\nNDims = 2\nDimSize = " << raster.width << " " << raster.height
      << "\nElementSpacing = " << mm_per_px << " " << mm_per_px
      << "\nOffset = 0 0\nElementType = " << type
      << "\nElementByteOrderMSB = False\nElementDataFile = " << path.filename().string()
      << ".raw\n";
  std::ofstream raw(path.string() + ".raw", std::ios::binary);
  raw.write(reinterpret_cast<const char*>(raster.values.data()),  // NOLINT: bytes of a file
            static_cast<std::streamsize>(raster.values.size() * sizeof(raster.values[0])));
}

void export_task(const std::filesystem::path& folder, const Task& task) {
  std::filesystem::create_directories(folder);
  write_mhd(folder / "fixed", task.fixed, task.fixed_mm_per_px, "MET_FLOAT");
  write_mhd(folder / "moving", task.moving, task.moving_mm_per_px, "MET_FLOAT");
  write_mhd(folder / "fixed_voting", task.fixed_voting, task.fixed_mm_per_px, "MET_UCHAR");
  write_mhd(folder / "moving_usable", task.moving_usable, task.moving_mm_per_px, "MET_UCHAR");
}

/// The stem's motion between the reduced frames: the one of the full measurement, or where that has
/// none, of the stem's registration alone; else where the stem was found on both films.
Rigid2 stem_motion(const followup::FilmOfPair& reference, const followup::FilmOfPair& follow_up,
                   const Pair& pair, const Rigid2& start,
                   const std::optional<migration::Migration>& full) {
  if (full) {
    return migration::to_reduced(full->follow_up_from_reference_stem_mm, pair.reduced_a,
                                 pair.reduced_b);
  }
  const auto stem = alignment::align(reference.ready->stem, pair.regions.stem,
                                     follow_up.ready->stem, start, near_options());
  return stem ? stem->moving_from_fixed_mm : start;
}

/// Everything that is the same for all methods, in the reduced frames: a motion of the bone turns
/// into a subsidence with the stem's motion, the point and the direction given here.
json frame_of(const Pair& pair, const Rigid2& start, const Rigid2& stem) {
  const Vec2 reference = pair.a.implant.reference_px * pair.a.scale.value.value;
  const Vec2 in_reduced = reference - pair.reduced_a.offset_mm;
  const Vec2 distal = pair.a.femur.shaft_axis ? pair.a.femur.shaft_axis->line_px.direction
                                              : pair.a.implant.axis.line_px.direction;
  return {{"start", json_of(start)},
          {"stem", json_of(stem)},
          {"point_mm", {in_reduced.x(), in_reduced.y()}},
          {"distal", {distal.x(), distal.y()}}};
}

json compare_methods(const followup::FilmOfPair& reference, const followup::FilmOfPair& follow_up,
                     const std::optional<migration::Migration>& full,
                     const std::string& export_to) {
  const Pair pair = pair_of(reference, follow_up);
  const Task task = task_of(pair);
  json out = frame_of(pair, task.start, stem_motion(reference, follow_up, pair, task.start, full));
  json methods = json::array();
  methods.push_back(
      run_method("ECC of grey values (OpenCV)", [&] { return by_opencv_ecc(task, Look::kGrey); }));
  methods.push_back(run_method("ECC of gradient magnitudes (OpenCV)",
                               [&] { return by_opencv_ecc(task, Look::kGradient); }));
  methods.push_back(
      run_method("mutual information (ITK)", [&] { return by_itk_mutual_information(task); }));
  methods.push_back(run_method("gradient fields, whole bone (tidemark)",
                               [&] { return by_gradient_fields(task, pair); }));
  out["methods"] = methods;
  if (!export_to.empty()) {
    export_task(export_to, task);
    out["export"] = export_to;
  }
  return out;
}

/// Runs on every pair that measure_with() compares and prints it.
followup::Steps watched_steps(const std::string& export_to, int* count) {
  followup::Steps steps = followup::default_steps();
  const auto compare = steps.compare;
  steps.compare = [compare, export_to, count](const followup::FilmOfPair& reference,
                                              const followup::FilmOfPair& follow_up) {
    const Stopwatch watch;
    auto full = compare(reference, follow_up);
    const double seconds = watch.seconds();
    ++*count;
    const std::string folder =
        export_to.empty() ? "" : export_to + "/pair-" + std::to_string(*count);
    json out{{"file", follow_up.hip.hip_view.facts.file}, {"full", {{"seconds", seconds}}}};
    out.update(
        compare_methods(reference, follow_up, full ? std::optional(*full) : std::nullopt, folder));
    if (full) out["full"]["subsidence_mm"] = full->subsidence.value.value;
    const Stopwatch watch_landmarks;
    const auto opinion =
        migration::opinion_by_landmarks(found_on(reference.hip), found_on(follow_up.hip), {});
    out["landmarks"] = {{"seconds", watch_landmarks.seconds()}};
    if (opinion) out["landmarks"]["subsidence_mm"] = opinion->subsidence.value.value;
    std::cout << out.dump() << std::endl;
    return full;
  };
  return steps;
}

int run(const followup::Series& series, const std::string& export_to) {
  int count = 0;
  const auto result =
      followup::measure_with(series, {.threads = 1}, watched_steps(export_to, &count));
  return count > 0 ? 0 : 1;
}

}  // namespace
}  // namespace tidemark::bench

int main(int count, char** words) {
  using namespace tidemark::bench;
  return bench_main(count, words, "bench_registration", "EXPORT_DIR",
                    [](const tidemark::followup::Series& series, const char* last) {
                      return run(series, last == nullptr ? "" : last);
                    });
}
