#pragma once

#include <string>

namespace tidemark::archive {

/// "2.25.<number>": a UID made of a version 5 (SHA-1, name-based) UUID of the text, so that the
/// same text always has the same UID. At most 44 characters. Sources: PS3.5, B.2; RFC 4122, 4.3.
[[nodiscard]] std::string uid_of(const std::string& text);

}  // namespace tidemark::archive
