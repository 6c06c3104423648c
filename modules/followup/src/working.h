#pragma once

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "tidemark/film/calibration.h"
#include "tidemark/followup/measure.h"

namespace tidemark::followup {

/// The implant as seen on one film under one assumption of side and of the sense of grey.
struct Seen {
  film::FilmImage hip_view;
  Side side = Side::kRight;
  anatomy::Implant implant;
};

/// Which way a film from the side faces.
struct SideFacing {
  Side mirrored = Side::kRight;  ///< how the upright film is turned over to have the back at +x
  double wrong = 0.0;            ///< probability that front and back are taken for each other
  bool by_sheet = false;
};

/// One film on its way through the steps. `out` grows; a film that is refused keeps its reason.
struct Working {
  FilmEntry entry;
  FilmResult out;
  bool refused = false;
  bool from_side = false;                  ///< a lateral film: measured apart from the frontal ones
  std::optional<film::FilmImage> upright;  ///< dropped once seen
  std::optional<Seen> seen;
  std::optional<HipFilm> hip;
  std::optional<SideFacing> facing;          ///< of a measured film from the side
  std::shared_ptr<const PreparedHip> ready;  ///< what Steps::prepare made of `hip`
};

/// The films of a series and what is common to them.
struct WorkingSeries {
  Series series;
  std::vector<Working> films;
  std::optional<std::size_t> reference;
  std::optional<Side> side;
  LengthUnit length_unit = LengthUnit::kMillimetres;
  std::optional<surface::StemModel> stem;  ///< as it looks on a right hip's film
  std::optional<std::string> surface_sha256;
  std::vector<Flag> flags;
};

/// Takes the film out of the measurement with a sentence for a radiographer. The first reason
/// stays.
void refuse(Working& film, const std::string& reason);
/// "wrong; remedy" of an error: its subject stands beside it already.
[[nodiscard]] std::string reason_of(const Error& error);

/// Settles view, date, role and side of every film that was read, and what contradicts its header.
void settle(WorkingSeries& work);

/// Gives every film that has `seen` its scale: fills out.calibration, out.other_scales and, in
/// `hip`, scale and scale_u_own. Refuses what has none.
void scale_films(WorkingSeries& work, WithoutScale without_scale);

/// What the sheet, else the film's own header says of its scale, mm per px of the upright film.
[[nodiscard]] std::optional<MillimetresPerPixel> scale_hint_of(const FilmEntry& entry,
                                                               const film::FilmImage& upright);

/// Landmarks of the sheet (stored px) in px of a view of the same film.
[[nodiscard]] anatomy::GivenLandmarks in_view(const anatomy::GivenLandmarks& in_stored,
                                              const film::FilmImage& view);

/// The corrections that a step looks at and no other, so that its answer is remembered
/// (docs/history.md) when another one changes: find_implant, find_femur.
[[nodiscard]] anatomy::GivenLandmarks on_implant(const anatomy::GivenLandmarks& given);
[[nodiscard]] anatomy::GivenLandmarks on_bone(const anatomy::GivenLandmarks& given);

/// Copies what was found on the film into its result, in stored px.
void describe(Working& film);

/// Where the stem enters the bone by another film, px of this film's hip view.
struct CarriedEntry {
  Vec2 px = Vec2::Zero();
  Millimetres u;                ///< along the stem axis, of both films
  std::optional<Flag> assumed;  ///< what the other film says where it did not see the level either
};

/// Dark lines along the stem: into the film's result, or why there is nothing to say of them, and
/// into `hip` for the comparison. Whatever comes of it, the film stays measured.
/// @param carried  the sheet's own word comes first
void look_for_lines(Working& film, const std::optional<Fixation>& fixation, const Steps& steps,
                    const std::optional<CarriedEntry>& carried = {});

/// In place of look_for_lines(): every zone is open for this one reason.
void leave_zones_open(Working& film, const std::optional<Fixation>& fixation,
                      const std::string& reason);

/// The pictures of overlay and pair (docs/result-format.md); nothing when drawing fails.
[[nodiscard]] std::optional<Picture> draw_film(const std::string& name, const HipFilm& film,
                                               const FilmResult& result);
[[nodiscard]] std::optional<Picture> draw_pair(const std::string& name, const HipFilm& reference,
                                               const HipFilm& follow_up,
                                               const ComparisonResult& comparison, LengthUnit unit);

/// One film as Result::aligned holds it, in the frame of `reference`.
/// @param follow  px of the hip views, follow-up from reference; identity for the reference film
[[nodiscard]] AlignedFilm align_film(const HipFilm& reference, const HipFilm& film,
                                     const Affine2& follow);
/// Pixels per mm of that frame.
[[nodiscard]] double aligned_px_per_mm(const HipFilm& reference);

/// What the picture of the unrolled interface shows: one film, and what it is compared with.
struct ZonePages {
  const HipFilm& film;
  const FilmResult& result;
  const HipFilm* reference = nullptr;  ///< nothing of these three on a reference film itself
  const FilmResult* reference_result = nullptr;
  std::span<const lucency::ZoneChange> changes = {};
};

/// The same for a screen: nothing when the film has no lines.
/// @param film, reference  their places in Result::films; no reference: the film alone
[[nodiscard]] std::optional<UnrolledFilm> unroll_film(const ZonePages& films, std::size_t film,
                                                      std::optional<std::size_t> reference);

/// The interface unrolled, past above present; nothing when the film has no lines or drawing fails.
[[nodiscard]] std::optional<Picture> draw_zones(const std::string& name, const ZonePages& films,
                                                LengthUnit unit);

}  // namespace tidemark::followup
