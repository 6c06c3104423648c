#include "build.h"

#include <utility>

#include "tidemark/core/number_text.h"

namespace tidemark::archive {

Item text_item(Relation relation, Code name, std::string text) {
  return {relation, std::move(name), Text{std::move(text)}};
}

void add_text(Item& group, const char* value, const char* meaning, const std::string& text) {
  if (text.empty()) return;
  group.children.push_back(text_item(Relation::kContains, own(value, meaning), text));
}

Item code_item(Relation relation, Code name, Code value) {
  return {relation, std::move(name), std::move(value)};
}

Item uid_item(Relation relation, Code name, std::string uid) {
  return {relation, std::move(name), Uid{std::move(uid)}};
}

Item container(Relation relation, Code name, std::string template_id) {
  return {relation, std::move(name), Container{std::move(template_id)}};
}

Item measurement(Code name, const Value& value) {
  // About two standard uncertainties where the interval itself is not in the result.
  const int decimals = value.u ? decimals_of(value.u95.value_or(2.0 * *value.u)) : value.decimals;
  const auto number = [&](double v, int digits) {
    return Number{fixed_text(v, digits), value.unit};
  };
  Item out{Relation::kContains, std::move(name), number(value.value, decimals)};
  // TID 300, TID 310, CID 224: what a reader of another make knows as the uncertainty.
  if (value.u) {
    out.children.push_back({Relation::kHasProperties, code::standard_deviation(),
                            number(*value.u, decimals_of(*value.u))});
  }
  if (value.u95) {
    out.children.push_back(
        {Relation::kHasProperties, code::range_of_uncertainty(), number(*value.u95, decimals)});
  }
  return out;
}

Value uncertainty_of(double u, Code unit) { return {u, {}, {}, std::move(unit), decimals_of(u)}; }

Value share_of(double share) { return {share, {}, {}, unit::one(), 2}; }

Item method(Code how) {
  return code_item(Relation::kHasConceptModifier, code::measurement_method(), std::move(how));
}

namespace {

const char* flank_words(int zone) {
  constexpr int kZonesOfOneView = 7;
  const bool lateral_film = zone > kZonesOfOneView;
  switch (lateral_film ? zone - kZonesOfOneView : zone) {
    case 1:
      return lateral_film ? "anterior proximal" : "lateral proximal";
    case 2:
      return lateral_film ? "anterior middle" : "lateral middle";
    case 3:
      return lateral_film ? "anterior distal" : "lateral distal";
    case 4:
      return "about the tip";
    case 5:
      return lateral_film ? "posterior distal" : "medial distal";
    case 6:
      return lateral_film ? "posterior middle" : "medial middle";
    default:
      return lateral_film ? "posterior proximal" : "medial proximal";
  }
}

}  // namespace

Item finding_site(const std::optional<Side>& side, std::optional<int> zone) {
  Item out =
      code_item(Relation::kHasConceptModifier, code::finding_site(), sct("71341001", "Femur"));
  if (side) {
    out.children.push_back(
        code_item(Relation::kHasConceptModifier, code::laterality(),
                  *side == Side::kRight ? sct("24028007", "Right") : sct("7771000", "Left")));
  }
  if (zone) {
    const std::string number = std::to_string(*zone);
    out.children.push_back(
        code_item(Relation::kHasConceptModifier, code::topographical_modifier(),
                  own("ZONE-" + number, "Gruen zone " + number + ", " + flank_words(*zone))));
  }
  return out;
}

Item place(Code what, Coordinates coordinates, const ImageReference& image) {
  Item out{Relation::kInferredFrom, std::move(what), std::move(coordinates)};
  out.children.push_back({Relation::kSelectedFrom, {}, image});
  return out;
}

Code coded(lucency::Answer answer) {
  switch (answer) {
    case lucency::Answer::kYes:
      return own("YES", "Yes");
    case lucency::Answer::kNo:
      return own("NO", "No");
    case lucency::Answer::kCannotTell:
      break;
  }
  return own("CANNOT-TELL", "Cannot tell");
}

Code coded(lucency::State state) {
  switch (state) {
    case lucency::State::kPresent:
      return own("PRESENT", "Present");
    case lucency::State::kAbsent:
      return own("ABSENT", "Absent");
    case lucency::State::kNotSeen:
      return own("NOT-SEEN", "Not seen on the film");
    case lucency::State::kCannotTell:
      break;
  }
  return own("CANNOT-TELL", "Cannot tell");
}

Value CodedLengths::of(const Measured<Millimetres>& m) const {
  return {m.value.value / lengths.mm_per_unit, m.u.value / lengths.mm_per_unit,
          m.u95.value / lengths.mm_per_unit, unit()};
}

Value CodedLengths::of(Millimetres length) const {
  return {length.value / lengths.mm_per_unit, {}, {}, unit(), 1};
}

Code CodedLengths::unit() const {
  return lengths.unit == "px" ? unit::pixels() : unit::millimetres();
}

Value degrees_of(const Measured<Degrees>& m) {
  return {m.value.value, m.u.value, m.u95.value, unit::degrees()};
}

}  // namespace tidemark::archive
