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
  std::size_t beyond = 0;  ///< films outside of low and high
};

/// Whether a film has a place in the figure.
bool is_drawn(const CohortComparison& c, Quantity quantity) {
  return value_of(c, quantity) && c.days && *c.days >= 0 && c.examination == 1;
}

/// The axis holds every mean, and every film but those that lie farther from the middle half of
/// all than kFar times its width: a film that was aligned wrongly would press the others into one
/// line. (House choice.)
std::optional<Reach> reach_of(const CohortStudy& study, Quantity quantity) {
  constexpr double kFar = 10.0, kLeastWidth = 0.1;
  std::vector<double> values;
  Reach out;
  for (const CohortHip& hip : study.cohort.hips) {
    for (const CohortComparison& c : hip.comparisons) {
      if (!is_drawn(c, quantity)) continue;
      values.push_back(value_of(c, quantity)->value);
      out.last_day = std::max(out.last_day, static_cast<double>(*c.days));
    }
  }
  if (values.empty() || out.last_day <= 0.0) return std::nullopt;
  const auto middle = location_of(values);
  if (!middle) return std::nullopt;
  const double lower = middle->lower_quartile, upper = middle->upper_quartile;
  const double far = kFar * std::max(kLeastWidth, upper - lower);
  for (const double value : values) {
    if (value < lower - far || value > upper + far) continue;
    out.low = std::min(out.low, value);
    out.high = std::max(out.high, value);
  }
  for (const CourseAtVisit& row : study.course) {
    if (row.quantity != quantity || !row.location) continue;
    out.low = std::min(out.low, row.location->mean);
    out.high = std::max(out.high, row.location->mean);
  }
  const double margin = std::max(0.1, 0.06 * (out.high - out.low));
  out.low -= margin;
  out.high += margin;
  const auto is_beyond = [&](double value) { return value < out.low || value > out.high; };
  out.beyond = static_cast<std::size_t>(std::count_if(values.begin(), values.end(), is_beyond));
  return out;
}

/// Stands at the edge of the plot for what lies beyond it.
void draw_arrow_head(SvgCanvas& canvas, const Plot& plot, double x, double value) {
  constexpr double kSize = 5.0;
  const bool above = value > plot.y.high;
  const double tip = above ? plot.y.to : plot.y.from;
  const double base = tip + (above ? kSize : -kSize);
  canvas.area({{x, tip}, {x - 0.7 * kSize, base}, {x + 0.7 * kSize, base}}, "#555");
}

/// Each hip a thin line from the reference film on.
void draw_hips(SvgCanvas& canvas, const Plot& plot, const Cohort& cohort, const std::string& group,
               Quantity quantity) {
  for (const CohortHip& hip : cohort.hips) {
    if (hip.group != group) continue;
    std::vector<std::pair<int, double>> films;
    for (const CohortComparison& c : hip.comparisons) {
      if (is_drawn(c, quantity)) films.emplace_back(*c.days, value_of(c, quantity)->value);
    }
    if (films.empty()) continue;
    if (const auto start = start_day(hip)) films.emplace_back(std::max(0, *start), 0.0);
    std::sort(films.begin(), films.end());
    std::vector<At> line;
    line.reserve(films.size());
    for (const auto& [days, value] : films) {
      const double x = plot.x.at(place(days));
      const double inside = std::clamp(value, plot.y.low, plot.y.high);
      line.push_back({x, plot.y.at(inside)});
      if (inside != value) draw_arrow_head(canvas, plot, x, value);
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
      for (const double end : {interval->low, interval->high}) {
        if (end < plot.y.low || end > plot.y.high) draw_arrow_head(canvas, plot, x, end);
      }
    }
    canvas.dot({x, plot.y.at(l.mean)}, 3.6, {"#000", 1.2, "#000", ""});
    const double m = plot.y.at(std::clamp(l.median, plot.y.low, plot.y.high));
    canvas.line({x - 7, m}, {x + 7, m}, {"#000", 1.4, "none", ""});
    if (x - last_label > 22) {
      canvas.text({x, plot.y.to - 4}, std::to_string(l.n), {11, Anchor::kMiddle});
      last_label = x;
    }
  }
}

std::string caption_of(const Reach& reach) {
  std::string out =
      "Grey: each hip. Heavy line: mean by the mixed model, dotted its 95 % interval. Dots "
      "and bars: mean of the films at a visit with its 95 % interval; short stroke: "
      "median; numbers on top: hips at that visit, without those whose reference film is later "
      "than two weeks, or of unknown time, after surgery. The model counts from surgery: films "
      "whose reference film is late show less than it.";
  if (reach.beyond == 1) {
    out += " One film lies beyond the axis: an arrow head at its edge stands for it.";
  } else if (reach.beyond > 1) {
    out += " " + std::to_string(reach.beyond) +
           " films lie beyond the axis: arrow heads at its edge stand for them.";
  }
  return out;
}

}  // namespace

std::optional<Figure> course_figure(const CohortStudy& study, Quantity quantity) {
  const auto reach = reach_of(study, quantity);
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
    draw_axes(canvas, plot, time_ticks(reach->last_day),
              "time from " + origin_of_time(study.cohort) + " (square-root scale)",
              quantity_label(quantity));
    canvas.text({left, top + 15}, group_label(groups[g]), {13, Anchor::kStart, "#000", "bold"});
    canvas.line({plot.x.from, plot.y.at(0)}, {plot.x.to, plot.y.at(0)}, {"#000", 0.8, "none", ""});
    draw_hips(canvas, plot, study.cohort, groups[g], quantity);
    draw_model(canvas, plot, study, groups[g], quantity);
    draw_visits(canvas, plot, study, groups[g], quantity);
  }
  const std::string title =
      "Course of " + quantity_word(quantity) + (groups.size() > 1 ? " by group" : "");
  return Figure{"course-" + name_of(quantity), title, caption_of(*reach), canvas.svg(title)};
}

}  // namespace tidemark::registry
