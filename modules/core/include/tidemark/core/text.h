#pragma once

#include <string>
#include <string_view>

namespace tidemark {

/// The text as valid UTF-8 without control characters: each offending byte becomes "?". File names
/// and header fields may hold anything, and terminals and text drawing obey what they are given.
/// Source: well-formed byte sequences, The Unicode Standard, table 3-7.
[[nodiscard]] std::string printable(std::string_view text);

/// The first `count` characters (code points) of printable text.
[[nodiscard]] std::string first_characters(const std::string& text, std::size_t count);

}  // namespace tidemark
