#include "pair.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <utility>

#include "tidemark/core/parallel.h"
#include "tidemark/migration/derive.h"
#include "tidemark/migration/regions.h"
#include "tidemark/migration/same_hip.h"

namespace tidemark::followup {
namespace {

migration::MeasuredFilm found_on(const HipFilm& film) {
  const Raster& pixels = film.hip_view.pixels;
  return {film.implant, film.femur, film.scale,
          Vec2(0.5 * (pixels.width - 1), 0.5 * (pixels.height - 1))};
}

/// An alignment between reduced frames, told in mm of the hip views.
alignment::Alignment in_full_frames(alignment::Alignment a, const migration::ReducedFilm& reference,
                                    const migration::ReducedFilm& follow_up) {
  a.moving_from_fixed_mm = migration::from_reduced(a.moving_from_fixed_mm, reference, follow_up);
  a.centre_mm += reference.offset_mm;
  return a;
}

/// Registers, from memory where there is one.
struct Registrar {
  alignment::Memory* memory = nullptr;

  [[nodiscard]] Expected<alignment::Alignment> align(const alignment::PreparedFilm& fixed,
                                                     const Raster& region,
                                                     const alignment::PreparedFilm& moving,
                                                     const Rigid2& start,
                                                     const alignment::AlignOptions& options) const {
    return memory != nullptr ? memory->align(fixed, region, moving, start, options)
                             : alignment::align(fixed, region, moving, start, options);
  }
  [[nodiscard]] std::vector<alignment::FeatureVote> vote(
      const alignment::PreparedFilm& fixed, const alignment::PreparedFilm& moving,
      const Rigid2& motion, const std::vector<alignment::Feature>& features,
      const alignment::AlignOptions& options) const {
    return memory != nullptr ? memory->vote(fixed, moving, motion, features, options)
                             : alignment::vote(fixed, moving, motion, features, options);
  }
};

/// The bone as a whole and what its features say around that.
struct BoneAlignment {
  alignment::Alignment whole;
  std::vector<alignment::FeatureVote> votes;
};

Expected<BoneAlignment> align_bone(const Registrar& by, const alignment::PreparedFilm& reference,
                                   const alignment::PreparedFilm& follow_up,
                                   const migration::Regions& regions, const Rigid2& start,
                                   const alignment::AlignOptions& options) {
  auto whole = by.align(reference, regions.bone, follow_up, start, options);
  if (!whole) {
    return fail(ErrorKind::kCannotTell, "comparison",
                "the bone of the two films does not match in one clear position",
                "check that both films show the same hip, uncropped, in the same view and without "
                "contrast that a viewer evened out locally");
  }
  auto votes =
      by.vote(reference, follow_up, whole->moving_from_fixed_mm, regions.features, options);
  return BoneAlignment{*whole, std::move(votes)};
}

Expected<alignment::PreparedFilm> prepare_bone(const migration::ReducedFilm& reduced,
                                               const migration::MeasuredFilm& found,
                                               const alignment::AlignOptions& options) {
  return alignment::prepare(reduced.pixels, reduced.mm_per_px,
                            migration::bone_excluded(reduced, found), options);
}

double relative(MillimetresPerPixel u, MillimetresPerPixel value) { return u.value / value.value; }

/// Standard uncertainty of the ratio of the films' scales, of what is not common to both.
double scale_ratio_u(const HipFilm& reference, const HipFilm& follow_up) {
  return std::hypot(relative(reference.scale_u_own, reference.scale.value),
                    relative(follow_up.scale_u_own, follow_up.scale.value));
}

/// How the stem moved between the films, held where its outline can be trusted.
migration::StemMotion hold_stem(const Registrar& by, const PreparedHip& reference,
                                const PreparedHip& follow_up, const migration::MeasuredFilm& a,
                                const migration::MeasuredFilm& b) {
  const migration::ReducedFilm& reduced_a = reference.reduced;
  const migration::ReducedFilm& reduced_b = follow_up.reduced;
  const migration::Regions& regions = *reference.regions;
  const Rigid2 start =
      migration::to_reduced(migration::rough_alignment(a, b), reduced_a, reduced_b);
  // The stem was found on both films: only a little is left to search.
  alignment::AlignOptions near;
  near.search_along_mm = 3.0;
  near.search_across_mm = 2.0;
  near.search_angle_deg = 1.0;
  const auto by_edges = by.align(reference.stem, regions.stem, follow_up.stem, start, near);
  const auto stem =
      by_edges ? in_full_frames(*by_edges, reduced_a, reduced_b) : migration::stem_by_shape(a, b);
  const Rigid2 second_start = migration::near_end_start(stem.moving_from_fixed_mm, a, b);
  const auto near_votes = [&](const Rigid2& from) {
    auto votes =
        by.vote(reference.stem, follow_up.stem, migration::to_reduced(from, reduced_a, reduced_b),
                regions.stem_near_end, near);
    for (auto& v : votes) v.position_mm += reduced_a.offset_mm;
    return votes;
  };
  const auto near_end =
      migration::better_votes(near_votes(stem.moving_from_fixed_mm), stem.moving_from_fixed_mm,
                              near_votes(second_start), second_start);
  return migration::held_at_near_end(stem, near_end, a, b);
}

/// The depths of the hip's features before its frontal films are compared.
migration::Depths depths_before(const HipFilm& reference) {
  if (reference.side_view) return migration::depths_of_hip(*reference.side_view);
  return migration::depths_of_people(migration::Trust{}.stem_depth_mm);
}

/// From where the films of a pair are taken: both from before or both from behind.
View view_of(const HipFilm& reference) { return reference.from_behind ? View::kPa : View::kAp; }

/// The model of poses, with the stem's own lean where a film from the side shows it.
migration::PoseModel pose_model(const HipFilm& reference) {
  migration::PoseModel model;
  model.view = view_of(reference);
  if (reference.side_view) {
    const auto& lean = reference.side_view->lean;
    model.sagittal_lean = lean.value;
    model.sagittal_lean_u = lean.u;
  }
  return model;
}

/// The motion with its own flags and those of two films that hardly show one hip.
Expected<migration::Migration> derived(const migration::PairEvidence& evidence,
                                       const std::vector<Flag>& of_films) {
  auto migration = migration::derive(evidence);
  if (!migration) return migration;
  migration->flags.insert(migration->flags.end(), of_films.begin(), of_films.end());
  return migration;
}

}  // namespace

Expected<std::shared_ptr<const PreparedHip>> prepare(const HipFilm& film) {
  const migration::MeasuredFilm found = found_on(film);
  migration::ReducedFilm reduced = migration::reduce_to_femur(film.hip_view.pixels, found);
  const alignment::AlignOptions options;
  std::array<std::optional<Expected<alignment::PreparedFilm>>, 2> ready;
  parallel_within(ready.size(), [&](std::size_t i) {
    ready.at(i) = i == 0 ? alignment::prepare(reduced.pixels, reduced.mm_per_px, {}, options)
                         : prepare_bone(reduced, found, options);
  });
  for (const auto& one : ready) {
    if (!*one) return tl::unexpected(one->error());
  }
  std::optional<migration::Regions> regions;
  if (film.role == Role::kReference) regions = migration::find_regions(reduced, found);
  return std::make_shared<const PreparedHip>(PreparedHip{
      std::move(reduced), std::move(regions), std::move(**ready[0]), std::move(**ready[1])});
}

double shared_scale_u(const HipFilm& reference) {
  if (reference.in_pixels) return 0.0;
  const double all = relative(reference.scale.u, reference.scale.value);
  const double own = relative(reference.scale_u_own, reference.scale.value);
  // A number from the sheet is all its film's own: what two such numbers share nobody says.
  constexpr double kOfNumbers = 0.5;
  if (own >= all) return std::sqrt(kOfNumbers) * all;
  return std::sqrt(all * all - own * own);
}

lucency::ScaleTrust scale_trust(const HipFilm& reference, const HipFilm& follow_up) {
  return reference.in_pixels || follow_up.in_pixels ? lucency::ScaleTrust::kNominal
                                                    : lucency::ScaleTrust::kMeasured;
}

Expected<std::vector<lucency::ZoneChange>> compare_lines(const HipFilm& reference,
                                                         const HipFilm& follow_up) {
  // Likeness is modelled for frontal films; the implant of a lateral one was held against the
  // frontal reference film's already.
  if (!reference.from_side) {
    const auto same = migration::doubts(
        migration::likeness(found_on(reference), found_on(follow_up), pose_model(reference),
                            scale_ratio_u(reference, follow_up)));
    if (!same) return tl::unexpected(same.error());
  }
  return lucency::compare(*reference.lucency, *follow_up.lucency,
                          scale_trust(reference, follow_up));
}

Expected<migration::Migration> compare(const FilmOfPair& reference, const FilmOfPair& follow_up,
                                       alignment::Memory* memory) {
  const Registrar by{memory};
  const auto a = found_on(reference.hip);
  const auto b = found_on(follow_up.hip);
  const migration::ReducedFilm& reduced_a = reference.ready->reduced;
  const migration::ReducedFilm& reduced_b = follow_up.ready->reduced;
  const migration::Regions& regions = *reference.ready->regions;
  const double ratio_u = scale_ratio_u(reference.hip, follow_up.hip);
  const migration::PoseModel model = pose_model(reference.hip);
  auto flags = migration::doubts(migration::likeness(a, b, model, ratio_u));
  if (!flags) return tl::unexpected(flags.error());
  migration::StemMotion held = hold_stem(by, *reference.ready, *follow_up.ready, a, b);
  if (reference.hip.surface_pose && follow_up.hip.surface_pose) {
    surface::Belief belief;
    belief.view = view_of(reference.hip);
    held.by_surface =
        surface::pose_change(*reference.hip.surface_pose, *follow_up.hip.surface_pose, belief);
  }
  alignment::AlignOptions far = alignment::for_bone({});
  far.search_along_mm = 15.0;
  if (a.femur.shaft_axis && b.femur.shaft_axis) {
    far.search_across_mm = 3.0;
    far.search_angle_deg = std::max(2.0, 2.0 * migration::axes_apart_u(a, b).value);
  }
  const Rigid2 bone_start = migration::to_reduced(
      migration::bone_start(a, b, held.alignment.moving_from_fixed_mm), reduced_a, reduced_b);
  auto aligned =
      align_bone(by, reference.ready->bone, follow_up.ready->bone, regions, bone_start, far);
  if (!aligned) {
    // Heavy grain or heavy edge enhancement can leave no minimum at the finest gradients: look
    // again at what is left of the bone at twice the smoothing.
    far.level_mm = {1.6, 0.9, 0.6};
    const auto coarse_a = prepare_bone(reduced_a, a, far);
    const auto coarse_b = prepare_bone(reduced_b, b, far);
    if (!coarse_a || !coarse_b) return tl::unexpected(aligned.error());
    auto again = align_bone(by, *coarse_a, *coarse_b, regions, bone_start, far);
    if (!again) {
      // The place is clear but for ripples of noise that hide its curvature: look past them.
      far.curvature_step_mm = 0.4;
      again = align_bone(by, *coarse_a, *coarse_b, regions, bone_start, far);
    }
    if (!again) return tl::unexpected(aligned.error());
    aligned = std::move(again);
  }
  for (auto& v : aligned->votes) v.position_mm += reduced_a.offset_mm;

  migration::PairEvidence evidence{.reference = a,
                                   .follow_up = b,
                                   .stem = held,
                                   .bone = in_full_frames(aligned->whole, reduced_a, reduced_b),
                                   .votes = std::move(aligned->votes),
                                   .pose = model,
                                   .trust = {}};
  evidence.scale_ratio_u = ratio_u;
  evidence.shared_scale_u = shared_scale_u(reference.hip);
  evidence.depths = depths_before(reference.hip);
  return derived(evidence, *flags);
}

std::vector<migration::Migration> compare_together(const HipFilm& reference,
                                                   const std::vector<const HipFilm*>& follow_ups,
                                                   std::vector<migration::Migration> alone) {
  std::vector<migration::Migration> together = alone;
  parallel_within(alone.size(), [&](std::size_t i) {
    std::vector<const migration::Depths*> others;
    for (std::size_t k = 0; k < alone.size(); ++k) {
      if (k != i && alone[k].depths) others.push_back(&*alone[k].depths);
    }
    const auto& measured = alone[i].measured;
    if (others.empty() || !measured) return;
    migration::PairEvidence evidence{.reference = found_on(reference),
                                     .follow_up = found_on(*follow_ups[i]),
                                     .stem = measured->stem,
                                     .bone = measured->bone,
                                     .votes = measured->votes,
                                     .scale_ratio_u = measured->scale_ratio_u,
                                     .shared_scale_u = shared_scale_u(reference),
                                     .pose = pose_model(reference),
                                     .trust = {}};
    evidence.depths = migration::with_others(depths_before(reference), others);
    evidence.pose_change = measured->pose;
    const auto flags = migration::doubts(migration::likeness(
        evidence.reference, evidence.follow_up, evidence.pose, evidence.scale_ratio_u));
    if (!flags) return;
    if (auto again = derived(evidence, *flags)) together[i] = std::move(*again);
  });
  return together;
}

}  // namespace tidemark::followup
