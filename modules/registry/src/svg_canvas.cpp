#include "svg_canvas.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "tidemark/core/number_text.h"

namespace tidemark::registry {
namespace {

std::string style_of(const Ink& ink) {
  std::string out = " fill=\"" + ink.fill + "\" stroke=\"" + ink.stroke + "\"";
  if (ink.stroke != "none") out += " stroke-width=\"" + svg_decimal(ink.width) + "\"";
  if (!ink.dash.empty()) out += " stroke-dasharray=\"" + ink.dash + "\"";
  return out;
}

std::string points_of(const std::vector<At>& points) {
  std::string out;
  for (const At& p : points) {
    out += (out.empty() ? "" : " ") + svg_decimal(p.x) + "," + svg_decimal(p.y);
  }
  return out;
}

std::string place_of(At at) {
  return " x=\"" + svg_decimal(at.x) + "\" y=\"" + svg_decimal(at.y) + "\"";
}

const char* word_of(Anchor anchor) {
  if (anchor == Anchor::kMiddle) return "middle";
  return anchor == Anchor::kEnd ? "end" : "start";
}

}  // namespace

std::string svg_decimal(double value) {
  const double rounded = std::round(value * 100.0) / 100.0;
  std::array<char, 32> digits{};
  const auto end = std::to_chars(digits.begin(), digits.end(), rounded == 0.0 ? 0.0 : rounded,
                                 std::chars_format::fixed);
  return {digits.data(), end.ptr};
}

std::string escaped_markup(const std::string& text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      default:
        out += c;
    }
  }
  return out;
}

void SvgCanvas::line(At from, At to, const Ink& ink) { path({from, to}, ink); }

void SvgCanvas::path(const std::vector<At>& points, const Ink& ink) {
  marks_ += "<polyline points=\"" + points_of(points) + "\"" + style_of(ink) + "/>\n";
}

void SvgCanvas::area(const std::vector<At>& points, const std::string& fill) {
  marks_ +=
      "<polygon points=\"" + points_of(points) + "\" fill=\"" + fill + "\" stroke=\"none\"/>\n";
}

void SvgCanvas::box(At corner, double width, double height, const Ink& ink) {
  marks_ += "<rect" + place_of(corner) + " width=\"" + svg_decimal(std::max(0.0, width)) +
            "\" height=\"" + svg_decimal(std::max(0.0, height)) + "\"" + style_of(ink) + "/>\n";
}

void SvgCanvas::dot(At centre, double radius, const Ink& ink) {
  marks_ += "<circle cx=\"" + svg_decimal(centre.x) + "\" cy=\"" + svg_decimal(centre.y) +
            "\" r=\"" + svg_decimal(radius) + "\"" + style_of(ink) + "/>\n";
}

void SvgCanvas::text(At at, const std::string& words, const Writing& writing) {
  marks_ += "<text" + place_of(at) + " font-size=\"" + svg_decimal(writing.size) +
            "\" text-anchor=\"" + word_of(writing.anchor) + "\" fill=\"" + writing.fill +
            "\" font-weight=\"" + writing.weight + "\">" + escaped_markup(words) + "</text>\n";
}

void SvgCanvas::upward_text(At at, const std::string& words, double size) {
  marks_ += "<text transform=\"translate(" + svg_decimal(at.x) + " " + svg_decimal(at.y) +
            ") rotate(-90)\" font-size=\"" + svg_decimal(size) + "\" text-anchor=\"middle\">" +
            escaped_markup(words) + "</text>\n";
}

std::string SvgCanvas::svg(const std::string& title) const {
  const std::string size = svg_decimal(width_) + " " + svg_decimal(height_);
  return "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 " + size + "\" width=\"" +
         svg_decimal(width_) + "\" height=\"" + svg_decimal(height_) +
         "\" role=\"img\" font-family=\"DejaVu Sans, Arial, sans-serif\">\n<title>" +
         escaped_markup(title) +
         "</title>\n<defs><pattern id=\"hatch\" width=\"6\" height=\"6\" "
         "patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"6\" "
         "height=\"6\" fill=\"#fff\"/><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\" stroke=\"#000\" "
         "stroke-width=\"1.6\"/></pattern></defs>\n<rect width=\"" +
         svg_decimal(width_) + "\" height=\"" + svg_decimal(height_) + "\" fill=\"#fff\"/>\n" +
         marks_ + "</svg>\n";
}

std::vector<double> round_ticks(double low, double high, int count) {
  const double raw = (high - low) / count;
  if (!(raw > 0.0)) return {low};
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  double step = 10.0 * power;
  for (const double factor : {1.0, 2.0, 5.0}) {
    if (factor * power >= raw * 0.999) {
      step = factor * power;
      break;
    }
  }
  std::vector<double> out;
  for (double k = std::ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k += 1.0) {
    out.push_back(k * step);
  }
  return out;
}

std::string tick_text(double value) {
  std::string out = fixed_text(value, 2);
  while (out.ends_with('0')) out.pop_back();
  if (out.ends_with('.')) out.pop_back();
  return out;
}

}  // namespace tidemark::registry
