#include <algorithm>
#include <array>
#include <cmath>

#include "panel.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "working.h"

namespace tidemark::followup {
namespace {

constexpr int kWidth = 1500;
constexpr int kHeight = 1060;
constexpr Box kMain{16.0, 64.0, 660.0, 940.0};
constexpr Box kTipInset{700.0, 268.0, 380.0, 320.0};
constexpr Box kShoulderInset{1104.0, 268.0, 380.0, 320.0};
constexpr Box kPlot{700.0, 618.0, 784.0, 386.0};
constexpr double kInsetMm = 26.0;  ///< width of what an inset shows

/// Everything one picture is drawn from.
struct Pair {
  const HipFilm& reference;
  const HipFilm& follow_up;
  const ComparisonResult& comparison;
  Affine2 follow_from_reference;  ///< px to px, bone on bone
  Tone reference_tone;
  Tone follow_tone;
  double mm_per_unit;  ///< of the printed lengths
  std::string unit;
};

void draw_stem(Canvas& canvas, const anatomy::Implant& implant, const Affine2& canvas_from_view,
               const Stroke& stroke) {
  for (const Polyline& piece : outline_pieces(implant)) {
    canvas.line(mapped(piece, canvas_from_view), stroke);
  }
  const Circle2& head = implant.head.circle_px;
  const Vec2 centre = canvas_from_view.apply(head.centre);
  const Vec2 rim = canvas_from_view.apply(head.centre + Vec2(head.radius, 0.0));
  canvas.circle({centre, (rim - centre).norm()}, stroke);
}

/// Both films, two colours, and the outline of the stem as found on each: whoever sees an outline
/// beside its shadow knows that the number is not to be trusted.
Panel draw_blend(Canvas& canvas, const Pair& pair, const Box& box, const Box& region_px,
                 double line_width) {
  Panel panel = panel_of(box, region_px, pair.reference.side);
  const Raster first = shown(pair.reference.hip_view, pair.reference_tone, panel, {});
  const Raster second =
      shown(pair.follow_up.hip_view, pair.follow_tone, panel, pair.follow_from_reference);
  canvas.image(in_two_colours(first, second), {box.x, box.y});
  canvas.clip(box);
  const Affine2 canvas_from_follow =
      panel.canvas_from_view.after(pair.follow_from_reference.inverse());
  draw_stem(canvas, pair.reference.implant, panel.canvas_from_view, {kBlue, line_width});
  draw_stem(canvas, pair.follow_up.implant, canvas_from_follow, {kOrange, line_width});
  canvas.unclip();
  canvas.frame(box, {kGrey, 1.0});
  return panel;
}

/// Whether an inset shows one point of the stem on both films, or just a region.
enum class Inset { kPoint, kRegion };

/// A piece around a point of the stem, magnified; of one point with the way from where the
/// reference film shows it to where the follow-up film does (px of each).
void draw_inset(Canvas& canvas, const Pair& pair, const Box& box, const Vec2& point_px,
                const Vec2& follow_px, const std::string& title, Inset shows = Inset::kPoint) {
  const double mm_per_px = pair.reference.scale.value.value;
  const double width = kInsetMm / mm_per_px;
  const double height = width * box.height / box.width;
  const Vec2 moved = pair.follow_from_reference.inverse().apply(follow_px);
  const Vec2 middle = 0.5 * (point_px + moved);
  const Panel panel = draw_blend(
      canvas, pair, box, {middle.x() - 0.5 * width, middle.y() - 0.5 * height, width, height}, 2.2);
  canvas.clip(box);
  if (shows == Inset::kPoint) {
    const Vec2 from = panel.canvas_from_view.apply(point_px);
    const Vec2 to = panel.canvas_from_view.apply(moved);
    canvas.arrow(from, to, {kYellow, 2.5});
    canvas.dot(from, 3.5, kBlue);
    canvas.dot(to, 3.5, kOrange);
  }
  if (pair.unit == "mm") draw_scale_bar(canvas, panel, mm_per_px, 5.0);
  canvas.unclip();
  canvas.text({box.x + 10.0, box.y + 22.0}, title, {15.0, kWhite, Weight::kBold});
}

std::string length_text(const Pair& pair, const Measured<Millimetres>& m) {
  return with_uncertainty(m.value.value / pair.mm_per_unit, m.u95.value / pair.mm_per_unit) + " " +
         pair.unit;
}

/// The flags on two lines at most; the result has them whole.
void draw_flags(Canvas& canvas, const std::vector<Flag>& flags, const Vec2& at) {
  if (flags.empty()) {
    canvas.text(at, "No flags", {14.0, kGrey});
    return;
  }
  constexpr std::size_t kPerLine = 96;
  std::string text = flags.size() == 1 ? "Flag:" : std::to_string(flags.size()) + " flags:";
  for (const Flag& flag : flags) text += " " + flag.text;
  text = printable(text);
  Vec2 p = at;
  for (int line = 0; line < 2 && !text.empty(); ++line) {
    std::string part = first_characters(text, kPerLine);
    const bool more = part.size() < text.size();
    if (more) part.resize(std::min(part.size(), part.find_last_of(' ')));
    text.erase(0, more ? part.size() + 1 : part.size());
    if (line == 1 && !text.empty()) part += " ...";
    canvas.text(p, part, {14.0, kYellow});
    p.y() += 20.0;
  }
}

void draw_numbers(Canvas& canvas, const Pair& pair) {
  const migration::Migration& m = *pair.comparison.migration;
  const double x = kTipInset.x;
  canvas.text({x, 92.0}, "Subsidence", {22.0, kWhite});
  canvas.text({x + 170.0, 92.0}, length_text(pair, m.subsidence), {30.0, kWhite, Weight::kBold});
  canvas.text({x, 134.0}, "Medial shift", {18.0, kGrey});
  canvas.text({x + 170.0, 134.0}, length_text(pair, m.medial), {18.0, kWhite});
  canvas.text({x, 164.0}, "Tilt change", {18.0, kGrey});
  canvas.text({x + 170.0, 164.0},
              with_uncertainty(m.tilt_change.value.value, m.tilt_change.u95.value) + "°",
              {18.0, kWhite});
  canvas.text({x, 194.0},
              "± is the half-width of the 95 % interval; distal, medial, varus positive",
              {14.0, kGrey});
  draw_flags(canvas, pair.comparison.flags, {x, 220.0});
}

/// One line of the plot: what says it, and its subsidence.
struct PlotRow {
  std::string name;
  Measured<Millimetres> subsidence;
  bool headline = false;
};

std::string words(std::string name) {
  std::replace(name.begin(), name.end(), '_', ' ');
  return name;
}

std::vector<PlotRow> plot_rows(const migration::Migration& m) {
  std::vector<PlotRow> rows{{"Result", m.subsidence, true}};
  for (const auto& one : m.features) rows.push_back({words(one.feature), one.subsidence, false});
  if (m.by_landmarks) {
    rows.push_back({"landmarks alone", m.by_landmarks->subsidence, false});
  }
  if (rows.size() > 9) rows.resize(9);
  return rows;
}

/// Round ends of the axis that hold every interval and zero, capped so that one wild interval does
/// not squeeze the rest.
std::array<double, 2> plot_ends(const std::vector<PlotRow>& rows, double mm_per_unit) {
  double low = -1.0;
  double high = 3.0;
  const double head_u95 = rows.front().subsidence.u95.value / mm_per_unit;
  const double middle = rows.front().subsidence.value.value / mm_per_unit;
  const double reach = std::max(5.0, 3.0 * head_u95);
  for (const PlotRow& row : rows) {
    const double value = row.subsidence.value.value / mm_per_unit;
    const double u95 = row.subsidence.u95.value / mm_per_unit;
    low = std::min(low, std::max(value - u95, middle - reach));
    high = std::max(high, std::min(value + u95, middle + reach));
  }
  return {std::floor(low), std::ceil(high)};
}

void draw_axis(Canvas& canvas, const Pair& pair, double low, double high, double x0,
               double per_unit) {
  const double bottom = kPlot.y + kPlot.height - 34.0;
  const double span = high - low;
  const int tick = span <= 8.0 ? 1 : span <= 20.0 ? 2 : static_cast<int>(std::ceil(span / 10.0));
  const int first = static_cast<int>(std::ceil(low / tick)) * tick;
  for (int t = first; t <= static_cast<int>(high); t += tick) {
    const double x = x0 + (t - low) * per_unit;
    const bool zero = t == 0;
    const Colour grid = zero ? kWhite : Colour{0.35, 0.35, 0.36, 1.0};
    canvas.fill({x - (zero ? 1.0 : 0.5), kPlot.y + 36.0, zero ? 2.0 : 1.0, bottom - kPlot.y - 36.0},
                grid);
    canvas.text({x, bottom + 20.0}, std::to_string(t),
                {14.0, kGrey, Weight::kNormal, Anchor::kCentre});
  }
  canvas.text({kPlot.x + kPlot.width, bottom + 36.0}, "subsidence, " + pair.unit + " (distal +)",
              {14.0, kGrey, Weight::kNormal, Anchor::kRight});
}

/// The result and its witnesses with their 95 % intervals: do they agree?
void draw_plot(Canvas& canvas, const Pair& pair) {
  const auto rows = plot_rows(*pair.comparison.migration);
  const auto ends = plot_ends(rows, pair.mm_per_unit);
  const double low = ends[0];
  const double high = ends[1];
  const double x0 = kPlot.x + 190.0;
  const double per_unit = (kPlot.x + kPlot.width - 14.0 - x0) / (high - low);
  canvas.text({kPlot.x, kPlot.y + 18.0}, "The result, and what each bony feature says on its own",
              {16.0, kWhite, Weight::kBold});
  draw_axis(canvas, pair, low, high, x0, per_unit);
  const double step = std::min(44.0, (kPlot.height - 90.0) / static_cast<double>(rows.size()));
  double y = kPlot.y + 58.0;
  for (const PlotRow& row : rows) {
    const Colour colour = row.headline ? kYellow : kWhite;
    const auto place = [&](double mm) {
      return x0 + (std::clamp(mm / pair.mm_per_unit, low, high) - low) * per_unit;
    };
    const double value = row.subsidence.value.value;
    const double u95 = row.subsidence.u95.value;
    canvas.line({{place(value - u95), y}, {place(value + u95), y}},
                {colour, row.headline ? 4.0 : 2.0});
    canvas.dot({place(value), y}, row.headline ? 7.0 : 5.0, colour);
    canvas.text({x0 - 16.0, y + 5.0}, row.name,
                {15.0, colour, row.headline ? Weight::kBold : Weight::kNormal, Anchor::kRight});
    y += step;
  }
}

void draw_heading(Canvas& canvas, const Pair& pair) {
  const double y = 36.0;
  double x = kMain.x;
  const TextStyle title{19.0, kWhite, Weight::kBold};
  canvas.text({x, y}, "Aligned on the bone:", title);
  x += canvas.text_width("Aligned on the bone:", title) + 14.0;
  const TextStyle first{19.0, kBlue, Weight::kBold};
  const std::string reference = pair.reference.hip_view.facts.file + " (reference)";
  canvas.text({x, y}, reference, first);
  x += canvas.text_width(reference, first) + 18.0;
  const TextStyle second{19.0, kOrange, Weight::kBold};
  std::string follow_up = pair.follow_up.hip_view.facts.file;
  if (pair.comparison.days) follow_up += " (day " + std::to_string(*pair.comparison.days) + ")";
  canvas.text({x, y}, follow_up, second);
  canvas.text({kMain.x, kHeight - 24.0},
              "Grey: both films agree. Blue: only the reference. Orange: only the follow-up.",
              {15.0, kGrey});
  canvas.text({kTipInset.x, kHeight - 24.0}, kCaution, {13.0, kGrey});
}

}  // namespace

std::optional<Picture> draw_pair(const std::string& name, const HipFilm& reference,
                                 const HipFilm& follow_up, const ComparisonResult& comparison,
                                 LengthUnit unit) {
  const bool in_px = unit == LengthUnit::kReferencePixels;
  Pair pair{
      .reference = reference,
      .follow_up = follow_up,
      .comparison = comparison,
      .follow_from_reference = follow_from_reference(reference, follow_up, *comparison.migration),
      .reference_tone = {},
      .follow_tone = {},
      .mm_per_unit =
          in_px ? reference.scale.value.value * film::view_px_per_stored_px(reference.hip_view)
                : 1.0,
      .unit = in_px ? "px" : "mm"};
  const Box region = hip_region(reference, kMain.width / kMain.height);
  pair.reference_tone = tone_of(reference.hip_view, reference.implant.metal, region);
  const Polyline corners{{region.x, region.y}, {region.x + region.width, region.y + region.height}};
  pair.follow_tone = tone_of(follow_up.hip_view, follow_up.implant.metal,
                             box_around(mapped(corners, pair.follow_from_reference), 0.0));
  Canvas canvas(kWidth, kHeight, kDark);
  const Panel panel = draw_blend(canvas, pair, kMain, region, 1.8);
  if (!in_px) draw_scale_bar(canvas, panel, reference.scale.value.value, 20.0);
  draw_heading(canvas, pair);
  draw_numbers(canvas, pair);
  const bool tips = reference.implant.shows_tip() && follow_up.implant.shows_tip();
  draw_inset(canvas, pair, kTipInset, reference.implant.tip.px, follow_up.implant.tip.px,
             tips ? "Tip" : "Distal end", tips ? Inset::kPoint : Inset::kRegion);
  draw_inset(canvas, pair, kShoulderInset, reference.implant.shoulder.px,
             follow_up.implant.shoulder.px, "Shoulder");
  draw_plot(canvas, pair);
  auto png = canvas.png();
  if (!png) return {};
  return Picture{name, std::move(*png)};
}

}  // namespace tidemark::followup
