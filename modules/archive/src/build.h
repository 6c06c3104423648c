#pragma once

#include <optional>
#include <string>
#include <vector>

#include "codes.h"
#include "item.h"
#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/followup/result.h"
#include "tidemark/lucency/lucency.h"

namespace tidemark::archive {

// Pieces from which the content of the report is put together.

/// A number as measured, in the unit it is written in.
struct Value {
  double value = 0.0;
  std::optional<double> u;    ///< absent: the result gives none
  std::optional<double> u95;  ///< as `u`
  Code unit;
  int decimals = 2;  ///< without an uncertainty
};

[[nodiscard]] Item text_item(Relation relation, Code name, std::string text);
/// CONTAINS a text named by a code of our own; nothing when it is empty.
void add_text(Item& group, const char* value, const char* meaning, const std::string& text);
[[nodiscard]] Item code_item(Relation relation, Code name, Code value);
[[nodiscard]] Item uid_item(Relation relation, Code name, std::string uid);
[[nodiscard]] Item container(Relation relation, Code name, std::string template_id = {});

/// A measurement by TID 300 with its standard uncertainty and the half-width of its 95 % interval
/// as properties, with the decimals that these bear.
[[nodiscard]] Item measurement(Code name, const Value& value);

/// A standard uncertainty as a measurement of its own: two significant digits.
[[nodiscard]] Value uncertainty_of(double u, Code unit);
/// A share, 0 to 1: two decimals (house choice).
[[nodiscard]] Value share_of(double share);

/// HAS CONCEPT MOD Measurement Method.
[[nodiscard]] Item method(Code how);

/// HAS CONCEPT MOD Finding Site with side and zone.
[[nodiscard]] Item finding_site(const std::optional<Side>& side, std::optional<int> zone);

/// INFERRED FROM the coordinates on an image. Their name says what they show, because an object of
/// this class lets coordinates have no modifiers (PS3.3, A.35.3.3.1.2).
[[nodiscard]] Item place(Code what, Coordinates coordinates, const ImageReference& image);

/// "cannot tell", "yes" and so on as codes of our own.
[[nodiscard]] Code coded(lucency::Answer answer);
[[nodiscard]] Code coded(lucency::State state);

/// Lengths of a result with the code of their unit.
struct CodedLengths {
  followup::Lengths lengths;

  [[nodiscard]] Value of(const Measured<Millimetres>& m) const;
  /// Without an uncertainty: one decimal (house choice: an outline is good to about 0.1 mm).
  [[nodiscard]] Value of(Millimetres length) const;
  [[nodiscard]] Code unit() const;
};

[[nodiscard]] Value degrees_of(const Measured<Degrees>& m);

}  // namespace tidemark::archive
