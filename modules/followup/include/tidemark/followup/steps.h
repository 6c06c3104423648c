#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/alignment/align.h"
#include "tidemark/alignment/memory.h"
#include "tidemark/anatomy/canal.h"
#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/anatomy/pelvis.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"
#include "tidemark/followup/series.h"
#include "tidemark/lucency/change.h"
#include "tidemark/migration/migration.h"
#include "tidemark/migration/regions.h"
#include "tidemark/migration/side_view.h"
#include "tidemark/surface/pose.h"
#include "tidemark/surface/stem_model.h"

namespace tidemark::followup {

/// One film with all that was found on it, ready to be compared. Coordinates are px of `hip_view`.
struct HipFilm {
  film::FilmImage hip_view;  ///< film::as_right_hip: lateral -x, medial +x, distal +y
  Side side = Side::kRight;
  Role role = Role::kFollowUp;  ///< only the reference film needs `regions`
  bool from_side = false;       ///< a lateral film, the femur's back at +x
  bool from_behind = false;     ///< a PA film
  anatomy::Implant implant;
  anatomy::Femur femur;
  Measured<MillimetresPerPixel> scale;  ///< mm in the plane of the stem per px of hip_view
  /// The part of scale.u that is independent from film to film (how well the head's outline was
  /// measured here); the rest, e.g. of the head's true size, is common to all films of the series.
  MillimetresPerPixel scale_u_own;
  /// Nothing gave a scale: `scale` is that of a nominal head, which cancels in what is told.
  bool in_pixels = false;
  /// What Steps::look_for_lines said; absent when it refused or was not called.
  std::optional<lucency::FilmLucency> lucency;
  /// How the stem's surface lies on this film; absent without a surface or where it failed.
  std::optional<surface::SurfacePose> surface_pose;
  /// What the lateral films of this hip say together; on the reference film only.
  std::optional<migration::SideView> side_view;
  /// Of the reference film, for the audit of the seat; absent when Steps::read_canal was not
  /// called.
  std::optional<anatomy::CanalReading> canal;
  std::optional<anatomy::Pelvis> pelvis;  ///< of the reference film, where it shows both sides
  std::string pelvis_reason;              ///< why not; empty when Steps::find_pelvis was not called
};

/// A film's pixels made ready to be aligned, once for all of its pairs.
struct PreparedHip {
  migration::ReducedFilm reduced;             ///< the femur alone
  std::optional<migration::Regions> regions;  ///< which pixels vote; of the reference film only
  alignment::PreparedFilm stem;
  alignment::PreparedFilm bone;
};

/// One film of a pair.
struct FilmOfPair {
  const HipFilm& hip;
  /// Empty where Steps::prepare put it off; never when Steps::compare of default_steps() is called.
  std::shared_ptr<const PreparedHip> ready;
};

/// Names all of a film that Steps::prepare can see (SHA-256, hex): films of one name are prepared
/// alike, so that one that is prepared may be kept for the other.
[[nodiscard]] std::string name_of(const HipFilm& film);

/// The steps that measure_with() chains. Each is a pure function, called from several threads at
/// once. Tests replace them by invented ones.
struct Steps {
  /// Gives the film within its exposed field (film::within_exposed_field).
  std::function<Expected<film::FilmImage>(const std::filesystem::path&)> read;
  std::function<Expected<anatomy::Implant>(const film::FilmImage&, const anatomy::ImplantOptions&)>
      find_implant;
  std::function<Expected<anatomy::Femur>(const film::FilmImage&, const anatomy::Implant&,
                                         const anatomy::FemurOptions&)>
      find_femur;
  /// Called once per measured film. May be empty: the result then has no zones. A refusal leaves
  /// the film measured.
  std::function<Expected<lucency::FilmLucency>(const film::FilmImage&, const anatomy::Implant&,
                                               const lucency::LucencyOptions&)>
      look_for_lines;
  /// Called once, with the reference film when it is measured. May be empty: the result then has no
  /// audit of the seat.
  std::function<anatomy::CanalReading(const film::FilmImage&, const anatomy::Implant&,
                                      const anatomy::Femur&, MillimetresPerPixel)>
      read_canal;
  /// Called once, with the reference film, after read_canal. May be empty.
  std::function<Expected<anatomy::Pelvis>(const film::FilmImage&, const anatomy::Implant&,
                                          const anatomy::Femur&, MillimetresPerPixel)>
      find_pelvis;
  /// Called once per pair whose films were both looked at for lines, whether or not the bone of the
  /// two can be aligned. May be empty.
  std::function<Expected<std::vector<lucency::ZoneChange>>(const HipFilm& reference,
                                                           const HipFilm& follow_up)>
      compare_lines;
  /// Called once per measured film when there is more than one.
  std::function<Expected<std::shared_ptr<const PreparedHip>>(const HipFilm&)> prepare;
  std::function<Expected<migration::Migration>(const FilmOfPair& reference,
                                               const FilmOfPair& follow_up)>
      compare;
  /// Called once with all measured pairs of the reference film, if there are two or more. May be
  /// empty: each pair then stands alone.
  std::function<std::vector<migration::Migration>(const HipFilm& reference,
                                                  const std::vector<const HipFilm*>& follow_ups,
                                                  std::vector<migration::Migration> alone)>
      compare_together;
  /// The stem's surface in its own frame. May be empty: surfaces are then not used.
  std::function<Expected<surface::StemModel>(const std::filesystem::path&)> read_stem = {};
  /// Called once per film to be compared when there is a surface. May be empty.
  std::function<Expected<surface::SurfacePose>(const surface::StemModel&, const anatomy::Implant&,
                                               const film::FilmImage&,
                                               const Measured<Millimetres>& head_diameter)>
      find_pose = {};
};

/// film::read, anatomy::find_implant, anatomy::find_femur, alignment with migration, and lucency.
/// @param registrations  where compare looks up what it registered before, and keeps what it
///                       registers; null: nowhere. Changes the time, never the result.
[[nodiscard]] Steps default_steps(const std::shared_ptr<alignment::Memory>& registrations = {});

}  // namespace tidemark::followup
