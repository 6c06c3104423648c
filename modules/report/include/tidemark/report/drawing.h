#pragma once

#include <string>
#include <variant>
#include <vector>

#include "tidemark/core/geometry.h"

namespace tidemark::report {

// A drawing as a list of few kinds of marks, so that the page and the PDF show the same one.
// Lengths are units of the drawing, x right, y down, the upper left corner is (0, 0); one unit is
// meant to be shown as one CSS px (1/96 inch).

/// What a mark stands for; the writers give each its colour (palette.h).
enum class Ink {
  kText,
  kMuted,
  kGrid,
  kPaper,
  kBand,
  kMeasure,
  kAlert,
  kFilmEdge,  ///< on films: the dark edge of a light line
  kFilmStem,
  kFilmBone
};

/// How a line is drawn. `dash` is empty for an unbroken line, else lengths on and off.
struct Stroke {
  Ink ink = Ink::kText;
  double width = 1.0;
  std::vector<double> dash = {};
};

struct LineMark {
  Polyline points;
  Stroke stroke;
};

/// A filled polygon.
struct AreaMark {
  Polyline points;
  Ink ink = Ink::kBand;
};

/// Shapes differ so that they can be told apart without colour.
enum class Shape { kDisc, kRing, kSquare, kDiamond, kCross };
struct PointMark {
  Vec2 at = Vec2::Zero();
  Shape shape = Shape::kDisc;
  double radius = 4.0;
  Ink ink = Ink::kMeasure;
};

enum class Anchor { kStart, kMiddle, kEnd };
enum class Weight { kNormal, kBold };
/// Text on a base line. `size` is that of the font.
struct TextMark {
  Vec2 at = Vec2::Zero();
  std::string text;
  double size = 12.0;
  Anchor anchor = Anchor::kStart;
  Ink ink = Ink::kText;
  Weight weight = Weight::kNormal;
};

using Mark = std::variant<AreaMark, LineMark, PointMark, TextMark>;

/// Marks in the order in which they are drawn.
struct Drawing {
  double width = 0.0;
  double height = 0.0;
  std::vector<Mark> marks;
};

}  // namespace tidemark::report
