#include "canvas.h"

#include <cmath>
#include <cstring>
#include <numbers>

#include "png_of.h"
#include "tidemark/core/text.h"

namespace tidemark::followup {
namespace {

constexpr Colour kEdge{0.0, 0.0, 0.0, 0.65};

}  // namespace

Canvas::Canvas(int width, int height, Colour background)
    : surface_(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height)),
      context_(cairo_create(surface_.get())) {
  colour(background);
  cairo_paint(context_.get());
  cairo_set_line_join(context_.get(), CAIRO_LINE_JOIN_ROUND);
  cairo_set_line_cap(context_.get(), CAIRO_LINE_CAP_ROUND);
}

void Canvas::colour(Colour c) { cairo_set_source_rgba(context_.get(), c.r, c.g, c.b, c.a); }

void Canvas::fill(const Box& box, Colour c) {
  colour(c);
  cairo_rectangle(context_.get(), box.x, box.y, box.width, box.height);
  cairo_fill(context_.get());
}

void Canvas::frame(const Box& box, const Stroke& stroke) {
  colour(stroke.colour);
  cairo_set_line_width(context_.get(), stroke.width);
  cairo_rectangle(context_.get(), box.x, box.y, box.width, box.height);
  cairo_stroke(context_.get());
}

void Canvas::clip(const Box& box) {
  cairo_save(context_.get());
  cairo_rectangle(context_.get(), box.x, box.y, box.width, box.height);
  cairo_clip(context_.get());
}

void Canvas::unclip() { cairo_restore(context_.get()); }

void Canvas::image(const RasterOf<std::uint32_t>& rgb, const Vec2& top_left) {
  const std::unique_ptr<cairo_surface_t, Free> picture(
      cairo_image_surface_create(CAIRO_FORMAT_RGB24, rgb.width, rgb.height));
  unsigned char* data = cairo_image_surface_get_data(picture.get());
  if (data == nullptr) return;
  const auto stride = static_cast<std::size_t>(cairo_image_surface_get_stride(picture.get()));
  const auto row_bytes = static_cast<std::size_t>(rgb.width) * sizeof(std::uint32_t);
  cairo_surface_flush(picture.get());
  for (int y = 0; y < rgb.height; ++y) {
    std::memcpy(data + static_cast<std::size_t>(y) * stride, &rgb.at(0, y), row_bytes);
  }
  cairo_surface_mark_dirty(picture.get());
  cairo_set_source_surface(context_.get(), picture.get(), top_left.x(), top_left.y());
  cairo_rectangle(context_.get(), top_left.x(), top_left.y(), rgb.width, rgb.height);
  cairo_fill(context_.get());
}

void Canvas::stroke_twice(const Stroke& stroke) {
  cairo_t* context = context_.get();
  if (stroke.dash > 0.0) cairo_set_dash(context, &stroke.dash, 1, 0.0);
  colour({kEdge.r, kEdge.g, kEdge.b, kEdge.a * stroke.colour.a});
  cairo_set_line_width(context, stroke.width + 2.0);
  cairo_stroke_preserve(context);
  colour(stroke.colour);
  cairo_set_line_width(context, stroke.width);
  cairo_stroke(context);
  cairo_set_dash(context, nullptr, 0, 0.0);
}

void Canvas::line(const Polyline& points, const Stroke& stroke) {
  if (points.size() < 2) return;
  cairo_move_to(context_.get(), points.front().x(), points.front().y());
  for (const Vec2& p : points) cairo_line_to(context_.get(), p.x(), p.y());
  stroke_twice(stroke);
}

void Canvas::area(const Polyline& points, Colour c) {
  if (points.size() < 3) return;
  colour(c);
  cairo_move_to(context_.get(), points.front().x(), points.front().y());
  for (const Vec2& p : points) cairo_line_to(context_.get(), p.x(), p.y());
  cairo_close_path(context_.get());
  cairo_fill(context_.get());
}

void Canvas::circle(const Circle2& circle, const Stroke& stroke) {
  cairo_new_sub_path(context_.get());
  cairo_arc(context_.get(), circle.centre.x(), circle.centre.y(), circle.radius, 0.0,
            2.0 * std::numbers::pi);
  stroke_twice(stroke);
}

void Canvas::dot(const Vec2& centre, double radius, Colour c) {
  colour(c);
  cairo_arc(context_.get(), centre.x(), centre.y(), radius, 0.0, 2.0 * std::numbers::pi);
  cairo_fill(context_.get());
}

void Canvas::cross(const Vec2& centre, double arm, const Stroke& stroke) {
  line({centre - Vec2(arm, 0.0), centre + Vec2(arm, 0.0)}, stroke);
  line({centre - Vec2(0.0, arm), centre + Vec2(0.0, arm)}, stroke);
}

void Canvas::arrow(const Vec2& from, const Vec2& to, const Stroke& stroke) {
  const double length = (to - from).norm();
  if (length < 1.0) return;
  const Vec2 along = (to - from) / length;
  const Vec2 across(-along.y(), along.x());
  const double head = std::min(12.0, 0.5 * length);
  line({from, to}, stroke);
  line({to - head * along + 0.5 * head * across, to, to - head * along - 0.5 * head * across},
       stroke);
}

void Canvas::font(const TextStyle& style) {
  cairo_select_font_face(
      context_.get(), "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
      style.weight == Weight::kBold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(context_.get(), style.size);
}

double Canvas::text_width(const std::string& text, const TextStyle& style) {
  font(style);
  cairo_text_extents_t extents{};
  cairo_text_extents(context_.get(), printable(text).c_str(), &extents);
  return extents.x_advance;
}

void Canvas::text(const Vec2& at, const std::string& text, const TextStyle& style) {
  const double width = text_width(text, style);
  const double shift = style.anchor == Anchor::kLeft     ? 0.0
                       : style.anchor == Anchor::kCentre ? 0.5 * width
                                                         : width;
  cairo_move_to(context_.get(), at.x() - shift, at.y());
  cairo_text_path(context_.get(), printable(text).c_str());
  colour(kEdge);
  cairo_set_line_width(context_.get(), 0.2 * style.size);
  cairo_stroke_preserve(context_.get());
  colour(style.colour);
  cairo_fill(context_.get());
}

std::optional<std::vector<unsigned char>> Canvas::png() {
  if (cairo_status(context_.get()) != CAIRO_STATUS_SUCCESS) return {};
  cairo_surface_flush(surface_.get());
  const unsigned char* data = cairo_image_surface_get_data(surface_.get());
  if (data == nullptr) return {};
  RasterOf<std::uint32_t> rgb(cairo_image_surface_get_width(surface_.get()),
                              cairo_image_surface_get_height(surface_.get()));
  const auto stride = static_cast<std::size_t>(cairo_image_surface_get_stride(surface_.get()));
  const auto row_bytes = static_cast<std::size_t>(rgb.width) * sizeof(std::uint32_t);
  for (int y = 0; y < rgb.height; ++y) {
    std::memcpy(&rgb.at(0, y), data + static_cast<std::size_t>(y) * stride, row_bytes);
  }
  return png_of(rgb);
}

}  // namespace tidemark::followup
