#include "zone_words.h"

#include <algorithm>

namespace tidemark::followup {

std::string code_of(lucency::Interface interface) {
  switch (interface) {
    case lucency::Interface::kStemBone:
      return "stem_bone";
    case lucency::Interface::kStemCement:
      return "stem_cement";
    case lucency::Interface::kCementBone:
      break;
  }
  return "cement_bone";
}

std::string code_of(lucency::State state) {
  switch (state) {
    case lucency::State::kPresent:
      return "present";
    case lucency::State::kAbsent:
      return "absent";
    case lucency::State::kCannotTell:
      return "cannot_tell";
    case lucency::State::kNotSeen:
      break;
  }
  return "not_seen";
}

std::string code_of(lucency::Answer answer) {
  switch (answer) {
    case lucency::Answer::kYes:
      return "yes";
    case lucency::Answer::kNo:
      return "no";
    case lucency::Answer::kCannotTell:
      break;
  }
  return "cannot_tell";
}

std::string words_of(lucency::Interface interface) {
  std::string out = code_of(interface);
  std::replace(out.begin(), out.end(), '_', '-');
  return out;
}

}  // namespace tidemark::followup
