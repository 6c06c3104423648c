#pragma once

#include <optional>
#include <string>
#include <vector>

#include "svg_canvas.h"
#include "tidemark/registry/cohort_study.h"

namespace tidemark::registry {

/// Nothing when there is nothing to draw.
[[nodiscard]] std::optional<Figure> course_figure(const CohortStudy& study, Quantity quantity);
[[nodiscard]] std::optional<Figure> criteria_figure(const CohortStudy& study);
[[nodiscard]] std::optional<Figure> survival_figure(const CohortStudy& study,
                                                    const std::string& criterion);
[[nodiscard]] std::vector<Figure> lucency_figures(const CohortStudy& study);
[[nodiscard]] std::optional<Figure> precision_figure(const PrecisionStudy& precision);
[[nodiscard]] std::optional<Figure> agreement_figure(const QuantityAgreement& agreement);

/// How the n-th group is drawn: dash and shade repeat after four.
[[nodiscard]] Ink group_ink(std::size_t group, double width);

/// A group as people read it: "all hips" where hips are not grouped.
[[nodiscard]] std::string group_label(const std::string& group);

/// A share in per cent: whole between 10 and 90, else with a decimal, and 0 or 100 only where it
/// is: "99.7 %", "> 99.9 %".
[[nodiscard]] std::string share_text(double share);

/// What the cohort's days count from: "surgery", "the reference film", or that it is mixed.
[[nodiscard]] std::string origin_of_time(const Cohort& cohort);

/// "subsidence, mm (distal +)"
[[nodiscard]] std::string quantity_label(Quantity quantity);
/// "subsidence"
[[nodiscard]] std::string quantity_word(Quantity quantity);

/// A frame of two axes with labelled ticks.
struct Plot {
  Scale x, y;
};
/// Draws the left and the lower axis with ticks at `x_ticks` (value, text) and round values of y.
void draw_axes(SvgCanvas& canvas, const Plot& plot,
               const std::vector<std::pair<double, std::string>>& x_ticks,
               const std::string& x_label, const std::string& y_label);

}  // namespace tidemark::registry
