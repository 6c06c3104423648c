#include <algorithm>
#include <cmath>
#include <set>

#include "figures.h"
#include "tidemark/core/number_text.h"

namespace tidemark::registry {
namespace {

constexpr double kWidth = 720, kLeft = 150, kRight = 690, kTop = 20, kBottom = 300, kRow = 17;

const CriterionSurvival* find(const CohortStudy& study, const std::string& criterion,
                              Counting counting) {
  for (const CriterionSurvival& s : study.survival) {
    if (s.criterion == criterion && s.counting == counting) return &s;
  }
  return nullptr;
}

double last_year(const CriterionSurvival& survival) {
  double last = 0.0;
  for (const SurvivalCurve& curve : survival.curves) {
    if (!curve.steps.empty()) last = std::max(last, curve.steps.back().time);
  }
  return std::max(last, 0.25);
}

/// A step line of `value(step)` from `start` on; ends where the value does.
template <class Value>
std::vector<At> steps_of(const SurvivalCurve& curve, const Plot& plot, Value value) {
  std::vector<At> line;
  for (const SurvivalStep& step : curve.steps) {
    const std::optional<double> v = value(step);
    if (!v) continue;
    const At next{plot.x.at(step.time), plot.y.at(100.0 * *v)};
    if (!line.empty()) line.push_back({next.x, line.back().y});
    line.push_back(next);
  }
  return line;
}

void draw_curve(SvgCanvas& canvas, const Plot& plot, const SurvivalCurve& curve,
                std::size_t group) {
  if (curve.steps.empty()) return;
  using Value = std::optional<double>;
  std::vector<At> line{{plot.x.at(0), plot.y.at(100)}};
  for (const At& at :
       steps_of(curve, plot, [](const SurvivalStep& s) -> Value { return s.survival; })) {
    if (line.size() == 1) line.push_back({at.x, line[0].y});
    line.push_back(at);
  }
  Ink thin = group_ink(group, 0.8);
  thin.dash = "1 2";
  canvas.path(steps_of(curve, plot,
                       [](const SurvivalStep& s) -> Value {
                         return s.log_log ? Value(s.log_log->low) : std::nullopt;
                       }),
              thin);
  canvas.path(steps_of(curve, plot,
                       [](const SurvivalStep& s) -> Value {
                         return s.log_log ? Value(s.log_log->high) : std::nullopt;
                       }),
              thin);
  canvas.path(line, group_ink(group, 2.0));
  Ink tick = group_ink(group, 1.2);
  tick.dash.clear();
  for (const SurvivalStep& step : curve.steps) {
    if (step.censored == 0) continue;
    const At at{plot.x.at(step.time), plot.y.at(100.0 * step.survival)};
    canvas.line({at.x, at.y - 4}, {at.x, at.y + 4}, tick);
  }
}

void draw_at_risk(SvgCanvas& canvas, const Plot& plot, const CriterionSurvival& survival,
                  const std::vector<std::pair<double, std::string>>& ticks) {
  double y = kBottom + 62;
  canvas.text({8, y}, "hips at risk", {12, Anchor::kStart, "#000", "bold"});
  for (std::size_t g = 0; g < survival.groups.size(); ++g) {
    y += kRow;
    canvas.line({8, y - 4}, {34, y - 4}, group_ink(g, 2.0));
    canvas.text({40, y}, group_label(survival.groups[g]), {12});
    for (const auto& [years, words] : ticks) {
      canvas.text({plot.x.at(years), y}, std::to_string(at_risk(survival.hips[g], years)),
                  {12, Anchor::kMiddle});
    }
  }
}

std::string visit_text(int day) {
  const auto visit = visit_of(day);
  return visit ? visits()[*visit].name : "day " + std::to_string(day);
}

/// When hips were first judged: until then the curve is 1 whatever the stems did.
std::string first_text(const CriterionSurvival& survival) {
  std::string out;
  std::set<std::optional<int>> days;
  for (std::size_t g = 0; g < survival.groups.size(); ++g) {
    const auto& day = survival.first_judged[g];
    if (!day) continue;
    days.insert(day);
    out += (out.empty() ? "" : "; ") + group_label(survival.groups[g]) + " " + visit_text(*day);
  }
  if (days.empty()) return "";
  if (days.size() == 1) out = visit_text(**days.begin());
  return "First judged at: " + out + "; before that nobody looked. ";
}

std::string caption_of(const CohortStudy& study, const CriterionSurvival& survival) {
  std::string out =
      "Kaplan-Meier by visits; a hip counts from the visit that first showed it beyond. " +
      first_text(survival) +
      "Dotted: 95 % interval (log-log, Greenwood). Ticks: hips not followed any longer. ";
  if (survival.log_rank) {
    const double p = survival.log_rank->p;
    out += "Log-rank test: chi-square " + fixed_text(survival.log_rank->chi_square, 2) + ", " +
           std::to_string(survival.log_rank->degrees_of_freedom) + " df, p " +
           (p < 0.001 ? "< 0.001" : "= " + fixed_text(p, 3)) + ". ";
  } else if (survival.groups.size() > 1) {
    out += "No log-rank test: " + survival.log_rank.error().wrong + ". ";
  }
  std::size_t left_out = 0;
  for (const std::size_t n : survival.left_out) left_out += n;
  if (left_out > 0) {
    out += std::to_string(left_out) + (left_out == 1 ? " hip is" : " hips are") +
           " left out: never judged either way. ";
  }
  const auto* worst = find(study, survival.criterion, Counting::kAsBeyond);
  const auto* best = find(study, survival.criterion, Counting::kAsWithin);
  if (worst == nullptr || best == nullptr) return out;
  std::string last;
  for (std::size_t g = 0; g < worst->curves.size() && g < best->curves.size(); ++g) {
    if (worst->curves[g].steps.empty() || best->curves[g].steps.empty()) continue;
    last += (last.empty() ? "" : "; ") +
            (worst->groups[g].empty() ? std::string() : worst->groups[g] + " ") +
            share_text(best->curves[g].steps.back().survival) + " / " +
            share_text(worst->curves[g].steps.back().survival);
  }
  return out + "If every open film counted as within / as beyond, the last value would be " + last +
         ".";
}

}  // namespace

std::optional<Figure> survival_figure(const CohortStudy& study, const std::string& criterion) {
  const CriterionSurvival* survival = find(study, criterion, Counting::kJudged);
  if (survival == nullptr) return std::nullopt;
  const double last = last_year(*survival);
  const double height = kBottom + 78 + kRow * static_cast<double>(survival->groups.size());
  SvgCanvas canvas(kWidth, height);
  const Plot plot{{0, last * 1.02, kLeft, kRight}, {0, 100, kBottom, kTop}};
  std::vector<std::pair<double, std::string>> ticks;
  for (const double years : round_ticks(0, last, 8)) ticks.emplace_back(years, tick_text(years));
  draw_axes(canvas, plot, ticks, "years from " + origin_of_time(study.cohort),
            "not seen beyond, % of hips");
  for (std::size_t g = 0; g < survival->groups.size(); ++g) {
    draw_curve(canvas, plot, survival->curves[g], g);
  }
  draw_at_risk(canvas, plot, *survival, ticks);
  std::string limit;
  for (const CohortCriterion& c : criteria_of(study.cohort)) {
    if (c.id == criterion) limit = tick_text(c.threshold) + " " + c.unit;
  }
  const std::string title = "Time to first beyond " + criterion + " (" + limit + ")";
  return Figure{"survival-" + criterion, title, caption_of(study, *survival), canvas.svg(title)};
}

}  // namespace tidemark::registry
