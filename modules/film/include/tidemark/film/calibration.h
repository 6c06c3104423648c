#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/core/units.h"
#include "tidemark/film/film.h"

namespace tidemark::film {

/// Where the scale of a film comes from, best first.
enum class ScaleMethod { kHeadDiameter, kMarkerDiameter, kStemLength, kDicom, kPixels };

/// A length seen on the film and known in truth.
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
  /// View pixels per stored pixel along x (1 unless the stored pixels were not square).
  double view_px_per_stored_px = 1.0;
  bool accept_pixels = false;  ///< the user takes results in pixels when nothing gives a scale
};

/// One way to the scale.
struct ScaleCandidate {
  ScaleMethod method = ScaleMethod::kPixels;
  Measured<MillimetresPerPixel> mm_per_px;
  std::string note;  ///< how it was found, e.g. which tags
};

/// Scale in the plane of the stem: the best candidate, and the others beside it.
struct Calibration {
  ScaleCandidate best;
  std::vector<ScaleCandidate> others;
  std::vector<std::string> disagreements;  ///< one sentence per pair beyond its joint uncertainty
};

/// Chooses the scale: head diameter, marker ball, stem length, DICOM, in this order.
/// @return kCannotTell when there is no source and pixels are not accepted.
[[nodiscard]] Expected<Calibration> calibrate(const ScaleSources& sources);

/// What DICOM alone says of the scale in the plane of the patient, if it says it
/// (literature: DICOM PS3.3 10.7; decision table in docs/design.md).
[[nodiscard]] std::optional<ScaleCandidate> scale_from_dicom(const ScaleFacts& facts);

}  // namespace tidemark::film
