#pragma once

#include <array>
#include <chrono>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/raster.h"

namespace tidemark::film {

/// Distance between pixel centres as a file states it, mm. Rows first, as DICOM orders it.
struct Spacing {
  double between_rows_mm = 0.0;     ///< vertical pitch
  double between_columns_mm = 0.0;  ///< horizontal pitch
};

/// Every fact about scale that a file states, uninterpreted. A value that is not a positive finite
/// number counts as absent. DICOM PS3.3 10.7 and C.8.7.
struct ScaleFacts {
  std::optional<Spacing> pixel_spacing;            ///< (0028,0030)
  std::optional<Spacing> imager_pixel_spacing;     ///< (0018,1164), at the detector
  std::optional<Spacing> nominal_scanned_spacing;  ///< (0018,2010), digitised film
  std::optional<std::string> calibration_type;     ///< (0028,0A02): GEOMETRY or FIDUCIAL
  std::optional<double> source_to_detector_mm;     ///< (0018,1110)
  std::optional<double> source_to_patient_mm;      ///< (0018,1111)
  std::optional<double> magnification_factor;      ///< (0018,1114)
};

/// Days that the dates of one header may lie apart, as the request and the film of one visit do.
/// House choice.
inline constexpr int kOneVisitDays = 14;

/// What a file says of itself. Kept as read; nothing here is guessed. Texts of a header are cut to
/// 64 printable ASCII characters; `file` is the name as the file system has it (any bytes).
struct FilmFacts {
  std::string file;         ///< file name without its folder
  std::string sha256;       ///< of the file's bytes, hex
  std::string format;       ///< "DICOM", "PNG", "TIFF" or "JPEG"
  std::string modality;     ///< DX, CR, RF, XA, ... ; empty when not said
  std::string photometric;  ///< MONOCHROME1, MONOCHROME2, RGB, ...; or empty
  int stored_columns = 0;
  int stored_rows = 0;
  int bits_stored = 0;
  std::optional<Side> side;                         ///< ImageLaterality, else Laterality
  std::optional<View> view;                         ///< ViewPosition
  std::optional<std::chrono::year_month_day> date;  ///< of acquisition, content or study
  /// Of the header's other dates the one furthest from `date`, where it lies more than
  /// kOneVisitDays away: one of them is not the film's.
  std::optional<std::chrono::year_month_day> contradicting_date;
  std::optional<std::array<std::string, 2>> patient_orientation;  ///< row and column direction
  std::optional<std::string> body_part;
  bool burned_in_annotation = false;  ///< BurnedInAnnotation YES: the pixels may name the patient
  ScaleFacts scale;
  /// One-way hash of the patient's id within this run, to notice films of different patients.
  /// Never written anywhere. Absent when the file has no id.
  std::optional<std::string> patient_key;
  /// SOP Instance UID (0008,0018), to notice one object in several files. Never written anywhere.
  std::optional<std::string> object_uid;
  /// Oddities met while reading, one sentence each, without full stop: what was ignored, assumed or
  /// contradictory. Never holds a patient's identity.
  std::vector<std::string> notes;
};

/// One film, ready to be looked at.
///
/// `pixels`: upright AP view (patient's right on the left of the image, head up) with square
/// pixels, bright = more absorbing, close to linear in log exposure, arbitrary offset and gain.
/// Pixel coordinates of `pixels` are called "view px"; `stored_from_view` maps them to the stored
/// matrix of the file, in which every output coordinate is given. A film turned by a quarter turn
/// or mirrored in the file stands upright here; where the stored pixels are not square, the coarser
/// direction is resampled to the finer pitch and stored_from_view carries the ratio.
///
/// How greys are made (DICOM PS3.3 C.7.6.3, C.8.11.3, C.11.1, C.11.2; house choices marked *):
/// bits above the high bit cleared, sign extended, but where greys would wrap around by that*;
/// modality LUT or rescale; turned over where the film is shown turned over (a VOI LUT that falls;
/// PresentationLUTShape, else MONOCHROME1; where these two disagree, what
/// PixelIntensityRelationshipSign says*); minus the logarithm for PixelIntensityRelationship LIN,
/// where the sign tells which way exposure grows, as it does on films FOR PROCESSING; LOG, DISP and
/// absent as they are*. A VOI LUT is applied only on films with no window and no stated
/// relationship*, if it only rises or falls* and does not press bright greys together*; windows
/// never*; padding: another grey*.
struct FilmImage {
  Raster pixels;
  Affine2 stored_from_view;
  FilmFacts facts;
  bool greys_spread = false;   ///< by with_room_for_bright() or spread_for_second_look() of tone.h
  bool greys_pressed = false;  ///< bright ones had little room before they were spread
};

/// Reads one projection radiograph: DX, CR, RF, SC, XA DICOM (8 to 16 bits, uncompressed, RLE,
/// JPEG, JPEG-LS, JPEG 2000, deflated; the first of several frames; with or without preamble and
/// file meta) and PNG, TIFF, JPEG (8 or 16 bits); also grey films stored as colour (anatomy.md).
///
/// Whatever the bytes are, the answer is a film or an error: needs less than 1 GiB (files over 384
/// MiB, matrices over 64 megapixels and headers larger or deeper than any film's are refused) and
/// prints nothing. May be called from several threads.
///
/// @return kBadInput with one sentence when the file is no readable film: missing, a folder, empty,
///         cut off, no image, colour, no pixel data, pixel data of the wrong length, impossible
///         header, under 8 pixels wide or high, one single value, numbers that are none, or an
///         image of another kind (modality CT, MR, PT, NM, US, ...).
[[nodiscard]] Expected<FilmImage> read(const std::filesystem::path& file);

/// The same film as a right hip: unchanged for kRight, mirrored left to right for kLeft, with
/// stored_from_view adapted. In this "hip view" lateral is -x, medial +x, distal +y.
[[nodiscard]] FilmImage as_right_hip(const FilmImage& upright, Side side);

/// The film with its grey values turned over, for files whose photometric tag is missing or wrong.
[[nodiscard]] FilmImage inverted(const FilmImage& film);

/// View pixels per stored pixel along the rows of the stored matrix (its x): 1 unless the stored
/// pixels were not square. What ScaleSources::view_px_per_stored_px wants.
[[nodiscard]] double view_px_per_stored_px(const FilmImage& film);

}  // namespace tidemark::film
