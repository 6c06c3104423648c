#pragma once

#include <chrono>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "tidemark/anatomy/landmark.h"
#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/range.h"
#include "tidemark/core/units.h"
#include "tidemark/followup/zone_mark.h"

namespace tidemark::followup {

// Wide enough for every implant (heads of 22 mm up to those of resurfaced hips and hemiprostheses),
// narrow enough to catch another unit. House choices.
inline constexpr Range kHeadDiameterMm{20.0, 62.0};
inline constexpr Range kStemLengthMm{40.0, 500.0};

/// What a film is for. Every follow-up film is compared with the one reference film.
enum class Role { kReference, kFollowUp };

/// A side of the picture, feet down and not mirrored.
enum class PictureSide { kLeft, kRight };

/// One film as the sheet (or the folder) names it. All pixel coordinates are stored px of the file.
struct FilmEntry {
  std::string file;            ///< name inside the folder, as written in the sheet
  std::filesystem::path path;  ///< where it is read from
  std::optional<Role> role;
  std::optional<std::chrono::year_month_day> date;
  std::optional<View> view;
  std::optional<PictureSide> back;  ///< where the femur's back lies on a lateral film
  std::optional<Millimetres> marker_diameter;
  std::optional<Circle2> marker_in_stored_px;
  /// Scale in the plane of the stem per stored pixel (along a row), given by the user.
  std::optional<Measured<MillimetresPerPixel>> scale;
  anatomy::GivenLandmarks landmarks_in_stored_px;  ///< corrected by hand
  bool excluded = false;                           ///< listed in the result, not measured
  std::vector<ZoneMark> zone_marks;                ///< of readers, on radiolucent lines
};

/// The implant as the sheet describes it.
struct StemFacts {
  std::optional<Fixation> fixation;
  /// How a cemented stem carries its load; only with Fixation::kCemented.
  std::optional<CementPrinciple> cement_principle;
  std::optional<Millimetres> length;  ///< shoulder to tip along the stem axis
  std::optional<Millimetres> head_diameter;
  std::optional<std::string> surface;  ///< file of the stem's surface inside the folder
  std::filesystem::path surface_path;  ///< where it is read from; empty without one
};

/// What was planned before surgery; the seat on the reference film is held against it.
struct Plan {
  std::optional<Millimetres> greater_trochanter_to_head_centre;
  std::optional<Millimetres> leg_length_change;      ///< by the operation, longer positive
  std::optional<Millimetres> leg_length_difference;  ///< after it, this leg longer positive
  std::optional<Degrees> stem_tilt;
};

/// The films of one hip and what is known of it before anything is measured.
struct Series {
  std::optional<std::string> hip;  ///< the sheet's own name for this hip; never a patient's name
  std::optional<Side> side;
  std::optional<std::chrono::year_month_day> surgery_date;
  StemFacts stem;
  Plan plan;
  std::vector<FilmEntry> films;             ///< in the order of the sheet, else by file name
  std::vector<std::string> not_listed;      ///< films of the folder that its sheet does not list
  std::optional<std::string> sheet_sha256;  ///< of series.json, when there is one
};

/// What the caller states. Each value replaces the sheet's.
struct Overrides {
  std::optional<Side> side;
  std::optional<Millimetres> head_diameter;
  std::optional<Millimetres> stem_length;
};

/// Reads the text of a sheet (docs/schemas/series-1.json). Unknown keys are errors that name the
/// nearest known key; types, ranges and dates are checked. Files are not opened.
/// @param text   the JSON text
/// @param sheet  how errors call it, e.g. "series.json"
/// @param folder where the films stand
/// @return kBadInput with one sentence that names the sheet and the place in it, e.g.
///         "series.json: films[1].view is \"AXIAL\"; write AP, PA, LAT or OTHER".
[[nodiscard]] Expected<Series> parse_sheet(std::string_view text, const std::string& sheet,
                                           const std::filesystem::path& folder);

/// The series of a folder: its series.json, or without one every film file in it (PNG, TIFF and
/// JPEG by suffix, DICOM by its first 132 bytes or suffix), sorted by name. Never writes.
/// Films beside a sheet that does not list them are named in Series::not_listed.
/// @return kBadInput when the folder is missing, not a folder, or holds no film; or as parse_sheet;
///         kUsage when an override is out of range (as in the sheet).
[[nodiscard]] Expected<Series> load_series(const std::filesystem::path& folder,
                                           const Overrides& overrides);

/// A series of the one film, which is its own reference.
/// @return kBadInput when the file is missing or a folder; kUsage when an override is out of range.
[[nodiscard]] Expected<Series> series_of_film(const std::filesystem::path& file,
                                              const Overrides& overrides);

}  // namespace tidemark::followup
