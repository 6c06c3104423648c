#include "figures.h"

#include <algorithm>
#include <array>
#include <set>

#include "tidemark/core/number_text.h"

namespace tidemark::registry {

Ink group_ink(std::size_t group, double width) {
  static const std::array<Ink, 4> inks{
      Ink{"#000", 1.0, "none", ""}, Ink{"#000", 1.0, "none", "7 4"}, Ink{"#777", 1.0, "none", ""},
      Ink{"#777", 1.0, "none", "2 3"}};
  Ink ink = inks.at(group % inks.size());
  ink.width = width;
  return ink;
}

std::string group_label(const std::string& group) { return group.empty() ? "all hips" : group; }

std::string share_text(double share) {
  constexpr double kRounding = 1e-12;  // a product of shares that are all 1 may fall short of it
  if (share < kRounding) return "0 %";
  if (share > 1.0 - kRounding) return "100 %";
  if (share < 0.001) return "< 0.1 %";
  if (share > 0.999 + kRounding) return "> 99.9 %";
  const bool near_an_end = share < 0.1 || share > 0.9;
  return fixed_text(100.0 * share, near_an_end ? 1 : 0) + " %";
}

std::string origin_of_time(const Cohort& cohort) {
  const auto n = std::count_if(cohort.hips.begin(), cohort.hips.end(),
                               [](const CohortHip& hip) { return hip.days_from_reference; });
  if (n == 0) return "surgery";
  if (static_cast<std::size_t>(n) == cohort.hips.size()) return "the reference film";
  return "surgery, where that has no date from the reference film";
}

std::string quantity_word(Quantity quantity) {
  switch (quantity) {
    case Quantity::kMedial:
      return "medial shift";
    case Quantity::kTiltChange:
      return "tilt change";
    case Quantity::kSubsidence:
      break;
  }
  return "subsidence";
}

std::string quantity_label(Quantity quantity) {
  switch (quantity) {
    case Quantity::kMedial:
      return "medial shift, mm (medial +)";
    case Quantity::kTiltChange:
      return "tilt change, degrees (varus +)";
    case Quantity::kSubsidence:
      break;
  }
  return "subsidence, mm (distal +)";
}

void draw_axes(SvgCanvas& canvas, const Plot& plot,
               const std::vector<std::pair<double, std::string>>& x_ticks,
               const std::string& x_label, const std::string& y_label) {
  const Ink axis{"#000", 1.0, "none", ""};
  const Ink grid{"#ddd", 0.8, "none", ""};
  const double bottom = plot.y.from;
  for (const double value : round_ticks(plot.y.low, plot.y.high, 6)) {
    const double y = plot.y.at(value);
    canvas.line({plot.x.from, y}, {plot.x.to, y}, grid);
    canvas.text({plot.x.from - 7, y + 4}, tick_text(value), {12, Anchor::kEnd});
  }
  for (const auto& [value, words] : x_ticks) {
    const double x = plot.x.at(value);
    canvas.line({x, bottom}, {x, bottom + 5}, axis);
    canvas.text({x, bottom + 18}, words, {12, Anchor::kMiddle});
  }
  canvas.line({plot.x.from, bottom}, {plot.x.to, bottom}, axis);
  canvas.line({plot.x.from, bottom}, {plot.x.from, plot.y.to}, axis);
  canvas.text({(plot.x.from + plot.x.to) / 2, bottom + 36}, x_label, {12, Anchor::kMiddle});
  canvas.upward_text({plot.x.from - 42, (bottom + plot.y.to) / 2}, y_label);
}

std::vector<Figure> figures_of(const CohortStudy& study) {
  std::vector<Figure> out;
  const auto add = [&out](std::optional<Figure> figure) {
    if (figure) out.push_back(std::move(*figure));
  };
  for (const Quantity quantity : kQuantities) add(course_figure(study, quantity));
  add(criteria_figure(study));
  for (const CohortCriterion& c : criteria_of(study.cohort)) add(survival_figure(study, c.id));
  for (Figure& figure : lucency_figures(study)) out.push_back(std::move(figure));
  for (const auto& [quantity, precision] : study.precision) {
    if (precision) add(precision_figure(*precision));
  }
  if (study.agreement) {
    for (const QuantityAgreement& agreement : study.agreement->quantities) {
      add(agreement_figure(agreement));
    }
  }
  return out;
}

}  // namespace tidemark::registry
