#pragma once

#include <string>
#include <utility>
#include <vector>

namespace tidemark::registry {

/// A point of a figure in its own units (px at 96 per inch), y down.
struct At {
  double x;
  double y;
};

enum class Anchor { kStart, kMiddle, kEnd };

/// How a mark looks. Figures use black, white and grey only, so that a greyscale print loses
/// nothing.
struct Ink {
  std::string stroke = "#000";  ///< "none" for no line
  double width = 1.0;
  std::string fill = "none";
  std::string dash;  ///< "6 3"; empty: solid
};

struct Writing {
  double size = 12.0;
  Anchor anchor = Anchor::kStart;
  std::string fill = "#000";
  std::string weight = "normal";
};

/// Collects marks and gives SVG 1.1.
class SvgCanvas {
 public:
  SvgCanvas(double width, double height) : width_(width), height_(height) {}

  void line(At from, At to, const Ink& ink);
  void path(const std::vector<At>& points, const Ink& ink);
  void area(const std::vector<At>& points, const std::string& fill);
  void box(At corner, double width, double height, const Ink& ink);
  void dot(At centre, double radius, const Ink& ink);
  void text(At at, const std::string& words, const Writing& writing = {});
  /// Text that reads upwards, centred on the point.
  void upward_text(At at, const std::string& words, double size = 12.0);

  /// @param title for screen readers
  [[nodiscard]] std::string svg(const std::string& title) const;
  [[nodiscard]] double width() const { return width_; }
  [[nodiscard]] double height() const { return height_; }

 private:
  double width_, height_;
  std::string marks_;
};

/// Text with the characters escaped that mean something in markup.
[[nodiscard]] std::string escaped_markup(const std::string& text);

/// At most two decimals, a point, no exponent.
[[nodiscard]] std::string svg_decimal(double value);

/// A straight axis: values from `low` to `high` lie between two places of the figure.
struct Scale {
  double low = 0.0, high = 1.0;
  double from = 0.0, to = 1.0;
  [[nodiscard]] double at(double value) const {
    return from + (value - low) / (high - low) * (to - from);
  }
};

/// Round values at which to label an axis, about `count` of them: steps of 1, 2 or 5 times a power
/// of ten.
[[nodiscard]] std::vector<double> round_ticks(double low, double high, int count);

/// The shortest text of a tick.
[[nodiscard]] std::string tick_text(double value);

}  // namespace tidemark::registry
