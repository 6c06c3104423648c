#include "words.h"

namespace tidemark::view {

std::string words_of(lucency::State state) {
  switch (state) {
    case lucency::State::kPresent:
      return "line";
    case lucency::State::kAbsent:
      return "no line";
    case lucency::State::kCannotTell:
      return "cannot tell";
    case lucency::State::kNotSeen:
      break;
  }
  return "not seen";
}

std::string words_of(followup::Opinion opinion) {
  switch (opinion) {
    case followup::Opinion::kAgree:
      return "agrees";
    case followup::Opinion::kDisagree:
      return "disagrees";
    case followup::Opinion::kCannotTell:
      break;
  }
  return "cannot tell";
}

std::string words_of(assessment::Verdict verdict) {
  switch (verdict) {
    case assessment::Verdict::kExceeds:
      return "above the limit";
    case assessment::Verdict::kWithin:
      return "within";
    case assessment::Verdict::kCannotTell:
      return "cannot tell";
    case assessment::Verdict::kNotApplicable:
      break;
  }
  return "does not apply";
}

std::string growth_of(lucency::Answer progressive) {
  switch (progressive) {
    case lucency::Answer::kYes:
      return "grew";
    case lucency::Answer::kNo:
      return "did not grow";
    case lucency::Answer::kCannotTell:
      break;
  }
  return "cannot tell";
}

}  // namespace tidemark::view
