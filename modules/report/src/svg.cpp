#include "svg.h"

#include <array>
#include <cstdio>
#include <kainjow/mustache.hpp>

#include "tidemark/core/number_text.h"
#include "tidemark/report/palette.h"

namespace tidemark::report {
namespace {

std::string hex(Ink ink) {
  std::array<char, 8> text{};
  (void)std::snprintf(text.data(), text.size(), "#%06X", static_cast<unsigned>(colour_of(ink)));
  return text.data();
}

std::string attribute(const char* name, double value) {
  return std::string(" ") + name + "=\"" + svg_number(value) + "\"";
}

std::string attribute(const char* name, const std::string& value) {
  return std::string(" ") + name + "=\"" + value + "\"";
}

struct SvgOf {
  std::string operator()(const AreaMark& mark) const {
    return "<path" + attribute("d", svg_path(mark.points) + "Z") +
           attribute("fill", hex(mark.ink)) + "/>";
  }
  std::string operator()(const LineMark& mark) const {
    std::string out = "<path" + attribute("d", svg_path(mark.points)) + attribute("fill", "none") +
                      attribute("stroke", hex(mark.stroke.ink)) +
                      attribute("stroke-width", mark.stroke.width);
    std::string dash;
    for (const double length : mark.stroke.dash)
      dash += (dash.empty() ? "" : " ") + svg_number(length);
    if (!dash.empty()) out += attribute("stroke-dasharray", dash);
    return out + "/>";
  }
  std::string operator()(const PointMark& mark) const {
    const double r = mark.radius;
    const Vec2& p = mark.at;
    const std::string fill = attribute("fill", hex(mark.ink));
    const std::string line = attribute("fill", hex(Ink::kPaper)) +
                             attribute("stroke", hex(mark.ink)) + attribute("stroke-width", 2.0);
    const std::string round =
        "<circle" + attribute("cx", p.x()) + attribute("cy", p.y()) + attribute("r", r);
    switch (mark.shape) {
      case Shape::kDisc:
        return round + fill + "/>";
      case Shape::kRing:
        return round + line + "/>";
      case Shape::kSquare:
        return "<rect" + attribute("x", p.x() - r) + attribute("y", p.y() - r) +
               attribute("width", 2.0 * r) + attribute("height", 2.0 * r) + fill + "/>";
      case Shape::kDiamond:
        return "<path" +
               attribute("d", svg_path({p + Vec2(0, -r), p + Vec2(r, 0), p + Vec2(0, r),
                                        p + Vec2(-r, 0)}) +
                                  "Z") +
               fill + "/>";
      case Shape::kCross:
        break;
    }
    return "<path" +
           attribute("d", svg_path({p - Vec2(r, r), p + Vec2(r, r)}) +
                              svg_path({p + Vec2(-r, r), p + Vec2(r, -r)})) +
           line + "/>";
  }
  std::string operator()(const TextMark& mark) const {
    std::string out = "<text" + attribute("x", mark.at.x()) + attribute("y", mark.at.y()) +
                      attribute("font-size", mark.size) + attribute("fill", hex(mark.ink));
    if (mark.anchor != Anchor::kStart) {
      out += attribute("text-anchor", mark.anchor == Anchor::kEnd ? "end" : "middle");
    }
    if (mark.weight == Weight::kBold) out += attribute("font-weight", "700");
    return out + ">" + escaped(mark.text) + "</text>";
  }
};

}  // namespace

std::string svg_marks(const Drawing& drawing) {
  std::string out;
  for (const Mark& mark : drawing.marks) out += std::visit(SvgOf{}, mark) + "\n";
  return out;
}

std::string svg_path(const Polyline& points) {
  std::string out;
  for (const Vec2& p : points) {
    out += (out.empty() ? "M" : "L") + svg_number(p.x()) + " " + svg_number(p.y());
  }
  return out;
}

std::string svg_number(double value) {
  std::string out = fixed_text(value, 2);
  out.erase(out.find_last_not_of('0') + 1);
  if (out.back() == '.') out.pop_back();
  return out;
}

std::string escaped(const std::string& text) { return kainjow::mustache::html_escape(text); }

}  // namespace tidemark::report
