#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/core/usual_pose.h"
#include "tidemark/film/film.h"

namespace tidemark::film {

// What each way to the scale may be wrong by, beside the reading of the lengths themselves.
// A plane nearer to the tube by d is magnified more by d / SOD (similar triangles); SOD is taken
// as kSourceToHipMm of usual_pose.h.

/// Where the head's centre lies against the stem's reference point, mm. The stem's neck points
/// forward of the film's plane by kAnteversionDeg over an offset of kOffsetMm (usual_pose.h): 43
/// sin 12 deg = 8.9 mm towards the tube of an AP film, so that the head is drawn 0.92 % larger than
/// the stem. To 0.1 mm.
[[nodiscard]] double head_in_front_mm();
/// Standard uncertainty of it: anteversion 43 cos 12 deg x 8 deg = 5.9 mm, offset 7 sin 12 deg =
/// 1.5 mm, and flexion of kFlexionDeg of a head 35 mm proximal to the reference point, 2.4 mm: root
/// sum of squares 6.5 mm (derived), 0.67 % of the scale. To 0.1 mm.
[[nodiscard]] double head_in_front_u_mm();
/// A sphere off the central ray is drawn long by 1/cos(angle): 0.38 % at 100 mm; a fitted circle
/// takes half of it, and its standard uncertainty is taken as 0.1 % (derived).
inline constexpr double kHeadElongation = 0.001;
/// Mean absolute error of scales from one ball beside the thigh, 57 hips (comparison of four ways
/// to calibrate, J Bone Joint Surg Br 2010, abstract; the largest error was 17.4 %).
inline constexpr double kMarkerMeanAbsoluteError = 0.0255;
/// How much shorter than it is a stem is drawn, as a share of its length: it leans out of the
/// film's plane by an angle f of mean 0, made up of flexion, of bow and seat, and of a beam centred
/// elsewhere (usual_pose.h), of standard deviation s = 9.6 degrees together. The mean of 1 - cos f
/// is s^2 / 2 = 1.4 %, its standard deviation s^2 / sqrt(2) = 2.0 % (derived, normal f, to the
/// second order).
struct Foreshortening {
  double mean = 0.0;
  double u = 0.0;
};
[[nodiscard]] Foreshortening stem_foreshortening();
/// Depth of the plane that a calibrated PixelSpacing holds in when it says no more: from the table
/// top to the front of the thigh (house choice, rectangular).
inline constexpr double kUnknownDepthHalfWidthMm = 70.0;
/// The hip lies this much nearer to the tube than what DICOM calls the distance to the patient (and
/// takes the magnification factor from): the side of the table or bucky that is nearest to the
/// patient (PS3.3 C.8.7.5, DX Positioning).
inline constexpr double kTableToHipMm = 75.0;
/// Half-width about that, rectangular: from devices that mean the hip itself, with some allowance,
/// to a large patient (house choice).
inline constexpr double kTableToHipHalfWidthMm = 90.0;
/// Factors outside this are no magnification of a hip and are not used (house choice).
inline constexpr double kMinMagnification = 1.02;
inline constexpr double kMaxMagnification = 1.60;
/// Distances that a film of the hip is taken at, source to detector and source to hip (house
/// choice, wide). Devices that write cm or m stay far below.
inline constexpr double kMinSourceToDetectorMm = 700.0;
inline constexpr double kMaxSourceToDetectorMm = 2500.0;
inline constexpr double kMinSourceToHipMm = 500.0;
/// Magnification of hip films: 117 to 123.4 % measured on 32 heads (Brew et al., J Arthroplasty 27
/// (2012) 643-647), with a margin (house choice) that catches a wrong head size of the next step
/// (28 for 32 mm) and lets large and small patients pass.
inline constexpr double kMinUsualMagnification = 1.10;
inline constexpr double kMaxUsualMagnification = 1.32;

/// A calibrated PixelSpacing that nothing in the header can be held against: detectors have 0.1 to
/// 0.2 mm, pictures made smaller up to some times that (house choice, wide).
inline constexpr double kMinSpacingAtHipMm = 0.05;
inline constexpr double kMaxSpacingAtHipMm = 0.6;

/// Where the scale of a film comes from, best first.
enum class ScaleMethod { kHeadDiameter, kMarkerDiameter, kStemLength, kDicom, kPixels };

/// A length seen on the film and known in truth. Both values positive, both u zero or more.
struct KnownLength {
  Measured<Pixels> on_film;  ///< in view pixels (square)
  Measured<Millimetres> true_length;
};

/// What may give the scale of one film.
struct ScaleSources {
  std::optional<KnownLength> head_diameter;
  std::optional<KnownLength> marker_diameter;
  std::optional<KnownLength> stem_length;
  ScaleFacts dicom;
  /// View pixels per stored pixel along x (1 unless the stored pixels were not square); see
  /// film::view_px_per_stored_px.
  double view_px_per_stored_px = 1.0;
  View view = View::kAp;       ///< a PA film has the tube behind the patient
  bool accept_pixels = false;  ///< the user takes results in pixels when nothing gives a scale
};

/// One way to the scale.
struct ScaleCandidate {
  ScaleMethod method = ScaleMethod::kPixels;
  Measured<MillimetresPerPixel> mm_per_px;
  std::string note;  ///< how it was found, e.g. which tags
};

/// Scale in the plane of the stem: the best candidate, and the others beside it, in the same order.
///
/// With `best.method == kPixels` there is no scale: mm_per_px is exactly 1 and means "one unit is
/// one pixel". The caller must then write px wherever it would write mm, leave out every comparison
/// with a threshold in mm, and flag the result.
struct Calibration {
  ScaleCandidate best;
  std::vector<ScaleCandidate> others;
  /// One sentence for each pair that differs by more than the joint 95 % uncertainty
  /// (|a - b| > 1.96 sqrt(u_a^2 + u_b^2)), and one when the magnification that the best implies is
  /// not that of a hip film.
  std::vector<std::string> disagreements;
};

/// Scale in the plane of the stem over that in the plane of the head: 1 + head_in_front_mm() / 970
/// mm, and less than 1 on a PA film (similar triangles).
[[nodiscard]] double stem_over_head(View view);

/// Chooses the scale: head diameter, marker ball, stem length, DICOM, in this order. The head's is
/// carried over to the stem's depth: larger than mm over px by head_in_front_mm() / 970 mm on an AP
/// film, smaller on a PA film, where head and stem change places (similar triangles). The stem's
/// length is taken for drawn short by the mean of stem_foreshortening().
///
/// Uncertainty: relative, root sum of squares of the two lengths' own (JCGM 100, 5.1.2) and of what
/// the method may be wrong by (constants above); u95 = 1.96 u.
/// @return kCannotTell when there is no source and pixels are not accepted, with what the header
///         does say; kBadInput when a known length is not a positive number.
[[nodiscard]] Expected<Calibration> calibrate(const ScaleSources& sources);

/// Distance between pixels at the detector or on the scanned sheet, where the header states it.
[[nodiscard]] std::optional<Spacing> detector_spacing(const ScaleFacts& facts);

/// A sentence, without full stop, where a scale and the spacing at the detector imply a
/// magnification that films of the hip do not have, its 95 % interval wholly outside of
/// kMinUsualMagnification to kMaxUsualMagnification.
/// @param per_view_px  scale in the plane of the stem; with u = 0 its value alone is judged
/// @param from         where it comes from, as the sentence's subject
[[nodiscard]] std::optional<std::string> implausible_magnification(
    const Measured<MillimetresPerPixel>& per_view_px, const std::string& from,
    const ScaleFacts& dicom, double view_px_per_stored_px);

/// What DICOM alone says of the scale in the plane of the patient, if it says it: the first of
/// scales_from_dicom.
[[nodiscard]] std::optional<ScaleCandidate> scale_from_dicom(const ScaleFacts& facts);

/// Every scale in the plane of the patient that a DICOM header supports, best first (DICOM PS3.3
/// 10.7 and C.8.7.6), in mm per *stored* pixel along a row (as Spacing::between_columns_mm):
///
/// 1. PixelSpacing that is calibrated: it differs from ImagerPixelSpacing or
///    NominalScannedPixelSpacing, or PixelSpacingCalibrationType says so and neither is there
///    (then of a size that a film of the hip has: kMinSpacingAtHipMm, kMaxSpacingAtHipMm);
/// 2. ImagerPixelSpacing / EstimatedRadiographicMagnificationFactor;
/// 3. ImagerPixelSpacing * DistanceSourceToPatient / DistanceSourceToDetector, both in mm
///    (kMinSourceToDetectorMm and so on);
///
/// the latter two taken on to the hip (kTableToHipMm).
///
/// ImagerPixelSpacing alone is at the detector, NominalScannedPixelSpacing is of the sheet, and
/// PixelSpacing alone may be either: none of them is a scale.
[[nodiscard]] std::vector<ScaleCandidate> scales_from_dicom(const ScaleFacts& facts);

}  // namespace tidemark::film
