#pragma once

#include "tidemark/assessment/criteria.h"
#include "tidemark/core/plain_number.h"
#include "words.h"

// The words of docs/schemas/criteria-1.json.
namespace tidemark::assessment {

inline constexpr Words<Quantity, 6> kQuantities{
    {"subsidence_mm", "subsidence_rate_mm_per_year", "late_subsidence_mm",
     "late_subsidence_rate_mm_per_year", "medial_mm", "tilt_change_deg"}};
inline constexpr Words<Scope, 5> kScopes{
    {"any", "uncemented", "cemented", "cemented_polished_taper", "cemented_composite_beam"}};
inline constexpr Words<Certainty, 6> kCertainties{
    {"read", "second_hand", "from_memory", "unsure", "derived", "own"}};
inline constexpr Words<Kind, 2> kKinds{{"threshold", "typical"}};
inline constexpr Words<Sense, 2> kSenses{{"above", "either_way"}};
inline constexpr Words<Level, 2> kLevels{{"hip", "group"}};
inline constexpr Words<Point, 4> kPoints{{"reference_point", "head_centre", "shoulder", "tip"}};

/// Days as months with at most one decimal: "1.5 months", "24 months".
[[nodiscard]] std::string months_text(int days);
/// When a threshold holds, e.g. "at 24 months (give or take 3 months)".
[[nodiscard]] std::string window_text(const Window& window);
/// The unit in a sentence: "mm", "mm/year", "degrees".
[[nodiscard]] std::string unit_in_words(Quantity quantity);
/// Where on the stem, e.g. " at the tip"; empty of the reference point.
[[nodiscard]] std::string point_in_words(Point point);
/// The quantity in a sentence, e.g. "subsidence".
[[nodiscard]] std::string quantity_in_words(Quantity quantity);

}  // namespace tidemark::assessment
