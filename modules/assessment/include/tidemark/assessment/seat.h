#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/anatomy/canal.h"
#include "tidemark/anatomy/femur.h"
#include "tidemark/anatomy/implant.h"
#include "tidemark/core/units.h"
#include "tidemark/lucency/signs.h"

namespace tidemark::assessment {

// How the stem was seated, on the reference film alone: the surgeon's own check of the operation.
// Definitions with their sources: docs/seat.md. A low or odd value describes a hip; none of them is
// a fault.

/// Unit of a measure of the seat.
enum class SeatUnit { kMillimetres, kDegrees, kRatio };

/// A measure against what was planned: further off than its tolerance at 95 %, surely not, or
/// neither.
enum class AgainstPlan { kAsPlanned, kOffPlan, kCannotTell };

/// The plan's value and what became of it.
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

/// One measure.
struct SeatItem {
  std::string id;          ///< stable, e.g. "canal_fill_minus_20"
  std::string name;        ///< for a person
  std::string definition;  ///< one sentence
  SeatUnit unit = SeatUnit::kMillimetres;
  std::optional<Measured<double>> measured;
  std::string reason;  ///< one sentence when it is not measured
  std::string remark;  ///< one sentence that must be read with the value; may be empty
  std::optional<SeatClass> seat_class;
  std::optional<Planned> planned;
};

/// What was planned before surgery, as far as a film after it can show.
struct SeatPlan {
  std::optional<Millimetres> greater_trochanter_to_head_centre;  ///< tip proximal is positive
  std::optional<Degrees> stem_tilt;                              ///< varus positive
};

/// What is known of the reference film. Points in px of the hip view.
struct SeatEvidence {
  const anatomy::Implant& implant;     // NOLINT: a view for the length of one call
  const anatomy::Femur& femur;         // NOLINT
  const anatomy::CanalReading& canal;  // NOLINT
  Measured<MillimetresPerPixel> scale;
  std::optional<Measured<Degrees>> tilt;      ///< stem axis against shaft axis, varus +
  std::optional<lucency::CalcarSign> calcar;  ///< level of the cut neck
  SeatPlan plan;
};

/// Tilt, canal fill at four levels, contact of the flare, tip of the greater trochanter to head
/// centre, level of the neck's cut, femoral offset, canal flare index, cortical index: always all
/// of them, in this order, each with its value or the reason why there is none.
[[nodiscard]] std::vector<SeatItem> audit_seat(const SeatEvidence& film);

}  // namespace tidemark::assessment
