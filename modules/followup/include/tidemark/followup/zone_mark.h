#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "tidemark/lucency/lucency.h"

namespace tidemark::followup {

/// What a reader who looks at a zone holds of the program's answer there.
enum class Opinion { kAgree, kDisagree, kCannotTell };
[[nodiscard]] std::string code_of(Opinion opinion);  ///< "agree", "disagree", "cannot_tell"

/// A reader's mark on one interface of one zone of one film. It changes no number: it stands beside
/// what the program says, and a registry compares the two.
struct ZoneMark {
  int zone = 0;
  lucency::Interface interface = lucency::Interface::kStemBone;
  Opinion opinion = Opinion::kCannotTell;
  /// What the program said when the mark was made: a later program may say something else.
  lucency::State program = lucency::State::kCannotTell;
  std::string reader;     ///< a name or initials that the reader chose, 1 to 64 characters
  std::string marked_at;  ///< UTC, "YYYY-MM-DDTHH:MM:SSZ" (ISO 8601)
};

/// What the reader says of the line itself: the program's answer when they agree, present for
/// absent and the other way round when they do not. Who disagrees with "cannot tell" does not say
/// what is there.
[[nodiscard]] lucency::State state_of(const ZoneMark& mark);

/// Whether a text is a time as ZoneMark::marked_at.
[[nodiscard]] bool is_utc_time(std::string_view text);

}  // namespace tidemark::followup
