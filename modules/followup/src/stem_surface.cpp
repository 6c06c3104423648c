#include "stem_surface.h"

#include <span>

#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::followup {
namespace {

/// Manufacturing tolerance of a head's diameter, as in scale.cpp.
constexpr double kHeadDiameterUMm = 0.05;
constexpr double kUneven = 0.3;  ///< mm; below it front and back look alike
/// Scatter of the mirror image over that of the surface as it is, below which the mirror image is
/// believed: noise alone makes either fit a little better. House choice.
constexpr double kClearly = 0.9;

/// True diameter of the head: the stated one, else what the film's scale, which is that of the
/// stem's plane, makes of its circle.
Measured<Millimetres> head_diameter(const StemFacts& stem, const anatomy::Implant& implant,
                                    const Measured<MillimetresPerPixel>& scale, View view) {
  if (stem.head_diameter) return measured(*stem.head_diameter, Millimetres{kHeadDiameterUMm});
  const double px = 2.0 * implant.head.circle_px.radius / film::stem_over_head(view);
  return measured(Millimetres{px * scale.value.value}, Millimetres{px * scale.u.value});
}

/// The stem as a film of this view shows it: from behind like its mirror image from before.
surface::StemModel seen_from(const surface::StemModel& stem, std::optional<View> view) {
  return view == View::kPa ? surface::mirrored(stem) : stem;
}

/// How well a stem fits the reference film; nothing when it does not at all.
std::optional<double> misfit(const surface::StemModel& stem, const WorkingSeries& work,
                             const Steps& steps) {
  if (!work.reference) return std::nullopt;
  const Working& film = work.films[*work.reference];
  if (film.refused || !film.seen || !film.hip) return std::nullopt;
  const auto pose =
      steps.find_pose(seen_from(stem, film.out.view), film.seen->implant, film.seen->hip_view,
                      head_diameter(work.series.stem, film.seen->implant, film.hip->scale,
                                    film.out.view.value_or(View::kAp)));
  if (!pose) return std::nullopt;
  return pose->scatter_mm;
}

}  // namespace

void load_stem(WorkingSeries& work, const Steps& steps) {
  const StemFacts& facts = work.series.stem;
  if (!facts.surface || !steps.read_stem || !steps.find_pose) return;
  auto stem = steps.read_stem(facts.surface_path);
  if (!stem) {
    Error why = stem.error();
    // The series' own word for the file: a batch has one that tells nothing.
    if (why.subject == facts.surface_path.filename().string()) why.subject = *facts.surface;
    work.flags.push_back({"surface_not_used",
                          "The stem's surface is not used, everything is "
                          "measured without it: " +
                              why.sentence() + "."});
    return;
  }
  if (work.side == Side::kLeft) stem = surface::mirrored(std::move(*stem));
  if (stem->front_back_mm > kUneven) {
    surface::StemModel other = surface::mirrored(*stem);
    const auto as_said = misfit(*stem, work, steps);
    const auto otherwise = misfit(other, work, steps);
    if (otherwise && (!as_said || *otherwise < kClearly * *as_said)) {
      stem = std::move(other);
      work.flags.push_back({"surface_mirrored",
                            "The stem's surface fits the reference film only front for back, as "
                            "that of the other side's stem does; it was turned over. Check that "
                            "the file shows the stem that was implanted."});
    }
  }
  if (const auto bytes = read_file(facts.surface_path)) {
    work.surface_sha256 = sha256_hex(std::as_bytes(std::span(*bytes)));
  }
  work.stem = std::move(*stem);
}

void lay_stem(Working& film, const WorkingSeries& work, const Steps& steps) {
  if (!work.stem) return;
  HipFilm& hip = *film.hip;
  auto pose = steps.find_pose(
      seen_from(*work.stem, film.out.view), hip.implant, hip.hip_view,
      head_diameter(work.series.stem, hip.implant, hip.scale, film.out.view.value_or(View::kAp)));
  if (!pose) {
    film.out.flags.push_back(
        {"surface_pose_missing",
         "The stem's surface was not brought onto this film, which is compared "
         "without it: " +
             reason_of(pose.error()) + "."});
    return;
  }
  hip.surface_pose = std::move(*pose);
}

Expected<surface::StemModel> read_stem(const std::filesystem::path& file) {
  const auto mesh = surface::read_mesh(file);
  if (!mesh) return tl::unexpected(mesh.error());
  auto stem = surface::find_stem(*mesh);
  if (!stem) {
    Error error = stem.error();
    error.subject = file.filename().string();
    return tl::unexpected(error);
  }
  return stem;
}

Expected<surface::SurfacePose> find_pose(const surface::StemModel& stem,
                                         const anatomy::Implant& implant,
                                         const film::FilmImage& hip_view,
                                         const Measured<Millimetres>& head_diameter) {
  const Raster& pixels = hip_view.pixels;
  return surface::find_pose(
      stem, {implant, Vec2(0.5 * (pixels.width - 1), 0.5 * (pixels.height - 1)), head_diameter});
}

}  // namespace tidemark::followup
