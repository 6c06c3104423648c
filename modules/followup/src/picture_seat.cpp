#include <algorithm>
#include <cmath>
#include <string>

#include "panel.h"
#include "seat.h"

namespace tidemark::followup {
namespace {

using assessment::SeatItem;

constexpr double kPanelHeight = 1180.0;
constexpr double kPanelWidth = 940.0;
constexpr double kPelvisHeight = 380.0;
constexpr double kCaptionHeight = 84.0;
constexpr double kMarginMm = 14.0;
constexpr double kLeastShape = 0.72;  // width over height: room for labels on both sides
constexpr double kLowestMm = 112.0;   // below the lesser trochanter: the lowest level that is shown
constexpr double kLabelMm = 3.0;      // between a border and its label
/// Levels of the audit, as they are named in its items.
struct FillLevel {
  int mm;
  const char* id;
};
constexpr FillLevel kFillLevels[] = {{20, "canal_fill_plus_20"},
                                     {0, "canal_fill_0"},
                                     {-20, "canal_fill_minus_20"},
                                     {-70, "canal_fill_minus_70"}};
constexpr int kCorticalLevelMm = -100;

const SeatItem* item_of(const SeatResult& seat, const std::string& id) {
  const auto found = std::find_if(seat.items.begin(), seat.items.end(),
                                  [&](const SeatItem& one) { return one.id == id; });
  return found == seat.items.end() || !found->measured ? nullptr : &*found;
}

const anatomy::Section* section_of(const HipFilm& film, int level_mm) {
  for (const anatomy::Section& section : film.canal->sections) {
    if (std::lround(section.level.value) == level_mm) return &section;
  }
  return nullptr;
}

/// What must be seen: implant, trochanters and the shaft as far as it was measured.
Box region_of(const HipFilm& film) {
  const double px_per_mm = 1.0 / film.scale.value.value;
  Polyline points = film.implant.outline_px;
  const Circle2& head = film.implant.head.circle_px;
  points.push_back(head.centre - Vec2::Constant(head.radius));
  points.push_back(head.centre + Vec2::Constant(head.radius));
  if (film.femur.greater_trochanter) {
    points.push_back(film.femur.greater_trochanter->px - Vec2(8.0 * px_per_mm, 0.0));
  }
  if (film.femur.lesser_trochanter) {
    points.push_back(film.femur.lesser_trochanter->px);
    for (const anatomy::Section& section : film.canal->sections) {
      if (section.level.value > -kLowestMm) points.push_back(section.centre_px);
    }
  }
  return film_region(film, points, kMarginMm, kLeastShape);
}

/// Draws the audit's places. Distances in mm along the shaft (distal) and across it (medial).
class SeatMarks {
 public:
  SeatMarks(Canvas& canvas, const Panel& panel, const HipFilm& film, const SeatResult& seat)
      : canvas_(canvas),
        panel_(panel),
        film_(film),
        seat_(seat),
        px_per_mm_(1.0 / film.scale.value.value) {
    if (film.femur.shaft_axis) distal_ = film.femur.shaft_axis->line_px.direction;
    medial_ = Vec2(distal_.y(), -distal_.x());
  }

  void outlines(const Box& region) {
    const anatomy::Implant& implant = film_.implant;
    for (const Polyline& piece : outline_pieces(implant)) {
      canvas_.line(mapped(piece, panel_.canvas_from_view), {kBlue, 1.6});
    }
    const Line2& stem = implant.axis.line_px;
    stroke(stem.point + along(stem, implant.shoulder.px) * stem.direction,
           stem.point + along(stem, implant.tip.px) * stem.direction, {kBlue, 1.6, 9.0});
    const Circle2& head = implant.head.circle_px;
    canvas_.circle({on_canvas(head.centre), head.radius * panel_.canvas_per_px}, {kBlue, 1.6});
    canvas_.cross(on_canvas(head.centre), 6.0, {kBlue, 1.4});
    if (!film_.femur.shaft_axis) return;
    const Line2& shaft = film_.femur.shaft_axis->line_px;
    const double bottom = region.y + region.height;
    stroke(shaft.point + along(shaft, implant.shoulder.px) * shaft.direction,
           shaft.point +
               (bottom - shaft.point.y()) / std::max(0.5, shaft.direction.y()) * shaft.direction,
           {kOrange, 1.6, 9.0});
  }

  /// The canal's width at each level, the stem's in it, and their ratio beside the bone.
  void fills() {
    for (const FillLevel& level : kFillLevels) {
      const anatomy::Section* section = section_of(film_, level.mm);
      const SeatItem* item = item_of(seat_, level.id);
      if (section == nullptr || item == nullptr) continue;
      const double lateral = -section->lateral.inner->value.value;
      const double medial = section->medial.inner->value.value;
      across(*section, lateral, medial, {kOrange, 2.2});
      across(*section, -section->lateral.metal->value.value, section->medial.metal->value.value,
             {kBlue, 2.2});
      tick(*section, lateral);
      tick(*section, medial);
      const double edge = section->medial.outer ? section->medial.outer->value.value : medial;
      // At the trochanter's own level the line of the neck's cut begins: below it.
      const Vec2 down = (level.mm == 0 ? 4.0 : 0.0) * px_per_mm_ * distal_;
      label(at(*section, edge + kLabelMm) + down, "fill " + told(*item), beside(medial_));
    }
  }
  void cortical_index() {
    const anatomy::Section* section = section_of(film_, kCorticalLevelMm);
    const SeatItem* item = item_of(seat_, "cortical_index");
    if (section == nullptr || item == nullptr) return;
    for (const auto& [side, sign] :
         {std::pair{&section->lateral, -1.0}, std::pair{&section->medial, 1.0}}) {
      const double outer = sign * side->outer->value.value;
      const double inner = sign * side->inner->value.value;
      across(*section, inner, outer, {kOrange, 2.2});
      tick(*section, outer);
      tick(*section, inner);
    }
    label(at(*section, section->medial.outer->value.value + kLabelMm),
          "cortical index " + told(*item), beside(medial_));
  }
  void flare() {
    const SeatItem* item = item_of(seat_, "flare_gap_mm");
    if (item == nullptr || !film_.canal->flare) return;
    const anatomy::FlareSeat& flare = *film_.canal->flare;
    const Vec2 wall = flare.px + item->measured->value * px_per_mm_ * flare.out;
    stroke(flare.px, wall, {kYellow, 3.0});
    const Vec2 along_wall(-flare.out.y(), flare.out.x());
    stroke(wall - 4.0 * px_per_mm_ * along_wall, wall + 4.0 * px_per_mm_ * along_wall,
           {kYellow, 1.6});
    const Vec2 away = flare.px + 17.0 * px_per_mm_ * flare.out;
    stroke(wall + 2.0 * px_per_mm_ * flare.out, away, {kYellow, 1.0, 3.0});
    label(away, "flare gap " + told(*item), beside(flare.out));
  }
  /// Levels of the tip of the greater trochanter and of the head's centre, and their distance.
  void trochanter_to_head() {
    const SeatItem* item = item_of(seat_, "greater_trochanter_to_head_centre_mm");
    if (item == nullptr) return;
    const Vec2 tip = film_.femur.greater_trochanter->px;
    const Vec2 head = film_.implant.head.circle_px.centre;
    const Vec2 foot = head + medial_.dot(tip - head) * medial_;
    canvas_.cross(on_canvas(tip), 7.0, {kYellow, 1.6});
    stroke(head, foot - 4.0 * px_per_mm_ * medial_, {kYellow, 1.0, 4.0});
    stroke(tip, tip - 4.0 * px_per_mm_ * medial_, {kYellow, 1.0, 4.0});
    span(tip - 3.0 * px_per_mm_ * medial_, foot - 3.0 * px_per_mm_ * medial_);
    const Vec2 top = (tip.y() < foot.y() ? tip : foot) - 4.0 * px_per_mm_ * distal_;
    label(top, "tip to head " + told(*item), Anchor::kCentre);
  }
  void neck_cut() {
    const SeatItem* item = item_of(seat_, "neck_cut_above_lesser_trochanter_mm");
    if (item == nullptr || !film_.femur.lesser_trochanter) return;
    const Vec2 lesser = film_.femur.lesser_trochanter->px;
    const Vec2 stem = film_.implant.axis.line_px.direction;
    const Vec2 across(stem.y(), -stem.x());
    const Vec2 cut = lesser - item->measured->value * px_per_mm_ * stem;
    canvas_.cross(on_canvas(lesser), 7.0, {kYellow, 1.6});
    const Vec2 aside = 27.0 * px_per_mm_ * across;
    const Vec2 beyond = 1.5 * px_per_mm_ * across;
    stroke(lesser, lesser + aside + beyond, {kYellow, 1.0, 4.0});
    stroke(cut - 14.0 * px_per_mm_ * across, cut + aside + beyond, {kYellow, 1.0, 4.0});
    span(cut + aside, lesser + aside);
    label(cut + aside - 2.5 * px_per_mm_ * distal_, "neck cut " + told(*item), Anchor::kCentre);
  }
  void offset() {
    const SeatItem* item = item_of(seat_, "femoral_offset_mm");
    if (item == nullptr) return;
    const Line2& shaft = film_.femur.shaft_axis->line_px;
    const Vec2 head = film_.implant.head.circle_px.centre;
    const Vec2 foot = shaft.point + along(shaft, head) * shaft.direction;
    // Above the head, where nothing else is drawn: its own level belongs to the trochanter's.
    const Vec2 up = -(film_.implant.head.circle_px.radius + 7.0 * px_per_mm_) * shaft.direction;
    stroke(head, head + up - 1.5 * px_per_mm_ * distal_, {kYellow, 1.0, 4.0});
    stroke(foot, foot + up - 1.5 * px_per_mm_ * distal_, {kYellow, 1.0, 4.0});
    span(foot + up, head + up);
    label(0.5 * (foot + head) + up - 5.0 * px_per_mm_ * distal_, "offset " + told(*item),
          Anchor::kCentre);
  }

 private:
  [[nodiscard]] Vec2 on_canvas(const Vec2& px) const { return panel_.canvas_from_view.apply(px); }
  [[nodiscard]] Vec2 at(const anatomy::Section& section, double across_mm) const {
    return section.centre_px + across_mm * px_per_mm_ * medial_;
  }
  void stroke(const Vec2& a_px, const Vec2& b_px, const Stroke& style) {
    canvas_.line({on_canvas(a_px), on_canvas(b_px)}, style);
  }
  void across(const anatomy::Section& section, double from_mm, double to_mm, const Stroke& style) {
    stroke(at(section, from_mm), at(section, to_mm), style);
  }
  void tick(const anatomy::Section& section, double across_mm) {
    const Vec2 middle = at(section, across_mm);
    const Vec2 half = 2.0 * px_per_mm_ * distal_;
    stroke(middle - half, middle + half, {kOrange, 2.2});
  }
  /// A distance with arrows at both ends; a bare stroke when it is too short for them.
  void span(const Vec2& a_px, const Vec2& b_px) {
    const Vec2 a = on_canvas(a_px);
    const Vec2 b = on_canvas(b_px);
    if ((b - a).norm() > 30.0) {
      canvas_.arrow(0.5 * (a + b), a, {kYellow, 1.6});
      canvas_.arrow(0.5 * (a + b), b, {kYellow, 1.6});
    } else {
      canvas_.line({a, b}, {kYellow, 2.6});
    }
  }
  /// Where text stands so that it grows away from the bone.
  [[nodiscard]] Anchor beside(const Vec2& away) const {
    return (panel_.canvas_from_view.linear * away).x() < 0.0 ? Anchor::kRight : Anchor::kLeft;
  }
  /// Text kept inside of the panel.
  void label(const Vec2& px, const std::string& text, Anchor anchor) {
    const TextStyle style{15.0, kWhite, Weight::kNormal, Anchor::kLeft};
    const double width = canvas_.text_width(text, style);
    Vec2 place = on_canvas(px);
    if (anchor == Anchor::kRight) place.x() -= width;
    if (anchor == Anchor::kCentre) place.x() -= 0.5 * width;
    const double right = panel_.box.x + panel_.box.width - width - 6.0;
    place.x() = std::clamp(place.x(), panel_.box.x + 6.0, std::max(panel_.box.x + 6.0, right));
    place.y() =
        std::clamp(place.y() + 5.0, panel_.box.y + 18.0, panel_.box.y + panel_.box.height - 6.0);
    canvas_.text(place, text, style);
  }

  Canvas& canvas_;
  const Panel& panel_;
  const HipFilm& film_;
  const SeatResult& seat_;
  double px_per_mm_;
  Vec2 distal_ = Vec2::UnitY();
  Vec2 medial_ = Vec2::UnitX();
};

/// Whether the leg length has something to show.
bool shows_pelvis(const HipFilm& film, const SeatResult& seat) {
  return film.pelvis && film.pelvis->other_lesser_trochanter && film.femur.lesser_trochanter &&
         item_of(seat, "leg_length_difference_mm") != nullptr;
}

/// The whole pelvis: its axis of symmetry, and the level of each lesser trochanter across it.
void draw_pelvis(Canvas& canvas, const Box& box, const HipFilm& film, const SeatResult& seat) {
  const double px_per_mm = 1.0 / film.scale.value.value;
  const anatomy::Pelvis& pelvis = *film.pelvis;
  const Vec2 here = film.femur.lesser_trochanter->px;
  const Vec2 there = pelvis.other_lesser_trochanter->px;
  const Vec2 up = -80.0 * px_per_mm * pelvis.axis_px.direction;
  const Box wanted = box_around({here, there, here + up, there + up}, 35.0 * px_per_mm);
  const Box region = inside_film(wanted, film.hip_view);
  const Panel panel = panel_of(box, region, film.side);
  const Tone tone = tone_of(film.hip_view, film.implant.metal, region);
  canvas.image(in_grey(shown(film.hip_view, tone, panel, {})), {box.x, box.y});
  canvas.clip(box);
  const auto stroke = [&](const Vec2& a, const Vec2& b, const Stroke& style) {
    canvas.line(mapped({a, b}, panel.canvas_from_view), style);
  };
  const Line2& axis = pelvis.axis_px;
  for (const Vec2& lesser : {here, there}) {
    const Vec2 foot = axis.point + along(axis, lesser) * axis.direction;
    stroke(lesser, foot, {kYellow, 1.2, 5.0});
    canvas.cross(panel.canvas_from_view.apply(lesser), 7.0, {kYellow, 1.6});
  }
  const double lowest = std::max(along(axis, here), along(axis, there));
  stroke(axis.point + (lowest - 130.0 * px_per_mm) * axis.direction,
         axis.point + (lowest + 20.0 * px_per_mm) * axis.direction, {kWhite, 1.6, 9.0});
  const SeatItem& item = *item_of(seat, "leg_length_difference_mm");
  canvas.text({box.x + 0.5 * box.width, box.y + box.height - 14.0},
              "leg length difference " + told(item) + " (" + item.positive + " +)",
              {15.0, kWhite, Weight::kNormal, Anchor::kCentre});
  canvas.unclip();
}

void draw_caption(Canvas& canvas, double top, const FilmResult& result, const SeatResult& seat) {
  std::string title = "Seat: " + film_title(result);
  if (const SeatItem* tilt = item_of(seat, "stem_tilt_deg")) {
    title += "     tilt " + told(*tilt) + " (varus +)";
  }
  canvas.text({16.0, top + 28.0}, title, {18.0, kWhite, Weight::kBold});
  double x = draw_legend(canvas, {16.0, top + 60.0}, {kBlue, 2.0}, "stem, its width");
  x = draw_legend(canvas, {x, top + 60.0}, {kBlue, 2.0, 9.0}, "stem axis");
  x = draw_legend(canvas, {x, top + 60.0}, {kOrange, 2.0, 9.0}, "shaft axis");
  x = draw_legend(canvas, {x, top + 60.0}, {kOrange, 2.0}, "canal, cortex");
  (void)draw_legend(canvas, {x, top + 60.0}, {kYellow, 2.0}, "distances ± 95 %");
}

}  // namespace

std::optional<Picture> draw_seat(const std::string& name, const HipFilm& film,
                                 const FilmResult& result, const SeatResult& seat) {
  if (!film.canal) return {};
  const Box region = region_of(film);
  if (region.width < 2.0 || region.height < 2.0) return {};
  const double k = std::min(kPanelHeight / region.height, kPanelWidth / region.width);
  const double width = std::max(760.0, std::ceil(k * region.width));
  const double height = std::ceil(k * region.height);
  const double below = shows_pelvis(film, seat) ? kPelvisHeight : 0.0;
  Canvas canvas(static_cast<int>(width), static_cast<int>(height + below + kCaptionHeight), kDark);
  const Panel panel = panel_of({0.0, 0.0, width, height}, region, film.side);
  const Tone tone = tone_of(film.hip_view, film.implant.metal, region);
  canvas.image(in_grey(shown(film.hip_view, tone, panel, {})), {0.0, 0.0});
  canvas.clip(panel.box);
  SeatMarks marks(canvas, panel, film, seat);
  marks.outlines(region);
  marks.fills();
  marks.cortical_index();
  marks.flare();
  marks.trochanter_to_head();
  marks.neck_cut();
  marks.offset();
  canvas.unclip();
  if (result.calibration && result.calibration->method != "pixels") {
    draw_scale_bar(canvas, panel, film.scale.value.value, 20.0);
  }
  if (below > 0.0) draw_pelvis(canvas, {0.0, height + 4.0, width, below - 4.0}, film, seat);
  draw_caption(canvas, height + below, result, seat);
  auto png = canvas.png();
  if (!png) return {};
  return Picture{name, std::move(*png)};
}

}  // namespace tidemark::followup
