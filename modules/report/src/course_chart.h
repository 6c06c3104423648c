#pragma once

#include <optional>
#include <string>
#include <vector>

#include "texts.h"
#include "tidemark/report/document.h"

namespace tidemark::report {

/// One film in a course: when, and how far from the reference film.
struct CoursePoint {
  double days = 0.0;  ///< since the reference film
  double value = 0.0;
  double u95 = 0.0;
};

/// A limit that values are held against. Without days it holds at any time; what lies outside of
/// the drawing is not drawn.
struct CourseLimit {
  double value = 0.0;
  std::string label;  ///< may be empty
  std::optional<double> from_days = {};
  std::optional<double> to_days = {};
};

/// A fitted curve at one time, with the ends of its 95 % interval.
struct CourseFit {
  double days = 0.0;
  double median = 0.0;
  double low = 0.0;
  double high = 0.0;
};

/// A stretch of time, e.g. that in which a press-fit stem may settle.
struct CourseWindow {
  double from_days = 0.0;
  double to_days = 0.0;
  std::string label;
};

/// Which way positive values go on the drawing.
enum class PositiveIs { kUp, kDown };

/// One quantity over time. The reference film, by definition zero, is drawn as a ring.
struct Course {
  std::string title;
  std::string unit;
  std::string above;  ///< what values above the line of zero mean
  std::string below;
  PositiveIs positive = PositiveIs::kUp;
  double least_reach = 1.0;  ///< the axis reaches at least this far to either side
  std::vector<CoursePoint> points;
  std::vector<CourseLimit> limits;
  std::optional<CourseWindow> window;
  std::vector<CourseFit> fitted;
};

/// The limits that hold at some time of the drawing.
[[nodiscard]] std::vector<CourseLimit> limits_drawn(const Course& course);

/// Points with their intervals as bars, limits as dashed lines, the window as a band.
[[nodiscard]] Drawing drawn(const Course& course, const Texts& say);

/// Steps of 1, 2 or 5 times a power of ten that give at most `most` ticks in [low, high].
[[nodiscard]] double tick_step(double low, double high, int most);

}  // namespace tidemark::report
