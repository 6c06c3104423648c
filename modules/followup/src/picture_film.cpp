#include <algorithm>
#include <cmath>
#include <utility>

#include "panel.h"
#include "tables.h"
#include "tidemark/core/number_text.h"
#include "working.h"

namespace tidemark::followup {
namespace {

constexpr double kPanelHeight = 1180.0;
constexpr double kPanelWidth = 900.0;
constexpr double kCaptionHeight = 120.0;
constexpr double kMarginMm = 14.0;
constexpr double kLeastShape = 0.62;  // width over height: room for labels and the caption
/// Drawn radius of a landmark's uncertainty: twice u, about 95 % in one direction.
constexpr double kShownU = 2.0;

/// What must be seen: the implant, the trochanters and a piece of shaft.
Box region_of(const HipFilm& film) {
  const double px_per_mm = 1.0 / film.scale.value.value;
  Polyline points = film.implant.outline_px;
  const Circle2& head = film.implant.head.circle_px;
  Circle2 cup = head;
  if (film.implant.cup) cup = film.implant.cup->circle_px;
  for (const Circle2& circle : {head, cup}) {
    points.push_back(circle.centre - Vec2::Constant(circle.radius));
    points.push_back(circle.centre + Vec2::Constant(circle.radius));
  }
  points.push_back(film.implant.tip.px + Vec2(0.0, 30.0 * px_per_mm));
  for (const auto& mark : {film.femur.greater_trochanter, film.femur.lesser_trochanter}) {
    if (mark) points.push_back(mark->px);
  }
  return film_region(film, points, kMarginMm, kLeastShape);
}

/// Draws what was found, in the panel of the film's hip view.
class Overlay {
 public:
  Overlay(Canvas& canvas, const Panel& panel) : canvas_(canvas), panel_(panel) {}

  void circle(const anatomy::FoundCircle& found, Colour colour) {
    const Circle2 shown{panel_.canvas_from_view.apply(found.circle_px.centre),
                        found.circle_px.radius * panel_.canvas_per_px};
    canvas_.circle(shown, {colour, 1.6});
    canvas_.cross(shown.centre, 6.0, {colour, 1.4});
  }
  void axis(const anatomy::FoundAxis& found, double from_px, double to_px, Colour colour) {
    const Line2& line = found.line_px;
    canvas_.line(
        mapped({line.point + from_px * line.direction, line.point + to_px * line.direction},
               panel_.canvas_from_view),
        {colour, 1.6, 9.0});
  }
  void landmark(const anatomy::Landmark& mark, const std::string& name) {
    const Vec2 at = panel_.canvas_from_view.apply(mark.px);
    canvas_.cross(at, 7.0, {kYellow, 1.6});
    canvas_.circle({at, std::max(3.0, kShownU * mark.u_px * panel_.canvas_per_px)}, {kYellow, 1.2});
    label(at, mark.source == Source::kGiven ? name + " (given)" : name);
  }

 private:
  /// Text on the outer side of the point, or on the inner one where the panel ends.
  void label(const Vec2& at, const std::string& name) {
    TextStyle style{14.0, kYellow};
    const double needed = kLabelGap + canvas_.text_width(name, style) + 4.0;
    const double room_left = at.x() - panel_.box.x;
    const double room_right = panel_.box.x + panel_.box.width - at.x();
    const bool left = room_left < room_right ? room_left > needed : room_right < needed;
    style.anchor = left ? Anchor::kRight : Anchor::kLeft;
    canvas_.text(at + Vec2(left ? -kLabelGap : kLabelGap, 5.0), name, style);
  }
  static constexpr double kLabelGap = 16.0;
  Canvas& canvas_;
  const Panel& panel_;
};

/// The zones: ticks at their borders and their numbers beside the bone, away from the interface.
class ZoneMarks {
 public:
  ZoneMarks(Canvas& canvas, const Panel& panel, const HipFilm& film, const FilmResult& result)
      : canvas_(canvas),
        panel_(panel),
        result_(result),
        lines_(*film.lucency),
        px_per_mm_(1.0 / film.scale.value.value) {}

  /// A thin dashed tick on each side of every border, from beside the line to beyond the cortex.
  void borders() {
    for (const lucency::ZoneBorder& border : lines_.plan.borders) {
      const Vec2 across = (border.medial_px - border.lateral_px).normalized();
      for (const auto& [flank, away] : {std::pair{lucency::Flank::kLateral, Vec2(-across)},
                                        std::pair{lucency::Flank::kMedial, across}}) {
        const auto edge = edge_at(flank, border);
        if (edge) tick(*edge + kFreeMm * px_per_mm_ * away, *edge + kTickMm * px_per_mm_ * away);
      }
    }
  }
  /// The number of each zone, with the width of its line.
  void numbers() {
    for (const lucency::Zone& zone : lines_.plan.zones) {
      if (zone.interface_px.size() < 2) continue;
      const Vec2 middle = zone.interface_px[zone.interface_px.size() / 2];
      const Vec2 distal = lines_.plan.axis_px.direction;
      const Vec2 medial(distal.y(), -distal.x());
      const Vec2 away = zone.flank == lucency::Flank::kTip       ? distal
                        : zone.flank == lucency::Flank::kLateral ? Vec2(-medial)
                                                                 : medial;
      const double mm = zone.flank == lucency::Flank::kTip ? kTipNumberMm : kNumberMm;
      const Vec2 at = panel_.canvas_from_view.apply(middle + mm * px_per_mm_ * away);
      number(at, zone.number);
    }
  }
  /// Present lines: a stroke just outside of their far wall, so that they stay free.
  void present() {
    for (const lucency::ZoneLine& line : lines_.lines) {
      Polyline run;
      for (const lucency::LinePoint& p : line.points) {
        if (p.state != lucency::State::kPresent || !p.width) {
          draw_run(run);
          continue;
        }
        const double mm = p.start.value + p.width->value.value + kBeyondMm;
        run.push_back(panel_.canvas_from_view.apply(p.edge_px + mm * px_per_mm_ * p.out_px));
      }
      draw_run(run);
    }
  }

 private:
  void draw_run(Polyline& run) {
    canvas_.line(run, {kYellow, 1.6});
    run.clear();
  }
  void tick(const Vec2& from_px, const Vec2& to_px) {
    canvas_.line({panel_.canvas_from_view.apply(from_px), panel_.canvas_from_view.apply(to_px)},
                 {kWhite, 1.0, 4.0});
  }
  /// Where the interface of one flank comes nearest to the level of a border.
  [[nodiscard]] std::optional<Vec2> edge_at(lucency::Flank flank,
                                            const lucency::ZoneBorder& border) const {
    std::optional<Vec2> best;
    double least = 0.0;
    const double level = along(lines_.plan.axis_px, border.lateral_px);
    for (const lucency::Zone& zone : lines_.plan.zones) {
      if (zone.flank != flank) continue;
      for (const Vec2& p : zone.interface_px) {
        const double off = std::abs(along(lines_.plan.axis_px, p) - level);
        if (best && off >= least) continue;
        best = p;
        least = off;
      }
    }
    if (!best) return {};
    // Beyond the tip the outline has ended: its last place, carried along the axis.
    const double missing = level - along(lines_.plan.axis_px, *best);
    return *best + missing * lines_.plan.axis_px.direction;
  }
  void number(const Vec2& at, int zone) {
    const ZoneResult* widest = nullptr;
    bool open = false;
    for (const ZoneResult& one : result_.zones) {
      if (one.zone != zone) continue;
      open = open || one.state == lucency::State::kCannotTell;
      if (!one.max) continue;
      if (widest == nullptr || one.max->value.value > widest->max->value.value) widest = &one;
    }
    std::string text = std::to_string(zone);
    TextStyle style{17.0, kWhite, Weight::kNormal, Anchor::kCentre};
    if (widest != nullptr) {
      style = {17.0, kYellow, Weight::kBold, Anchor::kCentre};
      const std::string width = with_uncertainty(widest->max->value.value, 1.0);
      if (result_.calibration && result_.calibration->method != "pixels") {
        text += ": " + width.substr(1, width.find(' ') - 1) + " mm";
      }
    } else if (open) {
      text += " ?";
    }
    const double half = 0.5 * canvas_.text_width(text, style) + 6.0;
    const double left = panel_.box.x + half;
    const double x =
        std::clamp(at.x(), left, std::max(left, panel_.box.x + panel_.box.width - half));
    canvas_.text({x, at.y() + 6.0}, text, style);
  }

  static constexpr double kFreeMm = 7.0;   ///< between the metal and a tick: the line's place
  static constexpr double kTickMm = 19.0;  ///< where a tick ends
  static constexpr double kNumberMm = 22.0;
  static constexpr double kTipNumberMm = 14.0;
  static constexpr double kBeyondMm = 0.6;  ///< between a line's far wall and its stroke
  Canvas& canvas_;
  const Panel& panel_;
  const FilmResult& result_;
  const lucency::FilmLucency& lines_;
  double px_per_mm_;
};

void draw_zone_marks(Canvas& canvas, const Panel& panel, const HipFilm& film,
                     const FilmResult& result) {
  if (!film.lucency) return;
  canvas.clip(panel.box);
  ZoneMarks marks(canvas, panel, film, result);
  marks.borders();
  marks.present();
  marks.numbers();
  canvas.unclip();
}

void draw_findings(Canvas& canvas, const Panel& panel, const HipFilm& film, const Box& region) {
  Overlay overlay(canvas, panel);
  const anatomy::Implant& implant = film.implant;
  canvas.clip(panel.box);
  if (implant.cup) overlay.circle(*implant.cup, kWhite);
  overlay.circle(implant.head, kBlue);
  for (const Polyline& piece : outline_pieces(implant)) {
    canvas.line(mapped(piece, panel.canvas_from_view), {kBlue, 2.0});
  }
  overlay.axis(implant.axis, along(implant.axis.line_px, implant.shoulder.px),
               along(implant.axis.line_px, implant.tip.px), kBlue);
  if (film.femur.shaft_axis) {
    const Line2& shaft = film.femur.shaft_axis->line_px;
    const double bottom = region.y + region.height;
    overlay.axis(*film.femur.shaft_axis, along(shaft, implant.shoulder.px),
                 (bottom - shaft.point.y()) / std::max(0.5, shaft.direction.y()), kOrange);
  }
  for (const Polyline& cortex : {film.femur.lateral_cortex_px, film.femur.medial_cortex_px}) {
    canvas.line(mapped(cortex, panel.canvas_from_view), {kOrange, 1.4});
  }
  if (implant.shows_tip()) overlay.landmark(implant.tip, "tip");
  if (!film.from_side) overlay.landmark(implant.shoulder, "shoulder");
  if (film.femur.greater_trochanter) {
    overlay.landmark(*film.femur.greater_trochanter, "greater trochanter");
  }
  if (film.femur.lesser_trochanter) {
    overlay.landmark(*film.femur.lesser_trochanter, "lesser trochanter");
  }
  canvas.unclip();
}

/// What the film says in numbers, by its view.
std::string numbers_of(const HipFilm& film, const FilmResult& result) {
  if (result.side_view) {  // brief: a lateral film makes a narrow picture
    const auto& [depth, lean, lesser] = *result.side_view;
    const auto& scale = result.calibration;
    const Lengths lengths =
        film.in_pixels && scale ? Lengths{scale->mm_per_px.value.value, "px"} : Lengths{};
    const auto told = [&](Millimetres length) { return length.value / lengths.mm_per_unit; };
    return "behind the shaft " + with_uncertainty(told(depth.value), told(depth.u95)) + " " +
           lengths.unit + "     lean back " + with_uncertainty(lean.value.value, lean.u95.value) +
           "°";
  }
  if (!result.tilt) return "shaft axis not seen";
  return "tilt of the stem " + with_uncertainty(result.tilt->value.value, result.tilt->u95.value) +
         "° (varus +)";
}

void draw_caption(Canvas& canvas, double top, const HipFilm& film, const FilmResult& result) {
  canvas.text({16.0, top + 26.0}, film_title(result), {18.0, kWhite, Weight::kBold});
  std::string numbers = numbers_of(film, result);
  if (result.calibration) numbers += "     scale from " + result.calibration->method;
  if (!result.flags.empty()) numbers += "     flags: " + std::to_string(result.flags.size());
  canvas.text({16.0, top + 52.0}, numbers, {15.0, kWhite});
  double x = draw_legend(canvas, {16.0, top + 80.0}, {kBlue, 2.0}, "stem, head");
  x = draw_legend(canvas, {x, top + 80.0}, {kBlue, 2.0, 9.0}, "stem axis");
  x = draw_legend(canvas, {x, top + 80.0}, {kOrange, 2.0, 9.0}, "shaft axis");
  (void)draw_legend(canvas, {x, top + 80.0}, {kOrange, 2.0}, "outer cortex");
  x = draw_legend(canvas, {16.0, top + 104.0}, {kYellow, 2.0}, "landmark ± 95 %");
  if (result.zones.empty()) return;
  x = draw_legend(canvas, {x, top + 104.0}, {kYellow, 2.0}, "just beyond a radiolucent line");
  (void)draw_legend(canvas, {x, top + 104.0}, {kWhite, 2.0, 4.0}, "zones, widest line");
}

}  // namespace

std::optional<Picture> draw_film(const std::string& name, const HipFilm& film,
                                 const FilmResult& result) {
  const Box region = region_of(film);
  if (region.width < 2.0 || region.height < 2.0) return {};
  const double k = std::min(kPanelHeight / region.height, kPanelWidth / region.width);
  const double width = std::max(700.0, std::ceil(k * region.width));
  const double height = std::ceil(k * region.height);
  Canvas canvas(static_cast<int>(width), static_cast<int>(height + kCaptionHeight), kDark);
  const Panel panel = panel_of({0.0, 0.0, width, height}, region, film.side);
  const Tone tone = tone_of(film.hip_view, film.implant.metal, region);
  canvas.image(in_grey(shown(film.hip_view, tone, panel, {})), {0.0, 0.0});
  draw_findings(canvas, panel, film, region);
  draw_zone_marks(canvas, panel, film, result);
  if (result.calibration && result.calibration->method != "pixels") {
    draw_scale_bar(canvas, panel, film.scale.value.value, 20.0);
  }
  draw_caption(canvas, height, film, result);
  auto png = canvas.png();
  if (!png) return {};
  return Picture{name, std::move(*png)};
}

}  // namespace tidemark::followup
