#include <utility>

#include "build.h"
#include "content.h"

namespace tidemark::archive {
namespace {

using followup::AxisResult;
using followup::CircleResult;
using followup::FilmResult;
using followup::PointResult;
using followup::Result;

Coordinates at(const Vec2& p) { return {Shape::kPoint, {p}}; }

Coordinates along(const AxisResult& axis) {
  return {Shape::kPolyline, {axis.proximal_px, axis.distal_px}};
}

Coordinates around(const CircleResult& circle) {
  return {Shape::kCircle,
          {circle.centre_px, circle.centre_px + Vec2(0.5 * circle.diameter_px, 0.0)}};
}

Item method_of(Source source) {
  return method(source == Source::kGiven ? own("GIVEN", "Marked by hand")
                                         : own("FOUND", "Found on the film by the algorithm"));
}

/// Appends what a film's measurements refer to; nothing where the film is no DICOM object.
class Places {
 public:
  explicit Places(const std::optional<SourceFacts>& source) : source_(source) {}
  void add(Item& to, const char* value, const char* meaning, Coordinates where) const {
    if (source_)
      to.children.push_back(place(own(value, meaning), std::move(where), source_->image));
  }

 private:
  const std::optional<SourceFacts>& source_;
};

void add_scale(const FilmResult& film, Item& group) {
  const auto add = [&](const followup::ScaleResult& scale, const char* value, const char* meaning) {
    const auto& m = scale.mm_per_px;
    Item item = measurement(own(value, meaning),
                            {m.value.value, m.u.value, m.u95.value, unit::millimetres_per_pixel()});
    item.children.push_back(text_item(Relation::kHasConceptModifier,
                                      own("SCALE-FROM", "What the scale comes from"),
                                      scale.method));
    group.children.push_back(std::move(item));
  };
  if (film.calibration) {
    add(*film.calibration, "SCALE", "Scale in the plane of the stem, along a row");
  }
  for (const auto& other : film.other_scales) add(other, "SCALE-OTHER", "Scale not used");
}

void add_circle(const char* value, const char* meaning, const char* outline,
                const std::optional<CircleResult>& circle, const Places& places, Item& group) {
  if (!circle) return;
  Item item = measurement(own(value, meaning),
                          {circle->diameter_px, circle->diameter_u_px, {}, unit::pixels()});
  item.children.push_back(method_of(circle->source));
  places.add(item, outline, "Circle of which this is the diameter", around(*circle));
  group.children.push_back(std::move(item));
}

void add_landmark(const char* value, const char* meaning, const PointResult& mark,
                  const Places& places, Item& group) {
  const bool has_mm = mark.u.has_value();
  Item item = measurement(own("LANDMARK-U", "Standard uncertainty of a landmark's place"),
                          uncertainty_of(has_mm ? mark.u->value : mark.u_px,
                                         has_mm ? unit::millimetres() : unit::pixels()));
  item.children.push_back(
      code_item(Relation::kHasConceptModifier, own("LANDMARK", "Landmark"), own(value, meaning)));
  item.children.push_back(method_of(mark.source));
  places.add(item, value, meaning, at(mark.stored_px));
  group.children.push_back(std::move(item));
}

void add_axis(const char* value, const char* meaning, const AxisResult& axis, const Places& places,
              Item& group) {
  Item item = measurement(own("AXIS-U", "Standard uncertainty of an axis' direction"),
                          uncertainty_of(axis.direction_u.value, unit::degrees()));
  item.children.push_back(
      code_item(Relation::kHasConceptModifier, own("AXIS", "Axis"), own(value, meaning)));
  item.children.push_back(method_of(axis.source));
  places.add(item, value, meaning, along(axis));
  group.children.push_back(std::move(item));
}

void add_stem(const FilmResult& film, const Places& places, Item& group) {
  if (!film.stem) return;
  Item likeness = measurement(own("STEM-LIKENESS", "Likeness to a stem with its head, 0 to 1"),
                              share_of(film.stem->confidence));
  places.add(likeness, "STEM-OUTLINE", "Outline of the stem, open at the head",
             {Shape::kPolyline, film.stem->outline_px});
  places.add(likeness, "REFERENCE-POINT", "Reference point of the stem",
             at(film.stem->reference_px));
  group.children.push_back(std::move(likeness));
  add_axis("STEM-AXIS", "Stem axis", film.stem->axis, places, group);
  if (film.shaft_axis)
    add_axis("SHAFT-AXIS", "Femoral shaft axis", *film.shaft_axis, places, group);
  if (film.stem->tip) {
    add_landmark("STEM-TIP", "Tip of the stem", *film.stem->tip, places, group);
  }
  add_landmark("STEM-SHOULDER", "Shoulder of the stem", film.stem->shoulder, places, group);
}

}  // namespace

void add_axes(const FilmResult& film, const std::optional<SourceFacts>& source, Item& item) {
  const Places places(source);
  if (film.stem) places.add(item, "STEM-AXIS", "Stem axis", along(film.stem->axis));
  if (film.shaft_axis) {
    places.add(item, "SHAFT-AXIS", "Femoral shaft axis", along(*film.shaft_axis));
  }
}

Item film_group(const Result& result, std::size_t film_index, const Sources& sources,
                const Tracking& tracking) {
  const FilmResult& film = result.films[film_index];
  Item out = group({"stem", code::femoral_stem(), {}, film_index}, result, tracking);
  const Places places(sources[film_index]);
  add_scale(film, out);
  add_circle("HEAD-DIAMETER", "Diameter of the head on the film", "HEAD-OUTLINE", film.head, places,
             out);
  add_circle("CUP-DIAMETER", "Diameter of the cup on the film", "CUP-OUTLINE", film.cup, places,
             out);
  add_stem(film, places, out);
  if (film.lesser_trochanter) {
    add_landmark("LT", "Lesser trochanter", *film.lesser_trochanter, places, out);
  }
  if (film.greater_trochanter) {
    add_landmark("GT", "Greater trochanter", *film.greater_trochanter, places, out);
  }
  if (film.tilt) {
    Item tilt = measurement(own("TILT", "Stem axis against shaft axis, varus positive"),
                            degrees_of(*film.tilt));
    add_axes(film, sources[film_index], tilt);
    out.children.push_back(std::move(tilt));
  }
  const bool measured = film.status == followup::Status::kMeasured;
  out.children.push_back(
      code_item(Relation::kContains, own("STATUS", "Whether it was measured"),
                measured ? own("MEASURED", "Measured") : own("NOT-MEASURED", "Not measured")));
  if (!measured) {
    out.children.push_back(text_item(Relation::kContains, own("REASON", "Reason"), film.reason));
  }
  for (const Flag& flag : film.flags) {
    out.children.push_back(
        text_item(Relation::kContains, own("FLAG", "Remark"), flag.id + ": " + flag.text));
  }
  return out;
}

}  // namespace tidemark::archive
