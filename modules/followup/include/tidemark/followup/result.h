#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "tidemark/assessment/assess.h"
#include "tidemark/assessment/seat.h"
#include "tidemark/core/flag.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/raster.h"
#include "tidemark/core/units.h"
#include "tidemark/followup/history.h"
#include "tidemark/followup/reuse.h"
#include "tidemark/followup/series.h"
#include "tidemark/lucency/change.h"
#include "tidemark/lucency/signs.h"
#include "tidemark/migration/migration.h"
#include "tidemark/migration/side_view.h"

namespace tidemark::followup {

/// Printed under every result.
inline constexpr const char* kCaution =
    "This is decision support, not a diagnosis: the treating surgeon and the local rules decide.";

/// A film or a comparison is measured, or stays in the list with its reason.
enum class Status { kMeasured, kNotMeasured };

/// Unit of every length of the comparisons. kReferencePixels only when nothing gave a scale and the
/// caller accepted it: lengths are then in stored px of the reference film.
enum class LengthUnit { kMillimetres, kReferencePixels };

/// A point in stored px of its file. u are isotropic standard uncertainties.
struct PointResult {
  Vec2 stored_px = Vec2::Zero();
  double u_px = 0.0;
  std::optional<Millimetres> u;
  Source source = Source::kFound;
};

/// A circle in stored px of its file.
struct CircleResult {
  Vec2 centre_px = Vec2::Zero();
  double diameter_px = 0.0;
  double centre_u_px = 0.0;
  double diameter_u_px = 0.0;
  Source source = Source::kFound;
};

/// A line, shown by two of its points in stored px, the proximal one first.
struct AxisResult {
  Vec2 proximal_px = Vec2::Zero();
  Vec2 distal_px = Vec2::Zero();
  Degrees direction_u;
  Source source = Source::kFound;
};

/// The stem on one film, stored px.
struct StemResult {
  std::optional<PointResult> tip;  ///< absent where the field ends above it
  /// Of the tip below reference_px along the axis, as if LengthUnit were kMillimetres.
  std::optional<Millimetres> tip_below_reference;
  PointResult shoulder;
  AxisResult axis;
  Vec2 reference_px = Vec2::Zero();  ///< on the axis, 10 mm distal to the level of the shoulder
  Polyline outline_px;               ///< open at the head
  double confidence = 0.0;           ///< 0 to 1
};

/// One way to the scale of a film, per stored px along a row. `method` is one of head_diameter,
/// marker_diameter, stem_length, dicom, given, pixels.
struct ScaleResult {
  std::string method;
  Measured<MillimetresPerPixel> mm_per_px;
  std::string note;
};

/// A border between zones, stored px.
struct BorderResult {
  Vec2 lateral_px = Vec2::Zero();
  Vec2 medial_px = Vec2::Zero();
  Source source = Source::kFound;
};

/// One interface of one zone on one film: what was said of a radiolucent line there
/// (lucency::ZoneLine). Lengths as if LengthUnit were kMillimetres; their uncertainties hold the
/// scale's.
struct ZoneResult {
  int zone = 0;
  lucency::Interface interface = lucency::Interface::kStemBone;
  lucency::State state = lucency::State::kNotSeen;
  std::string reason;                      ///< one sentence when cannot_tell or not_seen
  std::optional<Millimetres> zone_length;  ///< along the interface; absent when not divided
  std::optional<Measured<Millimetres>> max;
  std::optional<Measured<Millimetres>> mean;
  std::optional<Measured<Millimetres>> length;
  std::optional<double> extent;  ///< share of the seen part; absent unless present or absent
  double seen = 0.0;             ///< share of the zone that could be judged
  std::optional<Measured<double>> depth;
  lucency::Answer rim = lucency::Answer::kCannotTell;
  /// For the decision tables of signs (assessment/evidence.h); absent when not divided.
  std::optional<assessment::ZoneShares> shares;
  std::optional<assessment::ZoneShares> past_first_centimetre;
};

/// Whether a stem with its head shows on a film, measured or not. Untold: nobody looked, it stands
/// as in the other hip, or one may be there that the field cuts or the film's greys hide.
enum class StemShows { kUntold, kNo, kYes };

/// One film of the series, measured or not.
struct FilmResult {
  std::string file;
  std::optional<std::string> sha256;  ///< of the file's bytes; absent when it cannot be read
  Role role = Role::kFollowUp;
  bool role_stated = false;  ///< by the sheet
  Status status = Status::kNotMeasured;
  bool excluded = false;  ///< by the sheet; does not count as a failure
  bool unreadable = false;
  StemShows stem_shows = StemShows::kUntold;
  std::string reason;  ///< one sentence, when not measured
  std::optional<std::chrono::year_month_day> date;
  std::optional<int> days_from_surgery;
  std::optional<View> view;
  std::optional<Side> side;
  std::optional<ScaleResult> calibration;
  std::vector<ScaleResult> other_scales;
  std::optional<CircleResult> head;
  std::optional<CircleResult> cup;
  std::optional<StemResult> stem;
  std::optional<AxisResult> shaft_axis;
  std::optional<PointResult> lesser_trochanter;
  std::optional<PointResult> greater_trochanter;
  std::optional<Measured<Degrees>> tilt;  ///< stem axis against shaft axis, varus +
  /// Of a lateral film; lengths as if LengthUnit were kMillimetres.
  std::optional<migration::SideView> side_view;
  std::vector<ZoneResult> zones;  ///< by zone, then interface; empty when lines were not looked for
  std::vector<BorderResult> zone_borders;  ///< proximal first; empty when not divided
  std::vector<ZoneMark> zone_marks;        ///< of readers, as the sheet has them
  std::optional<lucency::EdgeResponse> edge_response;
  std::optional<lucency::FilmSigns> signs;  ///< lengths as if LengthUnit were kMillimetres
  std::vector<Flag> flags;
  std::optional<std::string> picture;        ///< file name in the output folder
  std::optional<std::string> zones_picture;  ///< the interface unrolled
};

/// One follow-up film against the reference film.
struct ComparisonResult {
  std::size_t reference = 0;  ///< index in Result::films
  std::size_t follow_up = 0;
  std::optional<int> days;  ///< from the reference film to the follow-up film
  Status status = Status::kNotMeasured;
  std::string reason;                             ///< one sentence, when not measured
  std::optional<migration::Migration> migration;  ///< lengths as if LengthUnit were kMillimetres
  std::vector<lucency::ZoneChange> zones;         ///< by zone, then interface, when measured
  std::optional<lucency::SignChanges> signs;
  std::vector<Flag> flags;
  std::optional<std::string> picture;
};

/// The lines on two lateral films of the hip, at the same places of the stem. Nothing is aligned:
/// bone and motion are told by frontal films.
struct LateralComparison {
  std::size_t reference = 0;  ///< index in Result::films: the first lateral film that has lines
  std::size_t follow_up = 0;
  std::optional<int> days;                 ///< from the reference film to the follow-up film
  std::vector<lucency::ZoneChange> zones;  ///< 8 to 14, then by interface
};

/// How the stem was seated, on the reference film (docs/seat.md).
struct SeatResult {
  std::size_t film = 0;  ///< index in Result::films
  std::vector<assessment::SeatItem> items;
  std::optional<std::string> picture;
};

/// A picture as the bytes of a PNG file.
struct Picture {
  std::string file;
  std::vector<unsigned char> png;
};

/// One film as it is shown in an AlignedFilms, and the stem as found on this film itself. Whoever
/// sees an outline beside its shadow knows that the number is not to be trusted. px of `grey`.
struct AlignedFilm {
  std::size_t film = 0;         ///< index in Result::films
  RasterOf<std::uint8_t> grey;  ///< 0 dark to 255 bright; 0 outside of the film
  Polyline outline_px;          ///< of the stem, open at the head
  Circle2 head_px;
  std::optional<Vec2> tip_px;  ///< absent where the field ends above it
  Vec2 shoulder_px = Vec2::Zero();
  Vec2 reference_px = Vec2::Zero();  ///< the point of the stem whose motion is reported
  Affine2 stored_from_px;            ///< to stored px of the film's file
};

/// The measured films in one frame: that of the reference film, each follow-up laid bone on bone
/// (Migration::follow_up_from_reference_bone_mm). Shown as films are hung, the patient's right on
/// the left. All pictures have one size; where a point of the stem lies on two of them differs by
/// its motion against the bone.
struct AlignedFilms {
  double px_per_mm = 1.0;          ///< in the plane of the stem, by the reference film's scale
  std::vector<AlignedFilm> films;  ///< the reference film first, then each measured follow-up
};

/// One film along the stem's interface, straightened: down the lateral flank, about the tip, up the
/// medial flank. One column of pixels a place of the stem.
struct UnrolledStrip {
  std::size_t film = 0;                      ///< index in Result::films
  RasterOf<std::uint8_t> grey;               ///< bone above, metal below; 0 outside of the film
  std::vector<std::optional<Vec2>> edge_px;  ///< by column: place on the stem's edge, stored px
  /// By column: what is said of a line there, at any interface; kNotSeen where edge_px is absent.
  std::vector<lucency::State> state;
};

/// A film's interface below that of the reference film, when the two were compared: a column is one
/// place of the stem on both.
struct UnrolledFilm {
  struct Zone {
    int number = 0;
    double from = 0.0;  ///< columns
    double to = 0.0;
  };
  double px_per_mm = 1.0;             ///< along the interface
  std::vector<UnrolledStrip> strips;  ///< the past first; the last is the film itself
  std::vector<Zone> zones;            ///< from left to right
};

/// All that was measured on one hip. Holds no patient's identity.
struct Result {
  std::string tool_version;
  std::string options_sha256;
  std::optional<std::string> sheet_sha256;
  std::optional<std::string> hip;
  std::optional<Side> side;
  LengthUnit length_unit = LengthUnit::kMillimetres;
  /// Reference film's scale, mm per stored px: what turns the lengths of the comparisons into
  /// kReferencePixels. Absent when the reference film was not measured.
  std::optional<MillimetresPerPixel> reference_scale;
  std::vector<FilmResult> films;
  std::vector<ComparisonResult> comparisons;
  std::vector<LateralComparison> lateral_comparisons;
  /// What the numbers mean by published criteria; filled by measure().
  std::optional<assessment::Assessment> assessment;
  std::optional<SeatResult> seat;  ///< absent when the reference film was not measured
  std::vector<Flag> flags;
  /// What changed since the last report; set by whoever knows one (history_of).
  std::optional<History> history;
  std::optional<Reuse> reuse;  ///< only with Remember::kKeep
  std::vector<Picture> pictures;
  std::vector<UnrolledFilm> unrolled;  ///< only with Unroll::kKeep: of each film that has lines
  std::optional<AlignedFilms>
      aligned;  ///< only with Aligned::kKeep, and if the reference film was measured
};

/// How lengths are told: in `unit`, "mm" or "px", as mm divided by mm_per_unit.
struct Lengths {
  double mm_per_unit = 1.0;
  std::string unit = "mm";
};
/// Of the comparisons: in stored px of the reference film when there is no scale.
[[nodiscard]] Lengths lengths_of(const Result& result);
/// On one film: in its own stored px when there is no scale.
[[nodiscard]] Lengths lengths_of(const Result& result, const FilmResult& film);

/// What became of the lines of a film since an earlier one of its kind, frontal or lateral.
struct LinesSince {
  std::size_t reference = 0;  ///< index in Result::films
  std::span<const lucency::ZoneChange> zones;
};
/// Nothing for a film whose lines were not compared. Refers to `result`.
[[nodiscard]] std::optional<LinesSince> lines_since(const Result& result, std::size_t film);

/// Exit code of a finished measurement (docs/cli.md): 0 all measured, 1 some films or comparisons
/// not measured, 3 no film could be read.
[[nodiscard]] int exit_code(const Result& result);

}  // namespace tidemark::followup
