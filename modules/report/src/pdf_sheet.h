#pragma once

#include <cairo.h>

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "tidemark/report/document.h"

namespace tidemark::report {

// A document laid out on pages, before any of it is drawn: what stands where. Lengths in points
// (1/72 inch), x right, y down from the upper left corner of the page.

inline constexpr double kPageWidth = 595.28;  ///< A4
inline constexpr double kPageHeight = 841.89;
inline constexpr double kMargin = 48.0;
inline constexpr double kTextWidth = kPageWidth - 2.0 * kMargin;
inline constexpr double kLowest = kPageHeight - 64.0;  ///< below it stands the foot of the page

enum class Face { kRegular, kBold, kMono };
struct Font {
  double size = 9.5;
  Face face = Face::kRegular;
  std::uint32_t colour = 0;
};

struct TextOp {
  Vec2 at = Vec2::Zero();  ///< on the base line
  std::string text;
  Font font;
};
struct RuleOp {
  Vec2 from = Vec2::Zero();
  Vec2 to = Vec2::Zero();
  double width = 0.5;
  std::uint32_t colour = 0;
};
struct BoxOp {
  Window box;
  std::uint32_t colour = 0;
};
struct DrawingOp {
  Drawing drawing;
  Vec2 at = Vec2::Zero();
  double scale = 1.0;
};
/// A window of a plate, the outlines of some plates on it, and a bar of so many mm.
struct PlateOp {
  std::size_t plate = 0;
  Window window;
  Window box;
  std::vector<std::size_t> outlines;
  int bar_mm = 0;
  std::string bar_text;
  Drawing marks = {};  ///< on top, in coordinates of the plate
};
/// Begin and end of an element of the document's structure (PDF 1.7, 14.8.4), e.g. "H2".
struct BeginOp {
  std::string element;
};
struct EndOp {
  std::string element;
};
/// An entry of the outline, leading to the page it stands on.
struct BookmarkOp {
  std::string text;
};
using Op = std::variant<TextOp, RuleOp, BoxOp, DrawingOp, PlateOp, BeginOp, EndOp, BookmarkOp>;
using Page = std::vector<Op>;

/// A piece of running text in one font.
struct Run {
  std::string text;
  Font font;
};

/// Selects a font of the house in a drawing context.
void select_font(cairo_t* context, const Font& font);

/// How wide text is, without hinting, as the PDF shows it.
class Metrics {
 public:
  Metrics();
  [[nodiscard]] double width(const std::string& text, const Font& font);

 private:
  struct Free {
    void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
    void operator()(cairo_t* context) const { cairo_destroy(context); }
  };
  std::unique_ptr<cairo_surface_t, Free> surface_;
  std::unique_ptr<cairo_t, Free> context_;
};

/// A line of text: pieces with their distance from its beginning.
struct Line {
  std::vector<TextOp> pieces;  ///< `at` counts from the beginning of the line
  double width = 0.0;
};

/// Breaks runs into lines of at most `width`. A word that is longer than a line is broken.
[[nodiscard]] std::vector<Line> lines_of(const std::vector<Run>& runs, double width,
                                         Metrics& metrics);

/// Pages in the making: what is added goes below what is there, on a new page where it does not
/// fit.
class Sheet {
 public:
  Sheet() : pages_(1) {}

  [[nodiscard]] double y() const { return y_; }
  [[nodiscard]] Metrics& metrics() { return metrics_; }
  void skip(double height) { y_ += height; }
  /// Goes to a new page unless `height` is left on this one.
  void need(double height);
  void add(Op op) { pages_.back().push_back(std::move(op)); }
  /// Lines of text as one element; may go on over pages, each with its own element.
  void text(const std::string& element, const std::vector<Run>& runs, double indent = 0.0);
  [[nodiscard]] std::vector<Page>& pages() { return pages_; }

 private:
  std::vector<Page> pages_;
  Metrics metrics_;
  double y_ = kMargin;
};

/// From one base line to the next.
[[nodiscard]] inline double line_height(const Font& font) { return 1.38 * font.size; }

}  // namespace tidemark::report
