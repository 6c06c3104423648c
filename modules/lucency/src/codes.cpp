#include "tidemark/lucency/codes.h"

#include <algorithm>

namespace tidemark::lucency {

std::string code_of(Interface interface) {
  switch (interface) {
    case Interface::kStemBone:
      return "stem_bone";
    case Interface::kStemCement:
      return "stem_cement";
    case Interface::kCementBone:
      break;
  }
  return "cement_bone";
}

std::string code_of(State state) {
  switch (state) {
    case State::kPresent:
      return "present";
    case State::kAbsent:
      return "absent";
    case State::kCannotTell:
      return "cannot_tell";
    case State::kNotSeen:
      break;
  }
  return "not_seen";
}

std::string code_of(Answer answer) {
  switch (answer) {
    case Answer::kYes:
      return "yes";
    case Answer::kNo:
      return "no";
    case Answer::kCannotTell:
      break;
  }
  return "cannot_tell";
}

std::string words_of(Interface interface) {
  std::string out = code_of(interface);
  std::replace(out.begin(), out.end(), '_', '-');
  return out;
}

}  // namespace tidemark::lucency
