#include <algorithm>
#include <array>
#include <cmath>

#include "figures.h"
#include "tidemark/core/number_text.h"

namespace tidemark::registry {
namespace {

constexpr double kPanelWidth = 430, kPanelHeight = 330, kLeft = 62, kTop = 34, kBottom = 52;

/// Time on a square-root axis: the first weeks and the later years both get room.
double place(double days) { return std::sqrt(std::max(0.0, days)); }

std::vector<std::pair<double, std::string>> time_ticks(double last_day) {
  static const std::array<std::pair<double, const char*>, 9> all{{{0, "0"},
                                                                  {42, "6 wk"},
                                                                  {183, "6 mo"},
                                                                  {365.25, "1 y"},
                                                                  {730.5, "2"},
                                                                  {1826.25, "5"},
                                                                  {3652.5, "10"},
                                                                  {5478.75, "15"},
                                                                  {7305, "20"}}};
  std::vector<std::pair<double, std::string>> out;
  for (const auto& [days, words] : all) {
    if (days <= last_day * 1.02) out.emplace_back(place(days), words);
  }
  return out;
}

struct Reach {
  double last_day = 0.0, low = 0.0, high = 0.0;
};

std::optional<Reach> reach_of(const Cohort& cohort, Quantity quantity) {
  std::vector<double> values;
  Reach out;
  for (const CohortHip& hip : cohort.hips) {
    for (const CohortComparison& c : hip.comparisons) {
      const auto& value = value_of(c, quantity);
      if (!value || !c.days || *c.days < 0 || c.examination != 1) continue;
      values.push_back(value->value);
      out.last_day = std::max(out.last_day, static_cast<double>(*c.days));
    }
  }
  if (values.empty() || out.last_day <= 0.0) return std::nullopt;
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  const double margin = std::max(0.1, 0.06 * (*high - *low));
  out.low = std::min(0.0, *low) - margin;
  out.high = std::max(0.0, *high) + margin;
  return out;
}

/// Each hip a thin line from the reference film on.
void draw_hips(SvgCanvas& canvas, const Plot& plot, const Cohort& cohort, const std::string& group,
               Quantity quantity) {
  for (const CohortHip& hip : cohort.hips) {
    if (hip.group != group) continue;
    std::vector<std::pair<int, double>> films;
    for (const CohortComparison& c : hip.comparisons) {
      const auto& value = value_of(c, quantity);
      if (value && c.days && *c.days >= 0 && c.examination == 1) {
        films.emplace_back(*c.days, value->value);
      }
    }
    if (films.empty()) continue;
    if (const auto start = start_day(hip)) films.emplace_back(std::max(0, *start), 0.0);
    std::sort(films.begin(), films.end());
    std::vector<At> line;
    line.reserve(films.size());
    for (const auto& [days, value] : films) {
      line.push_back({plot.x.at(place(days)), plot.y.at(value)});
    }
    canvas.path(line, {"#aaa", 0.7, "none", ""});
  }
}

void draw_model(SvgCanvas& canvas, const Plot& plot, const CohortStudy& study,
                const std::string& group, Quantity quantity) {
  for (const auto& [modelled, model] : study.models) {
    if (modelled != quantity || !model) continue;
    for (const GroupModel& g : model->groups) {
      if (g.group != group || g.curve.empty()) continue;
      std::vector<At> middle, low, high;
      for (const auto& [days, estimate] : g.curve) {
        const double x = plot.x.at(place(days));
        const auto inside = [&](double v) {
          return plot.y.at(std::clamp(v, plot.y.low, plot.y.high));
        };
        middle.push_back({x, inside(estimate.value)});
        low.push_back({x, inside(estimate.interval.low)});
        high.push_back({x, inside(estimate.interval.high)});
      }
      canvas.path(low, {"#000", 0.9, "none", "2 2"});
      canvas.path(high, {"#000", 0.9, "none", "2 2"});
      canvas.path(middle, {"#000", 2.2, "none", ""});
    }
  }
}

/// Means with their intervals, medians beside them; number of hips above the axis.
void draw_visits(SvgCanvas& canvas, const Plot& plot, const CohortStudy& study,
                 const std::string& group, Quantity quantity) {
  double last_label = -1e9;
  for (const CourseAtVisit& row : study.course) {
    if (row.group != group || row.quantity != quantity || !row.location) continue;
    const Location& l = *row.location;
    const double x = plot.x.at(place(visits()[row.visit].days));
    if (x > plot.x.to + 1) continue;
    const auto& interval = l.mean_interval;
    if (interval) {
      const double low = plot.y.at(std::max(interval->low, plot.y.low));
      const double high = plot.y.at(std::min(interval->high, plot.y.high));
      canvas.line({x, low}, {x, high}, {"#000", 1.4, "none", ""});
    }
    canvas.dot({x, plot.y.at(l.mean)}, 3.6, {"#000", 1.2, "#000", ""});
    const double m = plot.y.at(l.median);
    canvas.line({x - 7, m}, {x + 7, m}, {"#000", 1.4, "none", ""});
    if (x - last_label > 22) {
      canvas.text({x, plot.y.to - 4}, std::to_string(l.n), {11, Anchor::kMiddle});
      last_label = x;
    }
  }
}

}  // namespace

std::optional<Figure> course_figure(const CohortStudy& study, Quantity quantity) {
  const auto reach = reach_of(study.cohort, quantity);
  if (!reach) return std::nullopt;
  const auto& groups = study.cohort.groups;
  const std::size_t columns = std::min<std::size_t>(2, groups.size());
  const std::size_t rows = (groups.size() + columns - 1) / columns;
  SvgCanvas canvas(static_cast<double>(columns) * kPanelWidth + 10,
                   static_cast<double>(rows) * kPanelHeight);
  for (std::size_t g = 0; g < groups.size(); ++g) {
    const double left = static_cast<double>(g % columns) * kPanelWidth + kLeft;
    const std::size_t row = g / columns;
    const double top = static_cast<double>(row) * kPanelHeight;
    const Plot plot{{0, place(reach->last_day * 1.03), left, left + kPanelWidth - kLeft - 14},
                    {reach->low, reach->high, top + kPanelHeight - kBottom, top + kTop + 12}};
    draw_axes(canvas, plot, time_ticks(reach->last_day), "time from surgery (square-root scale)",
              quantity_label(quantity));
    canvas.text({left, top + 15}, group_label(groups[g]), {13, Anchor::kStart, "#000", "bold"});
    canvas.line({plot.x.from, plot.y.at(0)}, {plot.x.to, plot.y.at(0)}, {"#000", 0.8, "none", ""});
    draw_hips(canvas, plot, study.cohort, groups[g], quantity);
    draw_model(canvas, plot, study, groups[g], quantity);
    draw_visits(canvas, plot, study, groups[g], quantity);
  }
  const std::string title =
      "Course of " + quantity_word(quantity) + (groups.size() > 1 ? " by group" : "");
  return Figure{
      "course-" + name_of(quantity), title,
      "Grey: each hip. Heavy line: mean by the mixed model, dotted its 95 % interval. Dots "
      "and bars: mean of the films at a visit with its 95 % interval; short stroke: "
      "median; numbers on top: hips at that visit, without those whose reference film is later "
      "than "
      "three months. The model counts from surgery: films whose reference film is late show less "
      "than it.",
      canvas.svg(title)};
}

}  // namespace tidemark::registry
