#include "overlay.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "words.h"
#include "zone_state.h"

namespace tidemark::view {
namespace {

using followup::AxisResult;
using followup::CircleResult;
using followup::FilmResult;
using followup::PointResult;

/// film::view_px_per_stored_px of this frame.
double view_px_per_stored(const Affine2& view_from_stored) {
  return 1.0 / view_from_stored.inverse().linear.row(0).norm();
}

/// Collects the marks of one film.
class Collector {
 public:
  Collector(std::size_t film, const Placed& placed)
      : film_(film),
        placed_(placed),
        world_from_stored_(placed.world_from_view.after(placed.view_from_stored)) {}

  void line(const Polyline& stored_px, Layer layer) {
    LineMark mark{{}, layer, placed_.whose};
    for (const Vec2& p : stored_px) mark.points.push_back(world_from_stored_.apply(p));
    out_.lines.push_back(std::move(mark));
  }

  void grip(const Vec2& stored_px, Layer layer, Grip grip, Source source, const std::string& name) {
    out_.points.push_back({world_from_stored_.apply(stored_px), layer, placed_.whose, name,
                           source == Source::kGiven, Handle{film_, grip}});
  }

  void label(const Vec2& stored_px, Layer layer, const std::string& text) {
    out_.points.push_back(
        {world_from_stored_.apply(stored_px), layer, placed_.whose, text, false, {}});
  }

  void point(const std::optional<PointResult>& point, Grip what, const std::string& name) {
    if (point) grip(point->stored_px, Layer::kLandmarks, what, point->source, name);
  }

  void axis(const std::optional<AxisResult>& axis, Grip proximal, Grip distal,
            const std::string& name) {
    if (!axis) return;
    line({axis->proximal_px, axis->distal_px}, Layer::kAxes);
    grip(axis->proximal_px, Layer::kAxes, proximal, axis->source, name);
    grip(axis->distal_px, Layer::kAxes, distal, axis->source, "");
  }

  void circle(const std::optional<CircleResult>& circle) {
    if (!circle) return;
    constexpr int kCorners = 96;
    LineMark mark{{}, Layer::kHead, placed_.whose};
    for (int i = 0; i <= kCorners; ++i) {
      mark.points.push_back(on_rim(*circle, 2.0 * std::numbers::pi * i / kCorners));
    }
    out_.lines.push_back(std::move(mark));
  }

  void head(const std::optional<CircleResult>& head) {
    circle(head);
    if (!head) return;
    grip(head->centre_px, Layer::kHead, Grip::kHeadCentre, head->source, "head");
    out_.points.push_back({on_rim(*head, -0.5 * std::numbers::pi), Layer::kHead, placed_.whose, "",
                           head->source == Source::kGiven, Handle{film_, Grip::kHeadEdge}});
  }

  [[nodiscard]] Overlay take() { return std::move(out_); }

 private:
  /// World px; the angle from x to y of the view.
  [[nodiscard]] Vec2 on_rim(const CircleResult& circle, double angle) const {
    const double radius = 0.5 * circle.diameter_px * view_px_per_stored(placed_.view_from_stored);
    const Vec2 centre = placed_.view_from_stored.apply(circle.centre_px);
    return placed_.world_from_view.apply(centre + radius * Vec2(std::cos(angle), std::sin(angle)));
  }

  std::size_t film_;
  Placed placed_;
  Affine2 world_from_stored_;
  Overlay out_;
};

/// The number of a zone, and what is said of lines in it; not validated, so with the report's mark.
std::string label_of(const FilmResult& film, int zone) {
  std::string out = std::to_string(zone);
  const followup::ZoneResult* one = speaking_for(film, zone);
  const bool said = one != nullptr && (one->state == lucency::State::kPresent ||
                                       one->state == lucency::State::kAbsent);
  return said ? out + " " + words_of(one->state) + "\u2020" : out;
}

void add_zones(Collector& to, const FilmResult& film) {
  const auto& borders = film.zone_borders;
  for (const auto& border : borders) {
    to.line({border.lateral_px, border.medial_px}, Layer::kZones);
  }
  if (borders.size() < 4) return;
  for (std::size_t i = 0; i < kZoneBorderGrips.size(); ++i) {
    to.grip(0.5 * (borders[i].lateral_px + borders[i].medial_px), Layer::kZones,
            kZoneBorderGrips.at(i), borders[i].source, "");
  }
  const bool frontal =
      film.zones.empty() || film.zones.front().zone <= 7;  // 8 to 14 on a lateral film
  const int first = frontal ? 1 : 8;
  for (int i = 0; i < 3; ++i) {
    const auto& upper = borders[static_cast<std::size_t>(i)];
    const auto& lower = borders[static_cast<std::size_t>(i) + 1];
    to.label(0.5 * (upper.lateral_px + lower.lateral_px), Layer::kZones, label_of(film, first + i));
    to.label(0.5 * (upper.medial_px + lower.medial_px), Layer::kZones,
             label_of(film, first + 6 - i));
  }
  to.label(0.5 * (borders[3].lateral_px + borders[3].medial_px), Layer::kZones,
           label_of(film, first + 3));
}

/// The stretches of the stem's edge beside which the program sees a line.
void add_lines(Collector& to, const followup::UnrolledStrip& strip) {
  Polyline run;
  const auto end_run = [&] {
    if (run.size() > 1) to.line(run, Layer::kLines);
    run.clear();
  };
  for (std::size_t i = 0; i < strip.edge_px.size(); ++i) {
    if (strip.edge_px[i] && strip.state[i] == lucency::State::kPresent) {
      run.push_back(*strip.edge_px[i]);
    } else {
      end_run();
    }
  }
  end_run();
}

std::optional<Point> point_of(Grip grip) {
  switch (grip) {
    case Grip::kLesserTrochanter:
      return Point::kLesserTrochanter;
    case Grip::kGreaterTrochanter:
      return Point::kGreaterTrochanter;
    case Grip::kStemTip:
      return Point::kStemTip;
    case Grip::kStemShoulder:
      return Point::kStemShoulder;
    case Grip::kBoneEntry:
      return Point::kBoneEntry;
    case Grip::kSecondZoneBorder:
      return Point::kSecondZoneBorder;
    case Grip::kThirdZoneBorder:
      return Point::kThirdZoneBorder;
    default:
      return {};
  }
}

bool is_head(Grip grip) { return grip == Grip::kHeadCentre || grip == Grip::kHeadEdge; }
bool is_stem_axis(Grip grip) {
  return grip == Grip::kStemAxisProximal || grip == Grip::kStemAxisDistal;
}
bool is_proximal(Grip grip) {
  return grip == Grip::kStemAxisProximal || grip == Grip::kShaftAxisProximal;
}

}  // namespace

bool is_zone_border(Grip grip) {
  return std::find(kZoneBorderGrips.begin(), kZoneBorderGrips.end(), grip) !=
         kZoneBorderGrips.end();
}

std::string words_of(Grip grip) {
  if (const auto point = point_of(grip)) return words_of(*point);
  switch (grip) {
    case Grip::kHeadCentre:
      return "centre of the head";
    case Grip::kHeadEdge:
      return "edge of the head";
    case Grip::kStemAxisProximal:
      return "stem axis, upper end";
    case Grip::kStemAxisDistal:
      return "stem axis, lower end";
    case Grip::kShaftAxisProximal:
      return "shaft axis, upper end";
    default:
      return "shaft axis, lower end";
  }
}

Overlay overlay_of(const FilmResult& result, std::size_t film, const Placed& placed,
                   const followup::UnrolledStrip* strip) {
  Collector to(film, placed);
  add_zones(to, result);
  if (strip != nullptr) add_lines(to, *strip);
  if (result.stem) {
    to.line(result.stem->outline_px, Layer::kOutline);
    to.axis(result.stem->axis, Grip::kStemAxisProximal, Grip::kStemAxisDistal, "stem axis");
  }
  to.axis(result.shaft_axis, Grip::kShaftAxisProximal, Grip::kShaftAxisDistal, "shaft axis");
  to.circle(result.cup);
  to.head(result.head);
  if (result.stem) {
    to.point(result.stem->tip, Grip::kStemTip, "tip");
    // On a lateral film it is only where the body ends towards the neck.
    if (result.view != View::kLateral) {
      to.point(result.stem->shoulder, Grip::kStemShoulder, "shoulder");
    }
  }
  to.point(result.lesser_trochanter, Grip::kLesserTrochanter, "LT");
  to.point(result.greater_trochanter, Grip::kGreaterTrochanter, "GT");
  return to.take();
}

std::optional<Sheet> moved(const Sheet& sheet, const FilmResult& result, const Handle& handle,
                           const Vec2& at_px, const Affine2& view_from_stored) {
  if (const auto point = point_of(handle.grip)) {
    return with_point(sheet, handle.film, *point, at_px);
  }
  if (is_head(handle.grip)) {
    if (!result.head) return {};
    Circle2 head{result.head->centre_px, 0.5 * result.head->diameter_px};
    if (handle.grip == Grip::kHeadCentre) {
      head.centre = at_px;
    } else {
      const Vec2 out_px = view_from_stored.linear * (at_px - head.centre);
      head.radius = out_px.norm() / view_px_per_stored(view_from_stored);
    }
    return with_head(sheet, handle.film, head);
  }
  const bool stem = is_stem_axis(handle.grip);
  std::optional<AxisResult> axis = result.shaft_axis;
  if (stem) axis = result.stem ? std::optional(result.stem->axis) : std::nullopt;
  if (!axis) return {};
  AxisEnds ends{axis->proximal_px, axis->distal_px};
  (is_proximal(handle.grip) ? ends.proximal_px : ends.distal_px) = at_px;
  return with_axis(sheet, handle.film, stem ? Axis::kStem : Axis::kShaft, ends);
}

Sheet given_back(const Sheet& sheet, const Handle& handle) {
  if (const auto point = point_of(handle.grip)) {
    return with_point(sheet, handle.film, *point, std::nullopt);
  }
  if (is_head(handle.grip)) return with_head(sheet, handle.film, std::nullopt);
  return with_axis(sheet, handle.film, is_stem_axis(handle.grip) ? Axis::kStem : Axis::kShaft,
                   std::nullopt);
}

}  // namespace tidemark::view
