#include <algorithm>
#include <cmath>
#include <numbers>

#include "working.h"

namespace tidemark::followup {
namespace {

constexpr double kNormal95 = 1.96;          // JCGM 100, table G.1
constexpr double kShownHalfShaftMm = 35.0;  // drawn when no cortex says how far; no measurement
constexpr double kDegreesPerRadian = 180.0 / std::numbers::pi;

/// Maps from view px to stored px; lengths by the scale along a stored row.
class ToStored {
 public:
  explicit ToStored(const HipFilm& film)
      : stored_from_view_(film.hip_view.stored_from_view),
        stored_per_view_(1.0 / film::view_px_per_stored_px(film.hip_view)),
        mm_per_view_px_(film.scale.value.value),
        in_pixels_(film.in_pixels) {}

  [[nodiscard]] Vec2 point(const Vec2& px) const { return stored_from_view_.apply(px); }
  [[nodiscard]] double length(double px) const { return stored_per_view_ * px; }
  [[nodiscard]] Millimetres millimetres(double px) const { return {px * mm_per_view_px_}; }
  [[nodiscard]] PointResult landmark(const anatomy::Landmark& mark) const {
    return {.stored_px = point(mark.px),
            .u_px = length(mark.u_px),
            .u = u_of(mark),
            .source = mark.source};
  }
  [[nodiscard]] CircleResult circle(const anatomy::FoundCircle& circle) const {
    return {.centre_px = point(circle.circle_px.centre),
            .diameter_px = length(2.0 * circle.circle_px.radius),
            .centre_u_px = length(circle.centre_u_px),
            .diameter_u_px = length(circle.diameter_u_px),
            .source = circle.source};
  }
  [[nodiscard]] AxisResult axis(const anatomy::FoundAxis& axis, double from, double to) const {
    return {.proximal_px = point(axis.line_px.point + from * axis.line_px.direction),
            .distal_px = point(axis.line_px.point + to * axis.line_px.direction),
            .direction_u = axis.direction_u,
            .source = axis.source};
  }
  [[nodiscard]] Polyline line(const Polyline& points) const {
    Polyline out;
    out.reserve(points.size());
    for (const Vec2& p : points) out.push_back(point(p));
    return out;
  }

 private:
  /// Nothing where a nominal head stands for the scale.
  [[nodiscard]] std::optional<Millimetres> u_of(const anatomy::Landmark& mark) const {
    if (in_pixels_) return {};
    return millimetres(mark.u_px);
  }

  Affine2 stored_from_view_;
  double stored_per_view_;
  double mm_per_view_px_;
  bool in_pixels_;
};

StemResult describe_stem(const anatomy::Implant& implant, const ToStored& to_stored) {
  const Line2& axis = implant.axis.line_px;
  std::optional<PointResult> tip;
  std::optional<Millimetres> tip_below_reference;
  if (implant.shows_tip()) {
    tip = to_stored.landmark(implant.tip);
    tip_below_reference =
        to_stored.millimetres(along(axis, implant.tip.px) - along(axis, implant.reference_px));
  }
  return {.tip = tip,
          .tip_below_reference = tip_below_reference,
          .shoulder = to_stored.landmark(implant.shoulder),
          .axis = to_stored.axis(implant.axis, along(axis, implant.shoulder.px),
                                 along(axis, implant.tip.px)),
          .reference_px = to_stored.point(implant.reference_px),
          .outline_px = to_stored.line(implant.outline_px),
          .confidence = implant.confidence};
}

AxisResult describe_shaft(const HipFilm& film, const ToStored& to_stored) {
  const anatomy::FoundAxis& axis = *film.femur.shaft_axis;
  const double half = kShownHalfShaftMm / film.scale.value.value;
  double from = -half;
  double to = half;
  const auto& lateral = film.femur.lateral_cortex_px;
  const auto& medial = film.femur.medial_cortex_px;
  if (!lateral.empty() && !medial.empty()) {
    from = std::max(along(axis.line_px, lateral.front()), along(axis.line_px, medial.front()));
    to = std::min(along(axis.line_px, lateral.back()), along(axis.line_px, medial.back()));
  }
  if (from >= to) {
    from = -half;
    to = half;
  }
  return to_stored.axis(axis, from, to);
}

/// Stem axis against shaft axis, varus positive. In the hip view both point distally (+y) and
/// lateral is -x, so a stem turned clockwise as seen has its tip lateral: varus.
Measured<Degrees> tilt_of(const anatomy::FoundAxis& stem, const anatomy::FoundAxis& shaft) {
  const double value =
      kDegreesPerRadian * angle_between(shaft.line_px.direction, stem.line_px.direction);
  const double u = std::hypot(stem.direction_u.value, shaft.direction_u.value);
  return {{value}, {u}, {kNormal95 * u}};
}

}  // namespace

anatomy::GivenLandmarks in_view(const anatomy::GivenLandmarks& in_stored,
                                const film::FilmImage& view) {
  const Affine2 view_from_stored = view.stored_from_view.inverse();
  const auto point = [&](const std::optional<Vec2>& px) -> std::optional<Vec2> {
    if (!px) return {};
    return view_from_stored.apply(*px);
  };
  const auto line = [&](const std::optional<Line2>& px) -> std::optional<Line2> {
    if (!px) return {};
    Vec2 direction = (view_from_stored.linear * px->direction).normalized();
    if (direction.y() < 0.0) direction = -direction;  // axes point distally
    return Line2{view_from_stored.apply(px->point), direction};
  };
  std::optional<double> diameter;
  if (in_stored.head_diameter_px) {
    diameter = *in_stored.head_diameter_px * film::view_px_per_stored_px(view);
  }
  return {.head_centre_px = point(in_stored.head_centre_px),
          .head_diameter_px = diameter,
          .stem_tip_px = point(in_stored.stem_tip_px),
          .stem_shoulder_px = point(in_stored.stem_shoulder_px),
          .lesser_trochanter_px = point(in_stored.lesser_trochanter_px),
          .greater_trochanter_px = point(in_stored.greater_trochanter_px),
          .stem_axis_px = line(in_stored.stem_axis_px),
          .shaft_axis_px = line(in_stored.shaft_axis_px),
          .bone_entry_px = point(in_stored.bone_entry_px),
          .second_zone_border_px = point(in_stored.second_zone_border_px),
          .third_zone_border_px = point(in_stored.third_zone_border_px)};
}

anatomy::GivenLandmarks on_implant(const anatomy::GivenLandmarks& given) {
  anatomy::GivenLandmarks out = anatomy::for_search(given);
  out.stem_tip_px = given.stem_tip_px;
  out.stem_shoulder_px = given.stem_shoulder_px;
  out.stem_axis_px = given.stem_axis_px;
  return out;
}

anatomy::GivenLandmarks on_bone(const anatomy::GivenLandmarks& given) {
  anatomy::GivenLandmarks out;
  out.lesser_trochanter_px = given.lesser_trochanter_px;
  out.greater_trochanter_px = given.greater_trochanter_px;
  out.shaft_axis_px = given.shaft_axis_px;
  return out;
}

void describe(Working& film) {
  const HipFilm& hip = *film.hip;
  const ToStored to_stored(hip);
  FilmResult& out = film.out;
  out.side = hip.side;
  out.head = to_stored.circle(hip.implant.head);
  if (hip.implant.cup) out.cup = to_stored.circle(*hip.implant.cup);
  out.stem = describe_stem(hip.implant, to_stored);
  if (hip.femur.shaft_axis) {
    out.shaft_axis = describe_shaft(hip, to_stored);
    out.tilt = tilt_of(hip.implant.axis, *hip.femur.shaft_axis);
  }
  if (hip.femur.lesser_trochanter) {
    out.lesser_trochanter = to_stored.landmark(*hip.femur.lesser_trochanter);
  }
  if (hip.femur.greater_trochanter) {
    out.greater_trochanter = to_stored.landmark(*hip.femur.greater_trochanter);
  }
  const auto& seen = hip.implant.flags;
  out.flags.insert(out.flags.end(), seen.begin(), seen.end());
  const auto& bone = hip.femur.flags;
  out.flags.insert(out.flags.end(), bone.begin(), bone.end());
  out.status = Status::kMeasured;
}

}  // namespace tidemark::followup
