#pragma once

#include "tidemark/assessment/sign_rule.h"
#include "words.h"

// The words of docs/schemas/signs-1.json.
namespace tidemark::assessment {

inline constexpr Words<Measure, 10> kMeasures{
    {"subsidence_mm", "late_subsidence_mm", "medial_mm", "medial_proximal_mm", "medial_third_mm",
     "medial_two_thirds_mm", "medial_tip_mm", "tilt_change_deg", "calcar_change_mm",
     "cortex_change_mm"}};
inline constexpr Words<LineQuestion, 5> kLineQuestions{
    {"extent", "any", "new", "progressive", "rim"}};
inline constexpr Words<LineShare, 2> kLineShares{{"visible", "whole"}};
inline constexpr Words<lucency::Interface, 3> kInterfaces{
    {"stem_bone", "stem_cement", "cement_bone"}};
inline constexpr Words<CementPrinciple, 2> kPrinciples{{"polished_taper", "composite_beam"}};

}  // namespace tidemark::assessment
