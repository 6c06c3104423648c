#include "dicom_field.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <utility>

#include "dicom_tags.h"

namespace tidemark::film {
namespace {

/// Numbers beyond this are no place on any film's matrix, nor near it (house choice).
constexpr double kFarthest = 1e6;
/// More corners than any shutter has (house choice).
constexpr unsigned long kMostCorners = 1024;

/// The tags of one module; both are built alike (DICOM PS3.3 C.7.6.11 and C.8.7.3).
struct Tags {
  FieldDevice device;
  DcmTagKey shape;
  DcmTagKey left;
  DcmTagKey right;
  DcmTagKey upper;
  DcmTagKey lower;
  DcmTagKey centre;
  DcmTagKey radius;
  DcmTagKey vertices;
};

const Tags& shutter_tags() {
  static const Tags tags{FieldDevice::kShutter,
                         DCM_ShutterShape,
                         DCM_ShutterLeftVerticalEdge,
                         DCM_ShutterRightVerticalEdge,
                         DCM_ShutterUpperHorizontalEdge,
                         DCM_ShutterLowerHorizontalEdge,
                         DCM_CenterOfCircularShutter,
                         DCM_RadiusOfCircularShutter,
                         DCM_VerticesOfThePolygonalShutter};
  return tags;
}

const Tags& collimator_tags() {
  static const Tags tags{FieldDevice::kCollimator,
                         DCM_CollimatorShape,
                         DCM_CollimatorLeftVerticalEdge,
                         DCM_CollimatorRightVerticalEdge,
                         DCM_CollimatorUpperHorizontalEdge,
                         DCM_CollimatorLowerHorizontalEdge,
                         DCM_CenterOfCircularCollimator,
                         DCM_RadiusOfCircularCollimator,
                         DCM_VerticesOfThePolygonalCollimator};
  return tags;
}

std::optional<double> place_of(DcmItem& dataset, const DcmTagKey& tag, unsigned long index = 0) {
  const auto value = decimal_of(dataset, tag, index);
  return value && std::abs(*value) <= kFarthest ? value : std::nullopt;
}

/// Row and column, counted from 1, as a point.
std::optional<Vec2> point_of(DcmItem& dataset, const DcmTagKey& tag, unsigned long first) {
  const auto row = place_of(dataset, tag, first);
  const auto column = place_of(dataset, tag, first + 1);
  if (!row || !column) return std::nullopt;
  return Vec2(*column - 1.0, *row - 1.0);
}

/// The pixels of the edges themselves are within.
std::optional<Outline> rectangle_of(DcmItem& dataset, const Tags& tags) {
  const auto left = place_of(dataset, tags.left);
  const auto right = place_of(dataset, tags.right);
  const auto upper = place_of(dataset, tags.upper);
  const auto lower = place_of(dataset, tags.lower);
  if (!left || !right || !upper || !lower) return std::nullopt;
  const auto [x0, x1] = std::minmax({*left - 1.0, *right - 1.0});
  const auto [y0, y1] = std::minmax({*upper - 1.0, *lower - 1.0});
  return Outline{Vec2(x0 - 0.5, y0 - 0.5), Vec2(x1 + 0.5, y0 - 0.5), Vec2(x1 + 0.5, y1 + 0.5),
                 Vec2(x0 - 0.5, y1 + 0.5)};
}

std::optional<Outline> circle_of(DcmItem& dataset, const Tags& tags, double height_per_width) {
  const auto centre = point_of(dataset, tags.centre, 0);
  const auto radius = place_of(dataset, tags.radius);
  if (!centre || !radius || *radius <= 0.0) return std::nullopt;
  constexpr int kCorners = 256;  // within 0.0001 of the radius of the circle
  Outline out;
  for (int i = 0; i < kCorners; ++i) {
    const double angle = 2.0 * std::numbers::pi * i / kCorners;
    out.emplace_back(centre->x() + *radius * std::cos(angle),
                     centre->y() + *radius * std::sin(angle) / height_per_width);
  }
  return out;
}

std::optional<Outline> polygon_of(DcmItem& dataset, const Tags& tags) {
  DcmElement* element = nullptr;
  if (dataset.findAndGetElement(tags.vertices, element).bad() || element == nullptr) {
    return std::nullopt;
  }
  const unsigned long values = element->getVM();
  if (values % 2 != 0 || values < 6 || values > 2 * kMostCorners) return std::nullopt;
  Outline out;
  for (unsigned long i = 0; i < values; i += 2) {
    const auto corner = point_of(dataset, tags.vertices, i);
    if (!corner) return std::nullopt;
    out.push_back(*corner);
  }
  return out;
}

std::optional<Outline> outline_of(DcmItem& dataset, const Tags& tags, const std::string& shape,
                                  double height_per_width) {
  if (shape == "RECTANGULAR") return rectangle_of(dataset, tags);
  if (shape == "CIRCULAR") return circle_of(dataset, tags, height_per_width);
  if (shape == "POLYGONAL") return polygon_of(dataset, tags);
  return std::nullopt;
}

bool says_anything(DcmItem& dataset, const Tags& tags) {
  const auto parts = {tags.shape, tags.left,   tags.right,  tags.upper,
                      tags.lower, tags.centre, tags.radius, tags.vertices};
  return std::any_of(parts.begin(), parts.end(),
                     [&](const DcmTagKey& tag) { return dataset.tagExistsWithValue(tag); });
}

StatedField read(DcmItem& dataset, const Tags& tags, double height_per_width,
                 std::vector<std::string>& notes) {
  StatedField out{tags.device, {}};
  if (!says_anything(dataset, tags)) return out;
  bool complete = text_of(dataset, tags.shape).has_value();
  constexpr unsigned long kMostShapes = 3;
  for (unsigned long i = 0; i < kMostShapes; ++i) {
    const auto shape = text_of(dataset, tags.shape, i);
    if (!shape) break;
    const auto outline = outline_of(dataset, tags, *shape, height_per_width);
    if (outline) out.outlines.push_back(*outline);
    complete = complete && outline;
  }
  if (complete) return out;
  notes.emplace_back(tags.device == FieldDevice::kShutter
                         ? "a shape of the display shutter in the header is incomplete or unknown; "
                           "it was not used"
                         : "a shape of the collimator in the header is incomplete or unknown; it "
                           "was not used");
  return out;
}

}  // namespace

std::vector<StatedField> stated_fields_of(DcmItem& dataset, double pixel_height_per_width,
                                          std::vector<std::string>& notes) {
  std::vector<StatedField> out;
  for (const Tags* tags : {&shutter_tags(), &collimator_tags()}) {
    StatedField field = read(dataset, *tags, pixel_height_per_width, notes);
    if (!field.outlines.empty()) out.push_back(std::move(field));
  }
  return out;
}

}  // namespace tidemark::film
