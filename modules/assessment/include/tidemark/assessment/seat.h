#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/anatomy/canal.h"
#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/anatomy/pelvis.h"
#include "tidemark/assessment/evidence.h"
#include "tidemark/core/geometry.h"
#include "tidemark/core/units.h"
#include "tidemark/lucency/signs.h"

namespace tidemark::assessment {

// How the stem was seated, on the reference film alone: the surgeon's own check of the operation.
// Definitions with their sources: docs/seat.md. A low or odd value describes a hip; none of them is
// a fault.

/// Unit of a measure of the seat.
enum class SeatUnit { kMillimetres, kDegrees, kRatio };
[[nodiscard]] std::string unit_of(SeatUnit unit);  ///< "mm", "deg", "1": UCUM

/// A measure against what was planned: further off than its tolerance at 95 %, surely not, or
/// neither.
enum class AgainstPlan { kAsPlanned, kOffPlan, kCannotTell };
[[nodiscard]] std::string code_of(AgainstPlan verdict);  ///< e.g. "as_planned"

/// The plan's value and what became of it; kCannotTell when the measure itself is missing.
struct Planned {
  double value = 0.0;
  double tolerance =
      0.0;  ///< house choice for lengths, B-ALIGN-3's band for the tilt (docs/seat.md)
  AgainstPlan verdict = AgainstPlan::kCannotTell;
};

/// A published class that the value surely (95 %) lies in.
struct SeatClass {
  std::string id;      ///< stable, e.g. "normal_canal"
  std::string text;    ///< for a person
  std::string source;  ///< whose classes these are
};

/// Where on the film a measure was read: a point or a line. `id` is stable, e.g. "canal_width".
struct SeatPlace {
  std::string id;
  Polyline px;  ///< of the hip view; in followup::SeatResult stored px of the file
};

/// One measure.
struct SeatItem {
  std::string id;          ///< stable, e.g. "canal_fill_minus_20"
  std::string name;        ///< for a person
  std::string definition;  ///< one sentence
  SeatUnit unit = SeatUnit::kMillimetres;
  std::string positive;  ///< what a positive value means; empty where the sign says nothing
  std::optional<Measured<double>> measured;
  std::string reason;  ///< one sentence when it is not measured
  std::string remark;  ///< one sentence that must be read with the value; may be empty
  std::optional<SeatClass> seat_class;
  std::optional<Planned> planned;
  std::vector<SeatPlace> places;  ///< empty when it is not measured
};

/// What was planned before surgery, as far as a film after it can show.
struct SeatPlan {
  std::optional<Millimetres> greater_trochanter_to_head_centre;  ///< tip proximal is positive
  std::optional<Degrees> stem_tilt;                              ///< varus positive
  std::optional<Millimetres> leg_length_difference;              ///< this leg longer is positive
  /// By the operation. No film after it can show it alone: told, never compared.
  std::optional<Millimetres> leg_length_change;
};

/// What is known of the reference film. Points in px of the hip view.
struct SeatEvidence {
  const anatomy::Implant& implant;     // NOLINT: a view for the length of one call
  const anatomy::Femur& femur;         // NOLINT
  const anatomy::CanalReading& canal;  // NOLINT
  Measured<MillimetresPerPixel> scale;
  std::optional<Measured<Degrees>> tilt;      ///< stem axis against shaft axis, varus +
  std::optional<lucency::CalcarSign> calcar;  ///< level of the cut neck
  const anatomy::Pelvis* pelvis = nullptr;    ///< none: pelvis_reason
  std::string pelvis_reason;                  ///< why the film shows no pelvis, no sentence
  SeatPlan plan;
  /// Without a scale only the tilt is measured: levels and lengths are unknown.
  Lengths lengths = Lengths::kMillimetres;
};

/// Tilt, canal fill at four levels, contact of the flare, tip of the greater trochanter to head
/// centre, level of the neck's cut, femoral offset, canal flare index, cortical index, leg length
/// difference: always all of them, in this order, each with its value or the reason why there is
/// none. A planned change of leg length follows as an item of its own, never measured.
[[nodiscard]] std::vector<SeatItem> audit_seat(const SeatEvidence& film);

/// What was measured, for a person: "value ± u95 unit" without more digits than u95 bears, the sign
/// only where it says something; or "not measured".
[[nodiscard]] std::string told(const SeatItem& item);

}  // namespace tidemark::assessment
