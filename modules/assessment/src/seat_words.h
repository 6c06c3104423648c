#pragma once

#include <optional>

#include "tidemark/assessment/seat.h"

namespace tidemark::assessment {

/// What a measure of the seat is, apart from any film. Sources: docs/seat.md.
struct SeatWords {
  const char* id;
  const char* name;
  const char* definition;  ///< one sentence
  SeatUnit unit;
  const char* positive;  ///< what a positive value means; empty where the sign says nothing
};

/// A level at which canal fill is told: mm above the lesser trochanter's most prominent point.
struct FillLevel {
  int mm;
  SeatWords words;
};

inline constexpr const char* kFillDefinition =
    "Width of the stem over the inner width of the canal, across the axis of the shaft; levels "
    "count from the lesser trochanter's most prominent point.";
inline constexpr FillLevel kFillLevels[] = {
    {20,
     {"canal_fill_plus_20", "Canal fill 20 mm above the lesser trochanter", kFillDefinition,
      SeatUnit::kRatio, ""}},
    {0,
     {"canal_fill_0", "Canal fill at the lesser trochanter", kFillDefinition, SeatUnit::kRatio,
      ""}},
    {-20,
     {"canal_fill_minus_20", "Canal fill 20 mm below the lesser trochanter", kFillDefinition,
      SeatUnit::kRatio, ""}},
    {-70,
     {"canal_fill_minus_70", "Canal fill 70 mm below the lesser trochanter", kFillDefinition,
      SeatUnit::kRatio, ""}}};

inline constexpr SeatWords kTilt{
    "stem_tilt_deg", "Tilt of the stem",
    "Angle between the axis of the stem and that of the shaft 20 to 90 mm below the lesser "
    "trochanter; varus is positive.",
    SeatUnit::kDegrees, "varus"};
inline constexpr SeatWords kFlareGap{
    "flare_gap_mm", "Gap beside the lateral flare",
    "From the stem to the inner border of the lateral cortex, perpendicular to the stem's flank "
    "where the axis of the neck meets it.",
    SeatUnit::kMillimetres, ""};
inline constexpr SeatWords kTrochanterToHead{
    "greater_trochanter_to_head_centre_mm", "Greater trochanter to head centre",
    "From the head's centre to the level of the greater trochanter's tip along the axis of the "
    "shaft; tip proximal of the centre is positive.",
    SeatUnit::kMillimetres, "tip proximal"};
inline constexpr SeatWords kNeckCut{
    "neck_cut_above_lesser_trochanter_mm", "Neck cut above the lesser trochanter",
    "Level of the cut neck on the medial flank above the lesser trochanter's most prominent "
    "point, along the axis of the stem.",
    SeatUnit::kMillimetres, ""};
inline constexpr SeatWords kOffset{
    "femoral_offset_mm", "Femoral offset",
    "Perpendicular distance of the head's centre from the axis of the shaft, as projected on this "
    "film.",
    SeatUnit::kMillimetres, ""};
inline constexpr SeatWords kFlareIndex{
    "canal_flare_index", "Canal flare index",
    "Inner width of the canal 20 mm above the lesser trochanter over that of its isthmus, on this "
    "film.",
    SeatUnit::kRatio, ""};
inline constexpr SeatWords kCorticalIndex{
    "cortical_index", "Cortical index",
    "Outer less inner width of the femur over the outer one, 100 mm below the lesser trochanter.",
    SeatUnit::kRatio, ""};
inline constexpr SeatWords kLegLength{
    "leg_length_difference_mm", "Leg length difference",
    "How much farther distal the lesser trochanter of this hip lies than that of the other one, "
    "along the axis of mirror symmetry of the pelvis.",
    SeatUnit::kMillimetres, "this leg longer"};
inline constexpr SeatWords kLegChange{"leg_length_change_mm", "Change of leg length",
                                      "How much longer the operation has made the leg.",
                                      SeatUnit::kMillimetres, "longer"};

/// The published class of a measure that the value lies in with 95 % probability, if there is one.
[[nodiscard]] std::optional<SeatClass> class_of(const SeatWords& words,
                                                const Measured<double>& measured);

}  // namespace tidemark::assessment
