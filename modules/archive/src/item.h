#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "tidemark/core/geometry.h"

namespace tidemark::archive {

/// A concept of a coding scheme (PS3.3, 8.8). `value` has at most 16 characters, `meaning` 64.
struct Code {
  std::string value;
  std::string scheme;
  std::string meaning;
};

/// How a content item stands to its parent (PS3.3, C.17.3).
enum class Relation {
  kContains,
  kHasObservationContext,
  kHasConceptModifier,
  kHasAcquisitionContext,
  kHasProperties,
  kInferredFrom,
  kSelectedFrom
};

/// A measured number, formatted with the digits that its uncertainty bears.
struct Number {
  std::string value;
  Code unit;
};

/// GraphicType of spatial coordinates (PS3.3, C.18.6): a circle is its centre and a point on it.
enum class Shape { kPoint, kPolyline, kCircle };

/// A place on a film, in stored px of its file: the centre of the first pixel is (0, 0). DICOM
/// counts from that pixel's corner; the difference is made where this is written.
struct Coordinates {
  Shape shape = Shape::kPoint;
  Polyline stored_px;
};

/// A reference to an image object.
struct ImageReference {
  std::string sop_class;
  std::string sop_instance;
  bool first_frame = false;  ///< the object has several frames, and the first is meant
};

struct Container {
  std::string template_id;  ///< of PS3.16, or empty
};
struct Text {
  std::string text;
};
struct Uid {
  std::string uid;
};

/// One content item of a structured report with all below it.
struct Item {
  Relation relation = Relation::kContains;
  Code name;  ///< empty where the standard asks for none (entries of the image library)
  std::variant<Container, Text, Uid, Code, Number, Coordinates, ImageReference> value;
  std::vector<Item> children = {};
};

/// Number with two significant digits of `u95` (JCGM 100, 7.2.6: no more are needed), at most six
/// decimals and at most 16 characters, as value representation DS asks for.
/// @param u95 not negative; 0 gives four decimals, as result.json has
[[nodiscard]] std::string number_text(double value, double u95);

/// Decimals that `u95` bears, by the rule of number_text.
[[nodiscard]] int decimals_of(double u95);

}  // namespace tidemark::archive
