#include "pdf_draw.h"

#include <cairo-pdf.h>

#include <numbers>

#include "tidemark/report/palette.h"
#include "tidemark/report/write.h"

namespace tidemark::report {
namespace {

constexpr double kPi = std::numbers::pi;

struct Free {
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
  void operator()(cairo_t* context) const { cairo_destroy(context); }
};
using Surface = std::unique_ptr<cairo_surface_t, Free>;
using Context = std::unique_ptr<cairo_t, Free>;

void set_colour(cairo_t* context, std::uint32_t rgb) {
  const auto part = [&](unsigned shift) {
    return static_cast<double>(rgb >> shift & 0xFFU) / 255.0;
  };
  cairo_set_source_rgb(context, part(16), part(8), part(0));
}

void lay_path(cairo_t* context, const Polyline& points) {
  cairo_new_path(context);
  for (const Vec2& p : points) cairo_line_to(context, p.x(), p.y());
}

/// The library calls this with each piece of the file.
cairo_status_t append(void* file, const unsigned char* data, unsigned length) {
  static_cast<std::string*>(file)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

/// A film whose JPEG goes into the PDF as it is; the pixels of the surface are never looked at.
Surface film_surface(const Document& document, const Plate& plate) {
  Surface out(cairo_image_surface_create(CAIRO_FORMAT_RGB24, static_cast<int>(document.plate_width),
                                         static_cast<int>(document.plate_height)));
  // The document outlives the drawing, so nothing is copied and nothing to be freed.
  (void)cairo_surface_set_mime_data(out.get(), CAIRO_MIME_TYPE_JPEG, plate.jpeg.data(),
                                    plate.jpeg.size(), nullptr, nullptr);
  return out;
}

/// Draws one page after another.
class Painter {
 public:
  Painter(const Document& document, cairo_surface_t* target)
      : document_(document), target_(target), context_(cairo_create(target)) {
    for (const Plate& plate : document.plates) films_.push_back(film_surface(document, plate));
  }

  void page(const Page& ops) {
    ++page_;
    for (const Op& op : ops) std::visit(*this, op);
    cairo_show_page(context_.get());
  }
  [[nodiscard]] cairo_status_t status() const { return cairo_status(context_.get()); }

  void operator()(const TextOp& op) {
    select_font(context_.get(), op.font);
    set_colour(context_.get(), op.font.colour);
    cairo_move_to(context_.get(), op.at.x(), op.at.y());
    cairo_show_text(context_.get(), op.text.c_str());
  }
  void operator()(const RuleOp& op) {
    lay_path(context_.get(), {op.from, op.to});
    stroke(op.colour, op.width);
  }
  void operator()(const BoxOp& op) {
    cairo_rectangle(context_.get(), op.box.x, op.box.y, op.box.width, op.box.height);
    set_colour(context_.get(), op.colour);
    cairo_fill(context_.get());
  }
  void operator()(const DrawingOp& op) {
    cairo_save(context_.get());
    cairo_translate(context_.get(), op.at.x(), op.at.y());
    cairo_scale(context_.get(), op.scale, op.scale);
    for (const Mark& mark : op.drawing.marks) {
      std::visit([this](const auto& one) { draw(one); }, mark);
    }
    cairo_restore(context_.get());
  }
  void operator()(const PlateOp& op);
  void operator()(const BeginOp& op) {
    cairo_tag_begin(context_.get(), op.element.c_str(), nullptr);
  }
  void operator()(const EndOp& op) { cairo_tag_end(context_.get(), op.element.c_str()); }
  void operator()(const BookmarkOp& op) {
    const std::string target = "page=" + std::to_string(page_);
    (void)cairo_pdf_surface_add_outline(target_, CAIRO_PDF_OUTLINE_ROOT, op.text.c_str(),
                                        target.c_str(), CAIRO_PDF_OUTLINE_FLAG_OPEN);
  }

 private:
  void stroke(std::uint32_t colour, double width, const std::vector<double>& dash = {}) {
    set_colour(context_.get(), colour);
    cairo_set_line_width(context_.get(), width);
    cairo_set_dash(context_.get(), dash.data(), static_cast<int>(dash.size()), 0.0);
    cairo_stroke(context_.get());
    cairo_set_dash(context_.get(), nullptr, 0, 0.0);
  }
  void draw(const AreaMark& mark) {
    lay_path(context_.get(), mark.points);
    set_colour(context_.get(), colour_of(mark.ink));
    cairo_fill(context_.get());
  }
  void draw(const LineMark& mark) {
    lay_path(context_.get(), mark.points);
    stroke(colour_of(mark.stroke.ink), mark.stroke.width, mark.stroke.dash);
  }
  void draw(const PointMark& mark);
  void draw(const TextMark& mark);
  void outline(std::size_t plate, double px);

  const Document& document_;
  cairo_surface_t* target_;
  Context context_;
  std::vector<Surface> films_;
  int page_ = 0;
};

void Painter::draw(const PointMark& mark) {
  cairo_t* context = context_.get();
  const double r = mark.radius;
  const Vec2& p = mark.at;
  const std::uint32_t colour = colour_of(mark.ink);
  cairo_new_path(context);
  switch (mark.shape) {
    case Shape::kDisc:
    case Shape::kRing:
      cairo_arc(context, p.x(), p.y(), r, 0.0, 2.0 * kPi);
      break;
    case Shape::kSquare:
      cairo_rectangle(context, p.x() - r, p.y() - r, 2.0 * r, 2.0 * r);
      break;
    case Shape::kDiamond:
      lay_path(context, {p + Vec2(0, -r), p + Vec2(r, 0), p + Vec2(0, r), p + Vec2(-r, 0)});
      break;
    case Shape::kCross:
      lay_path(context, {p - Vec2(r, r), p + Vec2(r, r)});
      cairo_move_to(context, p.x() - r, p.y() + r);
      cairo_line_to(context, p.x() + r, p.y() - r);
      stroke(colour, 2.0);
      return;
  }
  if (mark.shape == Shape::kRing) {
    set_colour(context, colour_of(Ink::kPaper));
    cairo_fill_preserve(context);
    stroke(colour, 2.0);
    return;
  }
  set_colour(context, colour);
  cairo_fill(context);
}

void Painter::draw(const TextMark& mark) {
  const Font font{mark.size, mark.weight == Weight::kBold ? Face::kBold : Face::kRegular,
                  colour_of(mark.ink)};
  select_font(context_.get(), font);
  cairo_text_extents_t extents{};
  cairo_text_extents(context_.get(), mark.text.c_str(), &extents);
  const double share = mark.anchor == Anchor::kStart ? 0.0
                       : mark.anchor == Anchor::kEnd ? 1.0
                                                     : 0.5;
  (*this)(TextOp{mark.at - Vec2(share * extents.x_advance, 0.0), mark.text, font});
}

/// Stem and head of one plate, `px` plate pixels for one point of line width.
void Painter::outline(std::size_t plate, double px) {
  cairo_t* context = context_.get();
  const Plate& one = document_.plates[plate];
  const bool reference = plate == 0;
  const std::vector<double> dash =
      reference ? std::vector<double>{} : std::vector<double>{4.0 * px, 2.2 * px};
  for (const bool edge : {true, false}) {
    lay_path(context, one.outline);
    cairo_new_sub_path(context);
    cairo_arc(context, one.head.centre.x(), one.head.centre.y(), one.head.radius, 0.0, 2.0 * kPi);
    stroke(edge        ? kOutlineEdge
           : reference ? kReferenceOutline
                       : kFollowUpOutline,
           (edge ? 2.0 : 0.9) * px, edge ? std::vector<double>{} : dash);
  }
}

void Painter::operator()(const PlateOp& op) {
  cairo_t* context = context_.get();
  const double scale = op.box.width / op.window.width;
  cairo_save(context);
  cairo_rectangle(context, op.box.x, op.box.y, op.box.width, op.box.height);
  cairo_clip(context);
  cairo_translate(context, op.box.x - scale * op.window.x, op.box.y - scale * op.window.y);
  cairo_scale(context, scale, scale);
  cairo_set_source_surface(context, films_[op.plate].get(), 0.0, 0.0);
  cairo_paint(context);
  for (const std::size_t plate : op.outlines) outline(plate, 1.0 / scale);
  for (const Mark& mark : op.marks.marks) {
    std::visit([this](const auto& one) { draw(one); }, mark);
  }
  cairo_restore(context);
  if (op.bar_mm == 0) return;
  const Vec2 left(op.box.x + 6.0, op.box.y + op.box.height - 6.0);
  const Vec2 right = left + Vec2(op.bar_mm * document_.px_per_mm * scale, 0.0);
  (*this)(RuleOp{left, right, 3.0, kOutlineEdge});
  (*this)(RuleOp{left, right, 1.4, 0xFFFFFF});
  (*this)(TextOp{left - Vec2(0.0, 4.0), op.bar_text, {7.0, Face::kBold, 0xFFFFFF}});
}

void describe_file(cairo_surface_t* surface, const Document& document) {
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, document.title.c_str());
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, document.tool.c_str());
  // Of the films, not of the day: the same films give the same bytes. Undated films: no date.
  const std::string date = document.date.value_or("") + "T00:00:00Z";
  const char* told = document.date ? date.c_str() : nullptr;
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, told);
  cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_MOD_DATE, told);
}

}  // namespace

Expected<std::string> draw_pages(const Document& document, const std::vector<Page>& pages) {
  std::string file;
  const Surface surface(
      cairo_pdf_surface_create_for_stream(append, &file, kPageWidth, kPageHeight));
  describe_file(surface.get(), document);
  cairo_status_t status = CAIRO_STATUS_SUCCESS;
  {
    Painter painter(document, surface.get());
    for (const Page& page : pages) painter.page(page);
    status = painter.status();
  }
  cairo_surface_finish(surface.get());
  if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(surface.get());
  if (status != CAIRO_STATUS_SUCCESS) {
    return fail(ErrorKind::kNotWritable, file_of(Form::kPdf),
                std::string("cannot be drawn: ") + cairo_status_to_string(status),
                "leave it out with --report html");
  }
  return file;
}

}  // namespace tidemark::report
