#include <algorithm>
#include <cmath>

#include "figures.h"
#include "tidemark/core/number_text.h"

namespace tidemark::registry {
namespace {

constexpr double kWidth = 640, kHeight = 340, kLeft = 66, kRight = 530, kTop = 16, kBottom = 284;

/// Mean and difference of two values of one film.
using Pairs = std::vector<At>;

Plot plot_of(const Pairs& pairs, const LimitsOfAgreement& limits) {
  double low_x = pairs[0].x, high_x = pairs[0].x;
  double low = std::min(limits.low_interval.low, 0.0);
  double high = std::max(limits.high_interval.high, 0.0);
  for (const At& p : pairs) {
    low_x = std::min(low_x, p.x);
    high_x = std::max(high_x, p.x);
    low = std::min(low, p.y);
    high = std::max(high, p.y);
  }
  const double x_margin = std::max(0.05, 0.05 * (high_x - low_x));
  const double margin = std::max(0.05, 0.05 * (high - low));
  return {{low_x - x_margin, high_x + x_margin, kLeft, kRight},
          {low - margin, high + margin, kBottom, kTop}};
}

void draw_level(SvgCanvas& canvas, const Plot& plot, double value, const Interval& interval,
                const std::string& name, const std::string& dash) {
  const double y = plot.y.at(value);
  canvas.line({kLeft, y}, {kRight, y}, {"#000", 1.4, "none", dash});
  const double x = kRight + 8;
  canvas.line({x, plot.y.at(interval.low)}, {x, plot.y.at(interval.high)},
              {"#000", 1.4, "none", ""});
  canvas.text({x + 8, y + 4}, name + " " + signed_text(value, 2), {12});
}

std::string draw(const Pairs& pairs, const LimitsOfAgreement& limits, const std::string& x_label,
                 const std::string& y_label, const std::string& title) {
  SvgCanvas canvas(kWidth, kHeight);
  const Plot plot = plot_of(pairs, limits);
  std::vector<std::pair<double, std::string>> ticks;
  for (const double v : round_ticks(plot.x.low, plot.x.high, 7))
    ticks.emplace_back(v, tick_text(v));
  draw_axes(canvas, plot, ticks, x_label, y_label);
  canvas.line({kLeft, plot.y.at(0)}, {kRight, plot.y.at(0)}, {"#000", 0.8, "none", ""});
  for (const At& p : pairs) {
    canvas.dot({plot.x.at(p.x), plot.y.at(p.y)}, 3.2, {"#000", 1.1, "#bbb", ""});
  }
  draw_level(canvas, plot, limits.high, limits.high_interval, "upper", "7 4");
  draw_level(canvas, plot, limits.mean, limits.mean_interval, "mean", "");
  draw_level(canvas, plot, limits.low, limits.low_interval, "lower", "7 4");
  return canvas.svg(title);
}

}  // namespace

std::optional<Figure> precision_figure(const PrecisionStudy& precision) {
  Pairs pairs;
  for (const ExaminationPair& pair : precision.pairs) {
    pairs.push_back({(pair.first + pair.second) / 2.0, pair.difference});
  }
  if (pairs.empty()) return std::nullopt;
  const std::string unit = unit_of(precision.quantity);
  const std::string title = "Double examinations: " + quantity_word(precision.quantity);
  return Figure{
      "precision-" + name_of(precision.quantity), title,
      std::to_string(pairs.size()) + " double examinations of " + std::to_string(precision.hips) +
          " hips. Broken lines: limits of agreement; bars on the right: 95 % intervals.",
      draw(pairs, precision.limits, "mean of both, " + unit, "second less first, " + unit, title)};
}

std::optional<Figure> agreement_figure(const QuantityAgreement& agreement) {
  Pairs pairs;
  for (const PairedReading& pair : agreement.pairs) {
    pairs.push_back({(pair.program + pair.reader) / 2.0, pair.program - pair.reader});
  }
  if (pairs.empty()) return std::nullopt;
  const std::string unit = unit_of(agreement.quantity);
  const std::string who = agreement.reader.empty() ? "the other reader" : agreement.reader;
  const std::string title = "Agreement with " + who + ": " + quantity_word(agreement.quantity);
  std::string name = "agreement-" + name_of(agreement.quantity) + "-" + agreement.reader;
  for (char& c : name) {
    if (std::isalnum(static_cast<unsigned char>(c)) == 0 && c != '_') c = '-';
  }
  return Figure{name, title,
                std::to_string(pairs.size()) + " films of " +
                    std::to_string(agreement.limits.hips) +
                    " hips. Broken lines: limits of agreement; bars on the right: 95 % intervals.",
                draw(pairs, agreement.limits, "mean of both, " + unit,
                     "program less reader, " + unit, title)};
}

}  // namespace tidemark::registry
