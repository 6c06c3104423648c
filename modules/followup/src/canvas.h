#pragma once

#include <cairo.h>

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/core/raster.h"

namespace tidemark::followup {

/// Colour with straight alpha, each part 0 to 1.
struct Colour {
  double r = 0.0;
  double g = 0.0;
  double b = 0.0;
  double a = 1.0;
};

// Told apart by people with any common colour vision: Okabe and Ito, "Color universal design"
// (2008), from memory. Lighter than in print, because films are dark.
inline constexpr Colour kBlue{0.34, 0.71, 0.91};
inline constexpr Colour kOrange{0.95, 0.60, 0.10};
inline constexpr Colour kYellow{0.94, 0.89, 0.26};
inline constexpr Colour kWhite{1.0, 1.0, 1.0};
inline constexpr Colour kGrey{0.72, 0.72, 0.72};
inline constexpr Colour kDark{0.09, 0.09, 0.10};

/// How a line is drawn; lengths in canvas px.
struct Stroke {
  Colour colour;
  double width = 1.5;
  double dash = 0.0;  ///< 0 = unbroken
};

enum class Anchor { kLeft, kCentre, kRight };
enum class Weight { kNormal, kBold };

/// How text is drawn; size in canvas px.
struct TextStyle {
  double size = 16.0;
  Colour colour = kWhite;
  Weight weight = Weight::kNormal;
  Anchor anchor = Anchor::kLeft;
};

/// A rectangle of the canvas, px.
struct Box {
  double x = 0.0;
  double y = 0.0;
  double width = 0.0;
  double height = 0.0;
};

/// A picture in the making. Coordinates in px, x right, y down.
class Canvas {
 public:
  Canvas(int width, int height, Colour background);

  void fill(const Box& box, Colour colour);
  void frame(const Box& box, const Stroke& stroke);
  /// Everything until unclip() stays inside of the box.
  void clip(const Box& box);
  void unclip();
  /// rgb: one 0xRRGGBB per pixel.
  void image(const RasterOf<std::uint32_t>& rgb, const Vec2& top_left);
  /// Lines get a thin dark edge so that they show on bone and on metal.
  void line(const Polyline& points, const Stroke& stroke);
  /// Fills the area inside of the points.
  void area(const Polyline& points, Colour colour);
  void circle(const Circle2& circle, const Stroke& stroke);
  void dot(const Vec2& centre, double radius, Colour colour);
  void cross(const Vec2& centre, double arm, const Stroke& stroke);
  void arrow(const Vec2& from, const Vec2& to, const Stroke& stroke);
  /// `at` is on the base line. Text gets a dark edge; what is not printable shows as "?".
  void text(const Vec2& at, const std::string& text, const TextStyle& style);
  [[nodiscard]] double text_width(const std::string& text, const TextStyle& style);

  /// The picture as PNG; nothing when the library refuses (no memory).
  [[nodiscard]] std::optional<std::vector<unsigned char>> png();

 private:
  struct Free {
    void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
    void operator()(cairo_t* context) const { cairo_destroy(context); }
  };
  void colour(Colour colour);
  void stroke_twice(const Stroke& stroke);
  void font(const TextStyle& style);

  std::unique_ptr<cairo_surface_t, Free> surface_;
  std::unique_ptr<cairo_t, Free> context_;
};

}  // namespace tidemark::followup
