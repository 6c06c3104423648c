#include "tidemark/film/calibration.h"

#include <cmath>
#include <numbers>
#include <string>
#include <utility>

#include "tidemark/core/number_text.h"
#include "tidemark/core/uncertainty.h"

namespace tidemark::film {
namespace {

constexpr double kDegree = std::numbers::pi / 180.0;

/// Half-width of 95 % of a normal error in standard uncertainties.
double coverage95() { return coverage_factor(kInfiniteFreedom); }

double to_tenths(double mm) { return std::round(10.0 * mm) / 10.0; }

/// Relative standard uncertainty of a scale taken at another depth than the stem's: the depth lies
/// anywhere within +-half_width_mm (rectangular distribution: GUM 4.3.7), and dM/M = dOFD/SOD
/// (similar triangles).
double depth_uncertainty(double half_width_mm, double source_to_hip_mm = kSourceToHipMm) {
  return half_width_mm / std::sqrt(3.0) / source_to_hip_mm;
}

/// Standard deviation of a normal error whose mean absolute size is known: E|x| = s sqrt(2/pi).
double from_mean_absolute(double mean_absolute) {
  return mean_absolute * std::sqrt(std::numbers::pi / 2.0);
}

MillimetresPerPixel mm_per_px(double value) { return {value}; }

Measured<MillimetresPerPixel> with_relative_u(double value, double relative) {
  return measured(mm_per_px(value), mm_per_px(value * relative));
}

const char* name_of(ScaleMethod method) {
  switch (method) {
    case ScaleMethod::kHeadDiameter:
      return "head diameter";
    case ScaleMethod::kMarkerDiameter:
      return "marker ball";
    case ScaleMethod::kStemLength:
      return "stem length";
    case ScaleMethod::kDicom:
      return "DICOM header";
    case ScaleMethod::kPixels:
      return "pixels";
  }
  return "";
}

/// What the method itself adds to the uncertainty of the two lengths.
double model_uncertainty(ScaleMethod method) {
  switch (method) {
    case ScaleMethod::kHeadDiameter:
      return std::hypot(head_in_front_u_mm() / kSourceToHipMm, kHeadElongation);
    case ScaleMethod::kMarkerDiameter:
      return from_mean_absolute(kMarkerMeanAbsoluteError);
    case ScaleMethod::kStemLength:
      return stem_foreshortening().u;
    case ScaleMethod::kDicom:
    case ScaleMethod::kPixels:
      break;
  }
  return 0.0;
}

/// Scale in the plane of the stem over the known length over what is drawn of it.
double to_the_stem(ScaleMethod method, View view) {
  if (method == ScaleMethod::kStemLength) return 1.0 - stem_foreshortening().mean;
  return method == ScaleMethod::kHeadDiameter ? stem_over_head(view) : 1.0;
}

Expected<ScaleCandidate> from_length(ScaleMethod method, const KnownLength& length, View view) {
  const double px = length.on_film.value.value;
  const double mm = length.true_length.value.value;
  const double u_px = length.on_film.u.value;
  const double u_mm = length.true_length.u.value;
  const auto usable = [](double value, double u) {
    return std::isfinite(value) && value > 0.0 && std::isfinite(u) && u >= 0.0;
  };
  if (!usable(px, u_px) || !usable(mm, u_mm)) {
    return fail(ErrorKind::kBadInput, name_of(method), "its size is no positive number",
                "give it in millimetres, for example 32");
  }
  const double relative = std::hypot(u_px / px, u_mm / mm, model_uncertainty(method));
  return ScaleCandidate{method, with_relative_u(mm / px * to_the_stem(method, view), relative),
                        std::string(name_of(method)) + ": " + fixed_text(mm, 2) + " mm over " +
                            fixed_text(px, 1) + " px"};
}

bool differs(const Spacing& a, const Spacing& b) {
  constexpr double kSame = 1e-3;  // writers round to three or four digits
  return std::abs(a.between_columns_mm / b.between_columns_mm - 1.0) > kSame ||
         std::abs(a.between_rows_mm / b.between_rows_mm - 1.0) > kSame;
}

bool is_magnification(double factor) {
  return factor >= kMinMagnification && factor <= kMaxMagnification;
}

ScaleCandidate from_dicom(double value, double relative, std::string note) {
  return {ScaleMethod::kDicom, with_relative_u(value, relative), std::move(note)};
}

/// PixelSpacing, when the header shows that it is not the detector's or the film scanner's.
std::optional<ScaleCandidate> from_pixel_spacing(const ScaleFacts& facts) {
  if (!facts.pixel_spacing) return std::nullopt;
  const double value = facts.pixel_spacing->between_columns_mm;
  const bool fiducial = facts.calibration_type == "FIDUCIAL";
  const bool stated = fiducial || facts.calibration_type == "GEOMETRY";
  if (const auto flat = detector_spacing(facts)) {
    // At the object means smaller than at the detector; anything else is no calibration.
    if (!differs(*facts.pixel_spacing, *flat)) return std::nullopt;
    if (!is_magnification(flat->between_columns_mm / value)) return std::nullopt;
  } else if (!stated || value < kMinSpacingAtHipMm || value > kMaxSpacingAtHipMm) {
    return std::nullopt;
  }
  if (fiducial) {
    return from_dicom(value, from_mean_absolute(kMarkerMeanAbsoluteError),
                      "PixelSpacing, calibrated with an object of known size (FIDUCIAL)");
  }
  return from_dicom(value, depth_uncertainty(kUnknownDepthHalfWidthMm),
                    stated ? "PixelSpacing, corrected for an assumed depth (GEOMETRY)"
                           : "PixelSpacing, which differs from the spacing at the detector");
}

std::optional<ScaleCandidate> from_factor(const ScaleFacts& facts) {
  if (!facts.imager_pixel_spacing || !facts.magnification_factor) return std::nullopt;
  if (!is_magnification(*facts.magnification_factor)) return std::nullopt;
  constexpr double kSourceToTableMm = kSourceToHipMm + kTableToHipMm;
  return from_dicom(facts.imager_pixel_spacing->between_columns_mm / *facts.magnification_factor *
                        kSourceToHipMm / kSourceToTableMm,
                    depth_uncertainty(kTableToHipHalfWidthMm),
                    "ImagerPixelSpacing over EstimatedRadiographicMagnificationFactor, taken on "
                    "from the table to the hip");
}

std::optional<ScaleCandidate> from_distances(const ScaleFacts& facts) {
  if (!facts.imager_pixel_spacing || !facts.source_to_detector_mm || !facts.source_to_patient_mm) {
    return std::nullopt;
  }
  const double source_to_detector = *facts.source_to_detector_mm;
  const double source_to_hip = *facts.source_to_patient_mm - kTableToHipMm;
  // The ratio alone would let distances in cm pass, of which the way to the hip then leaves little.
  if (source_to_detector < kMinSourceToDetectorMm || source_to_detector > kMaxSourceToDetectorMm ||
      source_to_hip < kMinSourceToHipMm ||
      !is_magnification(source_to_detector / *facts.source_to_patient_mm)) {
    return std::nullopt;
  }
  return from_dicom(
      facts.imager_pixel_spacing->between_columns_mm * source_to_hip / source_to_detector,
      depth_uncertainty(kTableToHipHalfWidthMm, source_to_hip),
      "ImagerPixelSpacing times DistanceSourceToPatient over DistanceSourceToDetector, taken on "
      "from the table to the hip");
}

/// Why the header gives no scale, for the sentence that says so.
std::string why_not(const ScaleFacts& facts) {
  if (facts.imager_pixel_spacing) {
    return "nothing gives the scale at the hip (ImagerPixelSpacing is at the detector, 15 to 25 % "
           "too large there)";
  }
  if (facts.nominal_scanned_spacing) {
    return "nothing gives the scale at the hip (NominalScannedPixelSpacing is that of the scanned "
           "sheet)";
  }
  if (facts.pixel_spacing && facts.calibration_type) {
    return "nothing gives the scale at the hip (PixelSpacing is none that a film of the hip has)";
  }
  if (facts.pixel_spacing) {
    return "nothing gives the scale at the hip (the header does not say whether PixelSpacing is "
           "calibrated)";
  }
  return "nothing gives the scale (no spacing in the header)";
}

std::string disagreement(const ScaleCandidate& a, const ScaleCandidate& b) {
  const double ratio = b.mm_per_px.value.value / a.mm_per_px.value.value - 1.0;
  return std::string("the scale from the ") + name_of(b.method) + " (" + b.note + ") is " +
         fixed_text(100.0 * std::abs(ratio), 1) + (ratio > 0.0 ? " % larger" : " % smaller") +
         " than that from the " + name_of(a.method) + " (" + a.note +
         "), more than their uncertainties allow; check both";
}

std::vector<std::string> disagreements_of(const std::vector<ScaleCandidate>& candidates) {
  std::vector<std::string> found;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    for (std::size_t k = i + 1; k < candidates.size(); ++k) {
      const auto& a = candidates[i].mm_per_px;
      const auto& b = candidates[k].mm_per_px;
      const double joint_u = std::hypot(a.u.value, b.u.value);
      if (std::abs(a.value.value - b.value.value) > coverage95() * joint_u) {
        found.push_back(disagreement(candidates[i], candidates[k]));
      }
    }
  }
  return found;
}

/// The magnification that the best candidate implies: a size that was typed wrongly shows in it,
/// and a ball or a plane of calibration that was far from the hip.
std::optional<std::string> odd_magnification(const ScaleCandidate& best,
                                             const ScaleSources& sources) {
  const double k = sources.view_px_per_stored_px;
  if (best.method != ScaleMethod::kDicom) {
    return implausible_magnification(best.mm_per_px, std::string("the ") + name_of(best.method),
                                     sources.dicom, k);
  }
  // What is uncertain of a header's scale is its plane, for which the usual range has room already.
  return implausible_magnification({best.mm_per_px.value, mm_per_px(0.0), mm_per_px(0.0)},
                                   "the DICOM header (" + best.note + ")", sources.dicom, k);
}

}  // namespace

std::optional<Spacing> detector_spacing(const ScaleFacts& facts) {
  return facts.imager_pixel_spacing ? facts.imager_pixel_spacing : facts.nominal_scanned_spacing;
}

std::optional<std::string> implausible_magnification(
    const Measured<MillimetresPerPixel>& per_view_px, const std::string& from,
    const ScaleFacts& dicom, double view_px_per_stored_px) {
  const auto flat = detector_spacing(dicom);
  if (!flat) return std::nullopt;
  const double at_detector = flat->between_columns_mm / view_px_per_stored_px;
  const double factor = at_detector / per_view_px.value.value;
  const double u = factor * per_view_px.u.value / per_view_px.value.value;
  if (factor + coverage95() * u >= kMinUsualMagnification &&
      factor - coverage95() * u <= kMaxUsualMagnification) {
    return std::nullopt;
  }
  return from + " implies a magnification of " + fixed_text(factor, 2) +
         ", which films of the hip do not have (" + fixed_text(kMinUsualMagnification, 2) + " to " +
         fixed_text(kMaxUsualMagnification, 2) + "); check it";
}

std::vector<ScaleCandidate> scales_from_dicom(const ScaleFacts& facts) {
  std::vector<ScaleCandidate> found;
  for (const auto& candidate :
       {from_pixel_spacing(facts), from_factor(facts), from_distances(facts)}) {
    if (candidate) found.push_back(*candidate);
  }
  return found;
}

std::optional<ScaleCandidate> scale_from_dicom(const ScaleFacts& facts) {
  const auto all = scales_from_dicom(facts);
  if (all.empty()) return std::nullopt;
  return all.front();
}

double stem_over_head(View view) {
  const double nearer = view == View::kPa ? -head_in_front_mm() : head_in_front_mm();
  return 1.0 + nearer / kSourceToHipMm;
}

double head_in_front_mm() { return to_tenths(kOffsetMm * std::sin(kAnteversionDeg * kDegree)); }

double head_in_front_u_mm() {
  constexpr double kHeadAboveReferenceMm = 35.0;  // house choice
  const double anteversion = kAnteversionDeg * kDegree;
  return to_tenths(std::hypot(kOffsetMm * std::cos(anteversion) * kAnteversionSpreadDeg * kDegree,
                              kOffsetSpreadMm * std::sin(anteversion),
                              kHeadAboveReferenceMm * kFlexionDeg * kDegree));
}

Foreshortening stem_foreshortening() {
  const double beam = std::numbers::sqrt2 * kBeamShiftMm / kSourceToHipMm;
  const double lean = std::hypot(kFlexionOfLeastCareDeg * kDegree, kBowAndSeatDeg * kDegree, beam);
  return {lean * lean / 2.0, lean * lean / std::numbers::sqrt2};
}

Expected<Calibration> calibrate(const ScaleSources& sources) {
  std::vector<ScaleCandidate> candidates;
  for (const auto& [method, length] :
       {std::pair(ScaleMethod::kHeadDiameter, sources.head_diameter),
        std::pair(ScaleMethod::kMarkerDiameter, sources.marker_diameter),
        std::pair(ScaleMethod::kStemLength, sources.stem_length)}) {
    if (!length) continue;
    auto candidate = from_length(method, *length, sources.view);
    if (!candidate) return tl::unexpected(candidate.error());
    candidates.push_back(std::move(*candidate));
  }
  for (ScaleCandidate candidate : scales_from_dicom(sources.dicom)) {
    const double k = 1.0 / sources.view_px_per_stored_px;
    auto& scale = candidate.mm_per_px;
    scale = {k * scale.value, k * scale.u, k * scale.u95};
    candidates.push_back(std::move(candidate));
  }
  if (candidates.empty()) {
    if (!sources.accept_pixels) {
      return fail(ErrorKind::kCannotTell, "scale", why_not(sources.dicom),
                  "give the diameter of the head, or accept results in pixels");
    }
    Calibration none;
    none.best = {ScaleMethod::kPixels,
                 {mm_per_px(1.0), mm_per_px(0.0), mm_per_px(0.0)},
                 "no scale: every length is in pixels"};
    return none;
  }
  Calibration calibration;
  calibration.disagreements = disagreements_of(candidates);
  calibration.best = candidates.front();
  calibration.others.assign(candidates.begin() + 1, candidates.end());
  if (auto odd = odd_magnification(calibration.best, sources)) {
    calibration.disagreements.push_back(std::move(*odd));
  }
  return calibration;
}

}  // namespace tidemark::film
