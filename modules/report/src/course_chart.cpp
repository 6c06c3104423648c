#include "course_chart.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <utility>
#include <vector>

#include "tidemark/core/number_text.h"

namespace tidemark::report {
namespace {

constexpr double kWidth = 430.0;
constexpr double kHeight = 300.0;
constexpr Window kPlot{46.0, 46.0, 370.0, 202.0};
constexpr double kFont = 12.5;
constexpr double kCap = 4.0;  ///< half the width of a bar's end

/// From days and values to the drawing.
struct Axes {
  double first_day, last_day;
  double low, high;  ///< values
  PositiveIs positive;

  [[nodiscard]] double x(double days) const {
    return kPlot.x + kPlot.width * (days - first_day) / (last_day - first_day);
  }
  [[nodiscard]] double y(double value) const {
    const double share = (value - low) / (high - low);
    return kPlot.y + kPlot.height * (positive == PositiveIs::kDown ? share : 1.0 - share);
  }
};

/// The time that is drawn.
struct Span {
  double first, last;  ///< days since the reference film
};

Span span_of(const Course& course) {
  double first = 0.0;  // the reference film; others may be older
  double last = 28.0;
  for (const CoursePoint& point : course.points) {
    first = std::min(first, point.days);
    last = std::max(last, point.days);
  }
  return {first - 0.03 * (last - first), last + 0.05 * (last - first)};
}

Axes axes_of(const Course& course) {
  double low = -course.least_reach;
  double high = course.least_reach;
  for (const CoursePoint& point : course.points) {
    low = std::min(low, point.value - point.u95);
    high = std::max(high, point.value + point.u95);
  }
  for (const CourseLimit& limit : limits_drawn(course)) {
    low = std::min(low, limit.value);
    high = std::max(high, limit.value);
  }
  const double margin = 0.06 * (high - low);
  const Span span = span_of(course);
  return {span.first, span.last, low - margin, high + margin, course.positive};
}

void line(Drawing& out, const Vec2& from, const Vec2& to, const Stroke& stroke) {
  out.marks.emplace_back(LineMark{{from, to}, stroke});
}

std::string tick_text(const Texts& say, double value, double step) {
  const int decimals = step < 0.1 ? 2 : step < 1.0 ? 1 : 0;
  return say.localised(std::abs(value) < 1e-9 ? "0" : signed_text(value, decimals));
}

void draw_values(Drawing& out, const Axes& axes, const Texts& say) {
  const double step = tick_step(axes.low, axes.high, 6);
  for (double k = std::ceil(axes.low / step); k * step <= axes.high; k += 1.0) {
    const double value = k * step;
    const double y = axes.y(value);
    const bool zero = k == 0.0;
    line(out, {kPlot.x, y}, {kPlot.x + kPlot.width, y},
         {zero ? Ink::kText : Ink::kGrid, zero ? 1.2 : 1.0});
    out.marks.emplace_back(TextMark{
        {kPlot.x - 6.0, y + 4.0}, tick_text(say, value, step), kFont, Anchor::kEnd, Ink::kMuted});
  }
}

/// A unit of time for the axis.
struct TimeUnit {
  const char* key;
  double days;
};

void draw_times(Drawing& out, const Axes& axes, const Texts& say) {
  constexpr std::array kUnits{TimeUnit{"time.weeks", 7.0}, TimeUnit{"time.months", 30.4375},
                              TimeUnit{"time.years", 365.25}};
  constexpr double kMonths = 100.0;  // from here on months, house choices
  constexpr double kYears = 1000.0;
  const TimeUnit unit = kUnits.at(axes.last_day > kYears ? 2 : axes.last_day > kMonths ? 1 : 0);
  const double bottom = kPlot.y + kPlot.height;
  // Steps at which visits are counted.
  constexpr std::array kSteps{1.0, 2.0, 3.0, 6.0, 12.0, 24.0};
  const bool older = axes.first_day < -0.1 * axes.last_day;  // than the reference film
  const double span = axes.last_day - (older ? axes.first_day : 0.0);
  const double least = span / unit.days / 7.0;
  const auto* const found =
      std::find_if(kSteps.begin(), kSteps.end(), [&](double one) { return one >= least; });
  const double step = found == kSteps.end() ? std::ceil(least) : *found;
  const double begin = older ? std::ceil(axes.first_day / unit.days / step) : 0.0;
  for (double t = begin * step; t * unit.days <= axes.last_day; t += step) {
    const double x = axes.x(t * unit.days);
    line(out, {x, bottom}, {x, bottom + 4.0}, {Ink::kMuted, 1.0});
    out.marks.emplace_back(TextMark{
        {x, bottom + 18.0}, std::to_string(std::lround(t)), kFont, Anchor::kMiddle, Ink::kMuted});
  }
  out.marks.emplace_back(TextMark{
      {kPlot.x + kPlot.width, bottom + 36.0}, say(unit.key), kFont, Anchor::kEnd, Ink::kMuted});
}

void draw_window(Drawing& out, const Axes& axes, const CourseWindow& window) {
  const double left = axes.x(std::max(window.from_days, axes.first_day));
  const double right = axes.x(std::min(window.to_days, axes.last_day));
  if (right <= left) return;
  const double bottom = kPlot.y + kPlot.height;
  out.marks.emplace_back(
      AreaMark{{{left, kPlot.y}, {right, kPlot.y}, {right, bottom}, {left, bottom}}, Ink::kBand});
  if (window.to_days < axes.last_day) {
    line(out, {right, kPlot.y}, {right, bottom}, {Ink::kMuted, 1.0, {2.0, 3.0}});
  }
}

/// Whether a name at this place lies on a film's point or bar.
bool on_a_point(const Axes& axes, const Course& course, double left, double right, double base) {
  constexpr double kClear = 8.0;
  return std::any_of(course.points.begin(), course.points.end(), [&](const CoursePoint& point) {
    const double x = axes.x(point.days);
    const auto [top, bottom] =
        std::minmax({axes.y(point.value - point.u95), axes.y(point.value + point.u95)});
    return x > left - kClear && x < right + kClear && base > top - kClear &&
           base - kFont < bottom + kClear;
  });
}

/// Where the name of a limit stands: at the beginning or the end of its line, or right of a point
/// that lies on both.
double begin_of_name(const Axes& axes, const Course& course, const CourseLimit& limit,
                     double base) {
  const double from = axes.x(std::max(limit.from_days.value_or(axes.first_day), axes.first_day));
  const double to = axes.x(std::min(limit.to_days.value_or(axes.last_day), axes.last_day));
  const double width = 0.6 * (kFont - 1.0) * static_cast<double>(limit.label.size());
  const bool at_end = from > kPlot.x + 0.6 * kPlot.width || !limit.from_days;
  std::vector<double> places{to - width, from};
  if (!at_end) std::swap(places[0], places[1]);
  const double preferred = places.front();
  for (const CoursePoint& point : course.points) places.push_back(axes.x(point.days) + 12.0);
  for (const CoursePoint& point : course.points) {
    places.push_back(axes.x(point.days) - 12.0 - width);
  }
  for (const double place : places) {
    const bool inside = place >= kPlot.x && place + width <= kPlot.x + kPlot.width + 4.0;
    if (inside && !on_a_point(axes, course, place, place + width, base)) return place;
  }
  return preferred;
}

/// Limits where they hold, each with its name beside it, none on top of another.
void draw_limits(Drawing& out, const Axes& axes, const Course& course) {
  constexpr double kLine = 12.0;      // from one name to the next
  double free_below = kPlot.y + 2.0;  // clear of what stands above the plot
  std::vector<CourseLimit> limits = limits_drawn(course);
  std::sort(limits.begin(), limits.end(), [&](const CourseLimit& a, const CourseLimit& b) {
    return axes.y(a.value) < axes.y(b.value);
  });
  for (const CourseLimit& limit : limits) {
    const double from = std::max(limit.from_days.value_or(axes.first_day), axes.first_day);
    const double to = std::min(limit.to_days.value_or(axes.last_day), axes.last_day);
    const double y = axes.y(limit.value);
    line(out, {axes.x(from), y}, {axes.x(to), y}, {Ink::kAlert, 1.6, {7.0, 4.0}});
    if (limit.label.empty()) continue;
    const double base = std::max(y - 4.0, free_below);
    out.marks.emplace_back(TextMark{{begin_of_name(axes, course, limit, base), base},
                                    limit.label,
                                    kFont - 1.0,
                                    Anchor::kStart,
                                    Ink::kAlert});
    free_below = base + kLine;
  }
}

/// The fitted curve between the dotted ends of its interval, within the films.
void draw_fit(Drawing& out, const Axes& axes, const Course& course) {
  Polyline median;
  Polyline low;
  Polyline high;
  for (const CourseFit& fit : course.fitted) {
    if (fit.days < 0.0 || fit.days > axes.last_day) continue;
    const double x = axes.x(fit.days);
    const auto place = [&](double value) {
      return Vec2(x, axes.y(std::clamp(value, axes.low, axes.high)));
    };
    median.push_back(place(fit.median));
    low.push_back(place(fit.low));
    high.push_back(place(fit.high));
  }
  if (median.size() < 2) return;
  out.marks.emplace_back(LineMark{low, {Ink::kMuted, 1.0, {1.5, 3.0}}});
  out.marks.emplace_back(LineMark{high, {Ink::kMuted, 1.0, {1.5, 3.0}}});
  out.marks.emplace_back(LineMark{median, {Ink::kMuted, 1.4}});
}

void draw_points(Drawing& out, const Axes& axes, const Course& course) {
  const Vec2 reference(axes.x(0.0), axes.y(0.0));
  Polyline way{reference};
  for (const CoursePoint& point : course.points) {
    way.emplace_back(axes.x(point.days), axes.y(point.value));
  }
  std::stable_sort(way.begin(), way.end(),
                   [](const Vec2& a, const Vec2& b) { return a.x() < b.x(); });
  if (course.fitted.empty()) out.marks.emplace_back(LineMark{way, {Ink::kMuted, 1.0}});
  for (const CoursePoint& point : course.points) {
    const double x = axes.x(point.days);
    const double from = axes.y(point.value - point.u95);
    const double to = axes.y(point.value + point.u95);
    line(out, {x, from}, {x, to}, {Ink::kMeasure, 2.0});
    for (const double end : {from, to}) {
      line(out, {x - kCap, end}, {x + kCap, end}, {Ink::kMeasure, 2.0});
    }
    out.marks.emplace_back(PointMark{{x, axes.y(point.value)}, Shape::kDisc, 5.0, Ink::kMeasure});
  }
  out.marks.emplace_back(PointMark{reference, Shape::kRing, 5.0, Ink::kMeasure});
}

void draw_labels(Drawing& out, const Course& course) {
  out.marks.emplace_back(TextMark{{0.0, 16.0},
                                  course.title + ", " + course.unit,
                                  15.0,
                                  Anchor::kStart,
                                  Ink::kText,
                                  Weight::kBold});
  out.marks.emplace_back(
      TextMark{{kPlot.x, kPlot.y - 8.0}, course.above, kFont - 0.5, Anchor::kStart, Ink::kMuted});
  out.marks.emplace_back(TextMark{{kPlot.x, kPlot.y + kPlot.height + 36.0},
                                  course.below,
                                  kFont - 0.5,
                                  Anchor::kStart,
                                  Ink::kMuted});
  if (course.window) {
    out.marks.emplace_back(TextMark{{kPlot.x + kPlot.width, kPlot.y - 8.0},
                                    course.window->label,
                                    kFont - 0.5,
                                    Anchor::kEnd,
                                    Ink::kMuted});
  }
}

}  // namespace

double tick_step(double low, double high, int most) {
  const double least = (high - low) / most;
  const double power = std::pow(10.0, std::floor(std::log10(least)));
  for (const double step : {1.0, 2.0, 5.0}) {
    if (step * power >= least) return step * power;
  }
  return 10.0 * power;
}

std::vector<CourseLimit> limits_drawn(const Course& course) {
  const Span span = span_of(course);
  std::vector<CourseLimit> out;
  std::copy_if(course.limits.begin(), course.limits.end(), std::back_inserter(out),
               [&](const CourseLimit& limit) {
                 return std::min(limit.to_days.value_or(span.last), span.last) >
                        std::max(limit.from_days.value_or(span.first), span.first);
               });
  return out;
}

Drawing drawn(const Course& course, const Texts& say) {
  Drawing out{kWidth, kHeight, {}};
  const Axes axes = axes_of(course);
  if (course.window) draw_window(out, axes, *course.window);
  draw_values(out, axes, say);
  draw_times(out, axes, say);
  draw_limits(out, axes, course);
  draw_fit(out, axes, course);
  draw_points(out, axes, course);
  draw_labels(out, course);
  return out;
}

}  // namespace tidemark::report
