#include "tidemark/followup/zone_mark.h"

#include <algorithm>
#include <cctype>
#include <cstdlib>

#include "tidemark/core/date.h"

namespace tidemark::followup {

std::string code_of(Opinion opinion) {
  switch (opinion) {
    case Opinion::kAgree:
      return "agree";
    case Opinion::kDisagree:
      return "disagree";
    case Opinion::kCannotTell:
      break;
  }
  return "cannot_tell";
}

lucency::State state_of(const ZoneMark& mark) {
  using lucency::State;
  if (mark.opinion == Opinion::kAgree) return mark.program;
  if (mark.opinion == Opinion::kCannotTell) return State::kCannotTell;
  if (mark.program == State::kPresent) return State::kAbsent;
  return mark.program == State::kAbsent ? State::kPresent : State::kCannotTell;
}

bool is_utc_time(std::string_view text) {
  constexpr std::string_view kForm = "####-##-##T##:##:##Z";
  const auto fits = [](char form, char c) {
    return form == '#' ? std::isdigit(static_cast<unsigned char>(c)) != 0 : form == c;
  };
  if (!std::equal(kForm.begin(), kForm.end(), text.begin(), text.end(), fits)) return false;
  const auto two = [&](std::size_t at) { return 10 * (text[at] - '0') + text[at + 1] - '0'; };
  return parse_date(text.substr(0, 10)) && two(11) < 24 && two(14) < 60 && two(17) < 61;
}

}  // namespace tidemark::followup
