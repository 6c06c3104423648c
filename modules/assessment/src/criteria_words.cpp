#include "criteria_words.h"

#include "tidemark/assessment/course.h"
#include "tidemark/core/number_text.h"

namespace tidemark::assessment {

std::string code_of(Quantity quantity) { return kQuantities[quantity]; }
std::string code_of(Scope scope) { return kScopes[scope]; }
std::string code_of(Certainty certainty) { return kCertainties[certainty]; }

std::string unit_of(Quantity quantity) {
  switch (quantity) {
    case Quantity::kSubsidenceRate:
    case Quantity::kLateSubsidenceRate:
      return "mm/year";
    case Quantity::kTiltChange:
      return "deg";
    default:
      return "mm";
  }
}

std::string phrase_of(Certainty certainty) {
  switch (certainty) {
    case Certainty::kRead:
      return "read in the source";
    case Certainty::kSecondHand:
      return "read in another text that cites the source";
    case Certainty::kFromMemory:
      return "from memory";
    case Certainty::kUnsure:
      return "from memory and unsure";
    case Certainty::kDerived:
      return "derived";
    case Certainty::kOwn:
      break;
  }
  return "set by the author of these criteria";
}

std::string months_text(int days) {
  std::string months = fixed_text(12.0 * days / kDaysPerYear, 1);
  if (months.ends_with(".0")) months.resize(months.size() - 2);
  return months + " months";
}

std::string window_text(const Window& w) {
  const std::string tolerance = " (give or take " + months_text(w.tolerance_days) + ")";
  if (w.from_days == w.to_days) return "at " + months_text(w.from_days) + tolerance;
  return "from " + months_text(w.from_days) + " to " + months_text(w.to_days) + tolerance;
}

std::string unit_in_words(Quantity quantity) {
  return quantity == Quantity::kTiltChange ? "degrees" : unit_of(quantity);
}

std::string code_of(Point point) { return kPoints[point]; }

std::string point_in_words(Point point) {
  switch (point) {
    case Point::kHeadCentre:
      return " at the head's centre";
    case Point::kShoulder:
      return " at the shoulder";
    case Point::kTip:
      return " at the tip";
    case Point::kReference:
      break;
  }
  return {};
}

std::string quantity_in_words(Quantity quantity) {
  switch (quantity) {
    case Quantity::kSubsidence:
      return "subsidence";
    case Quantity::kSubsidenceRate:
      return "mean rate of subsidence";
    case Quantity::kLateSubsidence:
      return "subsidence after the first three months";
    case Quantity::kLateSubsidenceRate:
      return "rate of subsidence after the first three months";
    case Quantity::kMedial:
      return "medial shift";
    case Quantity::kTiltChange:
      break;
  }
  return "change of tilt";
}

}  // namespace tidemark::assessment
