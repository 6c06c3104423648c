#pragma once

#include <string>
#include <string_view>

namespace tidemark::registry {

/// Any bytes as UTF-8 text that gives them back: each byte is the code point of its value. Paths
/// and header fields need not be UTF-8, but JSON is.
[[nodiscard]] inline std::string text_of_bytes(std::string_view bytes) {
  std::string text;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80U) {
      text += c;
    } else {
      text += static_cast<char>(0xC0U | byte >> 6U);
      text += static_cast<char>(0x80U | (byte & 0x3FU));
    }
  }
  return text;
}

/// The bytes that text_of_bytes() was given.
[[nodiscard]] inline std::string bytes_of_text(std::string_view text) {
  std::string bytes;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto lead = static_cast<unsigned char>(text[i]);
    if (lead < 0x80U || i + 1 == text.size()) {
      bytes += text[i];
      continue;
    }
    const auto next = static_cast<unsigned char>(text[++i]);
    bytes += static_cast<char>((lead & 0x03U) << 6U | (next & 0x3FU));
  }
  return bytes;
}

}  // namespace tidemark::registry
